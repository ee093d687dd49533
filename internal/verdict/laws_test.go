package verdict_test

import (
	"slices"
	"testing"
	"time"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"pgregory.net/rapid"
)

func TestFold_AgreesWithOf(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, at := drawInput(t), drawInstant(t, "at")
		v, until := verdict.Fold(in, at)
		whole := verdict.Of(in, at)
		if v != whole.GetVerdict() {
			t.Errorf("Fold says %v, Of says %v", v, whole.GetVerdict())
		}
		if until.IsZero() != (whole.GetUntil() == nil) || !until.IsZero() && !until.Equal(whole.GetUntil().AsTime()) {
			t.Errorf("Fold holds until %v, Of until %v", until, whole.GetUntil())
		}
		if !until.IsZero() && !until.After(at) {
			t.Errorf("until %v does not lie after %v", until, at)
		}
	})
}

// TestOf_HoldsUntilExactlyThen walks through all instants at which something
// changes by itself and looks at both sides of each.
func TestOf_HoldsUntilExactlyThen(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, at := drawInput(t), drawInstant(t, "at")
		for {
			before := verdict.Of(in, at)
			if before.GetUntil() == nil {
				sameButAsOf(t, before, verdict.Of(in, at.Add(100*365*24*time.Hour)))
				return
			}
			until := before.GetUntil().AsTime()
			sameButAsOf(t, before, verdict.Of(in, until.Add(-1)))
			then := verdict.Of(in, until)
			then.AsOf, then.Until = before.GetAsOf(), before.GetUntil()
			if proto.Equal(before, then) {
				t.Fatalf("nothing but until changed at %v: %v", until, before)
			}
			at = until
		}
	})
}

func sameButAsOf(t *rapid.T, want, got *pb.Readiness) {
	t.Helper()
	got.AsOf = want.GetAsOf()
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Fatalf("changed before its time:\n%s", diff)
	}
}

func TestFold_WaitingNeverHelps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, at := drawInput(t), drawInstant(t, "at")
		now, _ := verdict.Fold(in, at)
		later, _ := verdict.Fold(in, at.Add(time.Duration(rapid.Int64Range(0, int64(hours(50))).Draw(t, "wait"))))
		if later < now {
			t.Errorf("%v became %v by waiting", now, later)
		}
	})
}

func TestFold_MoreFindingsNeverHelp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, at := drawInput(t), drawInstant(t, "at")
		before, _ := verdict.Fold(in, at)
		in.Findings = append(in.Findings, drawFinding(t, "another", len(in.Required)+2))
		after, _ := verdict.Fold(in, at)
		if after < before {
			t.Errorf("one more finding made %v into %v", before, after)
		}
	})
}

func TestFold_MoreOpenDefectsNeverHelp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, at := drawInput(t), drawInstant(t, "at")
		before, _ := verdict.Fold(in, at)
		f := drawFinding(t, "another", len(in.Required)+2)
		in.Defects = append(in.Defects, &pb.Defect{
			Name: "vehicles/wn11/defects/another", State: pb.DefectState_DEFECT_STATE_OPEN, StepId: f.GetStepIds()[0], Findings: []*pb.Finding{f},
		})
		after, _ := verdict.Fold(in, at)
		if after < before {
			t.Errorf("one more open defect made %v into %v", before, after)
		}
	})
}

func TestFold_WorseEffectNeverHelps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, at := drawInput(t), drawInstant(t, "at")
		var all []*pb.Finding
		all = append(all, in.Findings...)
		for _, d := range in.Defects {
			all = append(all, d.GetFindings()...)
		}
		if len(all) == 0 {
			t.Skip("nothing found")
		}
		f := rapid.SampledFrom(all).Draw(t, "finding")
		if f.GetEffect() == pb.Effect_EFFECT_UNSPECIFIED && slices.ContainsFunc(in.Defects, func(d *pb.Defect) bool { return d.GetDeferral() != nil }) {
			t.Skip("a deferral holds nothing back that nobody could work out, and may hold back worse")
		}
		before, _ := verdict.Fold(in, at)
		worse := rapid.SampledFrom(effectsWorseThan(f.GetEffect())).Draw(t, "worse effect")
		f.Effect = worse
		after, _ := verdict.Fold(in, at)
		if after < before {
			t.Errorf("a worse effect, %v, made %v into %v", worse, before, after)
		}
	})
}

// effectsWorseThan returns the effects that are at least as bad, by the order of
// badness of design.md section 2.
func effectsWorseThan(e pb.Effect) []pb.Effect {
	order := []pb.Effect{
		pb.Effect_EFFECT_NOTHING, pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT, pb.Effect_EFFECT_UNSPECIFIED,
		pb.Effect_EFFECT_RESPONDING, pb.Effect_EFFECT_MOVING,
	}
	return order[slices.Index(order, e):]
}

// TestFold_WorseResultNeverHelps records, at one step, a sound answer or one that
// shows something: the second is never better, whatever was known before.
func TestFold_WorseResultNeverHelps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, at := drawInput(t), drawInstant(t, "at")
		if len(in.Required) == 0 {
			t.Skip("no step to answer")
		}
		step := stepID(rapid.IntRange(0, len(in.Required)-1).Draw(t, "answered step"))
		in.Latest[step] = &verdict.Answer{Newest: seen(at), Real: seen(at), RealFits: true}
		in.Findings = slices.DeleteFunc(in.Findings, func(f *pb.Finding) bool { return f.GetStepIds()[0] == step })
		sound, _ := verdict.Fold(in, at)
		f := drawFinding(t, "shown", len(in.Required))
		f.Scope, f.StepIds = pb.RuleScope_RULE_SCOPE_RESULT, []string{step}
		in.Findings = append(in.Findings, f)
		shown, _ := verdict.Fold(in, at)
		if shown < sound {
			t.Errorf("answering soundly gives %v, with %v it is %v", sound, f.GetEffect(), shown)
		}
	})
}

func TestFold_NotCheckedNeverHelps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, at := drawInput(t), drawInstant(t, "at")
		if len(in.Required) == 0 {
			t.Skip("no step to answer")
		}
		before, _ := verdict.Fold(in, at)
		step := stepID(rapid.IntRange(0, len(in.Required)-1).Draw(t, "step not checked"))
		a := verdict.Answer{}
		if was := in.Latest[step]; was != nil {
			a = *was
		}
		a.Newest = notChecked(at)
		in.Latest[step] = &a
		after, until := verdict.Fold(in, at)
		if after != before {
			t.Errorf("recording %q as not checked made %v into %v (until %v)", step, before, after, until)
		}
	})
}

func TestFold_UnansweredIsNeverFit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, at := drawInput(t), drawInstant(t, "at")
		if len(in.Required) > 0 {
			delete(in.Latest, stepID(rapid.IntRange(0, len(in.Required)-1).Draw(t, "unanswered")))
		}
		if v, _ := verdict.Fold(in, at); v < pb.Verdict_VERDICT_UNPROVEN {
			t.Errorf("an unanswered required step, or none required at all, and yet %v", v)
		}
	})
}

// TestFold_RepairAloneIsNeverEnough: whatever a repair takes away, its step must
// be looked at again.
func TestFold_RepairAloneIsNeverEnough(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, at := drawInput(t), drawInstant(t, "at")
		if len(in.Defects) == 0 {
			t.Skip("nothing to repair")
		}
		for _, d := range in.Defects {
			d.State = pb.DefectState_DEFECT_STATE_RECTIFIED
		}
		if v, _ := verdict.Fold(in, at); v < pb.Verdict_VERDICT_UNPROVEN {
			t.Errorf("everything repaired, nothing checked again, and yet %v", v)
		}
	})
}
