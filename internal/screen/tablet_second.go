package screen

import (
	"slices"
	"strings"

	"bayround/internal/admit"
	pb "bayround/proto/bayround/v1"
)

// Officers are the people who may sign the round that has ended: officers, but for its driver.
func (p pane) Officers() []*pb.Person {
	return slices.DeleteFunc(p.who(admit.SignSecond), func(who *pb.Person) bool { return who.GetName() == p.Closing.Ended.GetDriver() })
}

// Unlockers are the people who may let somebody in again.
func (p pane) Unlockers() []*pb.Person { return p.who(admit.Unlock) }

// who are the people who may do something.
func (p pane) who(deed admit.Deed) []*pb.Person {
	return slices.DeleteFunc(slices.Clone(p.People), func(who *pb.Person) bool {
		_, may := admit.PersonMay(who.GetRoles(), deed)
		return !may || who.GetErased()
	})
}

// EndedDriver is who drove the round that has ended, by the name that is spoken.
func (p pane) EndedDriver() string {
	for _, who := range p.People {
		if who.GetName() == p.Closing.Ended.GetDriver() {
			return who.GetTitle()
		}
	}
	return ""
}

// SecondUnknown says how much of the round that has ended says nothing.
func (p pane) SecondUnknown() string {
	r, named := p.Closing.Ended, len(p.Closing.NotChecked)
	var words []string
	if open := int(r.GetSteps() - r.GetAnswered()); open > 0 {
		words = append(words, counted(open, "step")+" left open.")
	}
	if n := int(r.GetNotChecked()); n > 0 {
		words = append(words, counted(n, "step")+" not checked.")
	}
	if n := int(r.GetNotChecked()) - named; n > 0 {
		words = append(words, counted(n, "step")+" of these looked at again since.")
	}
	if len(words) == 0 {
		return "Every step of it was answered."
	}
	return strings.Join(words, " ")
}

// HasBadge tells that it is this person's badge that was read.
func (p pane) HasBadge(person string) bool { return p.Badge.GetName() == person }
