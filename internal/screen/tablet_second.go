package screen

import (
	"slices"
	"strings"

	"bayround/internal/admit"
	pb "bayround/proto/bayround/v1"
)

// Officers are the people who may sign the round that has ended: officers, but for its driver.
func (p pane) Officers() []*pb.Person {
	return slices.DeleteFunc(slices.Clone(p.People), func(who *pb.Person) bool {
		_, may := admit.PersonMay(who.GetRoles(), admit.SignSecond)
		return !may || who.GetErased() || who.GetName() == p.Closing.Ended.GetDriver()
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
