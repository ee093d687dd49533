package verdict_test

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// At a takeover everything is looked at anew, whatever was known before (guideline on
// changeovers to reserve units of one Canadian city, S69 of the job map, part A8).
func TestTakeover_CountsLooksFromThenOn(t *testing.T) {
	day := 24 * time.Hour
	required := &pb.CheckStep{StepId: "ITM-001/a", Title: "Lamp", GoodFor: durationpb.New(10 * day)}
	beside := &pb.CheckStep{StepId: "ITM-002/b", Title: "Gear", GoodFor: durationpb.New(366 * day)}
	answered := func(ago time.Duration) *verdict.Answer {
		r := &pb.Result{StationTime: timestamppb.New(noon.Add(-ago))}
		return &verdict.Answer{Newest: r, Real: r, RealFits: true}
	}
	unfitting := answered(0)
	unfitting.RealFits = false
	passed := &verdict.Answer{Newest: &pb.Result{StationTime: timestamppb.New(noon), Answer: &pb.Result_NotChecked{NotChecked: &pb.NotChecked{}}}}
	for _, test := range []struct {
		name             string
		required, beside *verdict.Answer
		cause            pb.UnprovenCause // of the step beside; unspecified when all is proven
		want             pb.Verdict
	}{
		{"both since", answered(0), answered(time.Hour), 0, pb.Verdict_VERDICT_FIT},
		{"at the very instant", answered(2 * time.Hour), answered(2 * time.Hour), 0, pb.Verdict_VERDICT_FIT},
		{"required one before", answered(2*time.Hour + 1), answered(0), 0, pb.Verdict_VERDICT_UNPROVEN},
		{"the other before", answered(0), answered(2*time.Hour + 1), pb.UnprovenCause_UNPROVEN_CAUSE_TAKEN_OVER_SINCE, pb.Verdict_VERDICT_UNPROVEN},
		{"the other never", answered(0), nil, pb.UnprovenCause_UNPROVEN_CAUSE_NEVER_ANSWERED, pb.Verdict_VERDICT_UNPROVEN},
		{"the other passed by", answered(0), passed, pb.UnprovenCause_UNPROVEN_CAUSE_NOT_CHECKED, pb.Verdict_VERDICT_UNPROVEN},
		{"the other of another configuration", answered(0), unfitting, pb.UnprovenCause_UNPROVEN_CAUSE_ANSWER_DOES_NOT_FIT, pb.Verdict_VERDICT_UNPROVEN},
	} {
		in := &verdict.Input{
			Vehicle: &pb.VehicleConfiguration{CallSign: "WN90"}, Required: []*pb.CheckStep{required}, Latest: map[string]*verdict.Answer{},
			Takeover: verdict.NewTakeover([]*pb.CheckStep{required, beside}, noon.Add(-2*time.Hour)),
			Holding:  &pb.CallSignHolding{AnswersTo: "WN12", Other: "vehicles/wn12"},
		}
		for step, a := range map[*pb.CheckStep]*verdict.Answer{required: test.required, beside: test.beside} {
			if a != nil {
				in.Latest[step.GetStepId()] = a
			}
		}
		got := verdict.Of(in, noon)
		if got.GetVerdict() != test.want || got.GetCallSign() != "WN90" || got.GetAnswersTo() != "WN12" {
			t.Errorf("%s: %v under %s, want %v", test.name, got.GetVerdict(), got.GetAnswersTo(), test.want)
		}
		if in.Takeover.Whole(in.Latest) != (test.want == pb.Verdict_VERDICT_FIT) {
			t.Errorf("%s: whole is not what the verdict says", test.name)
		}
		cause := pb.UnprovenCause(0)
		for _, reason := range got.GetReasons() {
			for _, s := range reason.GetUnproven().GetSteps() {
				if s.GetStepId() == beside.GetStepId() {
					cause = s.GetCause()
				}
			}
		}
		if back := verdict.WaysBack(in, noon, nil); cause != 0 && (len(back) == 0 || !strings.Contains(back[0].GetText(), "Gear")) {
			t.Errorf("%s: the way back does not name the step: %v", test.name, back)
		}
		if cause != test.cause {
			t.Errorf("%s: %v, want %v", test.name, cause, test.cause)
		}
	}
}
