package verdict

import (
	"fmt"
	"slices"
	"strings"
	"time"

	pb "bayround/proto/bayround/v1"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// namedSteps is how many steps a sentence names before it counts the rest.
const namedSteps = 3

// findUnproven returns the required steps that prove nothing, in walking order,
// then steps that are not required but wait to be checked after a repair or at a
// takeover; nil when everything is proven.
func findUnproven(in *Input, p prover, w walk) *pb.Unproven {
	u := &pb.Unproven{Required: int32(len(in.Required))}
	for _, step := range in.Required {
		if cause, since := p.prove(step); cause != proven {
			u.Steps = append(u.Steps, &pb.UnprovenStep{
				StepId: step.GetStepId(), Title: step.GetTitle(), Cause: cause,
				Since: timestamp(since), MustNotMiss: step.GetMustNotMiss(),
			})
		}
	}
	more := repairedBesides(in.Defects, w)
	for _, s := range takeoverBesides(in, w) {
		if !slices.ContainsFunc(more, func(m *pb.UnprovenStep) bool { return m.GetStepId() == s.GetStepId() }) {
			more = append(more, s)
		}
	}
	u.Required += int32(len(more)) // the repair, or the takeover, made them required
	u.Steps = append(u.Steps, more...)
	if len(u.Steps) == 0 && len(in.Required) > 0 {
		return nil
	}
	return u
}

// repairedBesides returns the steps that are not required and wait to be checked
// after a repair, by id.
func repairedBesides(defects []*pb.Defect, w walk) []*pb.UnprovenStep {
	var steps []*pb.UnprovenStep
	for _, d := range defects {
		if _, required := w.at[d.GetStepId()]; required || !awaitsCheck(d) {
			continue
		}
		since, _ := repairedAt(defects, d.GetStepId())
		steps = append(steps, &pb.UnprovenStep{
			StepId: d.GetStepId(), Title: titleOfRepaired(d),
			Cause: pb.UnprovenCause_UNPROVEN_CAUSE_REPAIRED_SINCE, Since: timestamp(since),
		})
	}
	slices.SortFunc(steps, func(a, b *pb.UnprovenStep) int {
		return strings.Compare(a.GetStepId()+"\n"+a.GetTitle(), b.GetStepId()+"\n"+b.GetTitle())
	})
	return slices.CompactFunc(steps, func(a, b *pb.UnprovenStep) bool { return a.GetStepId() == b.GetStepId() })
}

// titleOfRepaired names a step whose own words are not at hand by what was found there.
func titleOfRepaired(d *pb.Defect) string {
	if len(d.GetFindings()) == 0 {
		return d.GetStepId()
	}
	return slices.MinFunc(d.GetFindings(), compareFindings).GetText()
}

// ofUnproven makes the one reason of all unproven steps.
func ofUnproven(u *pb.Unproven, w walk) reason {
	position := len(w.titles)
	if steps := u.GetSteps(); len(steps) > 0 {
		position = w.position(steps[0].GetStepId())
	}
	v := pb.Verdict_VERDICT_UNPROVEN
	return reason{
		verdict: v, walk: position,
		message: &pb.Reason{Verdict: v, Text: sayUnproven(u), Cause: &pb.Reason_Unproven{Unproven: u}},
	}
}

// causeWords say why steps prove nothing: alone, with how many of how many to be
// filled in, and beside other causes, after a count. In the order in which several
// causes are told.
var causeWords = [...]struct {
	cause         pb.UnprovenCause
	alone, beside string
}{
	{pb.UnprovenCause_UNPROVEN_CAUSE_REPAIRED_SINCE, "Since a repair nobody has checked again %s", "not checked again since a repair"},
	{pb.UnprovenCause_UNPROVEN_CAUSE_TAKEN_OVER_SINCE, "Since it took its call sign nobody has checked %s", "not checked since it took its call sign"},
	{pb.UnprovenCause_UNPROVEN_CAUSE_NEVER_ANSWERED, "Nobody has checked %s", "never checked"},
	{pb.UnprovenCause_UNPROVEN_CAUSE_NOT_CHECKED, "It is on record that nobody checked %s", "on record as not checked"},
	{pb.UnprovenCause_UNPROVEN_CAUSE_ANSWER_DOES_NOT_FIT, "The configuration has changed under the answers to %s", "answered for another configuration"},
	{pb.UnprovenCause_UNPROVEN_CAUSE_STALE, "It is too long since anybody checked %s", "checked too long ago"},
}

// sayUnproven tells of unproven steps in words a driver understands.
func sayUnproven(u *pb.Unproven) string {
	if len(u.GetSteps()) == 0 {
		return "No step is required of this vehicle, so nothing proves that it is fit"
	}
	count := map[pb.UnprovenCause]int{}
	for _, s := range u.GetSteps() {
		count[s.GetCause()]++
	}
	var beside []string
	alone := ""
	for _, words := range causeWords {
		if n := count[words.cause]; n > 0 {
			beside = append(beside, fmt.Sprintf("%d %s", n, words.beside))
			alone = words.alone
		}
	}
	howMany := fmt.Sprintf("%d of %d required steps", len(u.GetSteps()), u.GetRequired())
	lead := fmt.Sprintf(alone, howMany)
	if len(beside) > 1 {
		lead = fmt.Sprintf("Nobody can vouch for %s (%s)", howMany, strings.Join(beside, ", "))
	}
	return lead + ": " + nameSteps(u.GetSteps())
}

// nameSteps names the first few, those that must not be missed before the others.
func nameSteps(steps []*pb.UnprovenStep) string {
	titles := make([]string, 0, len(steps))
	for _, mustNotMiss := range []bool{true, false} {
		for _, s := range steps {
			if s.GetMustNotMiss() == mustNotMiss {
				titles = append(titles, s.GetTitle())
			}
		}
	}
	return nameFirst(titles)
}

// nameFirst names the first few of several and counts the rest.
func nameFirst(names []string) string {
	rest := len(names) - namedSteps
	if rest <= 1 { // to name one more is as short as to count it
		return strings.Join(names, "; ")
	}
	return fmt.Sprintf("%s; and %d more", strings.Join(names[:namedSteps], "; "), rest)
}

// timestamp returns an instant as a message, nil for the zero time.
func timestamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}
