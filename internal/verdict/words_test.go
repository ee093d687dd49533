package verdict_test

import (
	"testing"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// The words are the service's own: common practice. What nobody knows, what was
// added to the contract later included, is not proven.
func TestWords_OfEachVerdict(t *testing.T) {
	want := map[pb.Verdict]string{
		pb.Verdict_VERDICT_UNSPECIFIED: "NOT PROVEN",
		pb.Verdict_VERDICT_FIT:         "FIT TO RESPOND",
		pb.Verdict_VERDICT_RESTRICTED:  "FIT WITH LIMITS",
		pb.Verdict_VERDICT_UNPROVEN:    "NOT PROVEN",
		pb.Verdict_VERDICT_MOVE_ONLY:   "MOVE ONLY – NOT TO RESPOND",
		pb.Verdict_VERDICT_UNFIT:       "DO NOT MOVE",
		99:                             "NOT PROVEN",
	}
	for n := range pb.Verdict_name {
		if _, told := want[pb.Verdict(n)]; !told {
			t.Errorf("no words are wanted for %v", pb.Verdict(n))
		}
	}
	for v, words := range want {
		if got := verdict.OneLine(verdict.Words(v)); got != words {
			t.Errorf("%v is called %q, want %q", v, got, words)
		}
	}
}

func TestSaid_CountsWhatIsOpenWhereNobodyKnows(t *testing.T) {
	open := func(v pb.Verdict, steps int) *pb.Readiness {
		u := &pb.Unproven{Steps: make([]*pb.UnprovenStep, steps)}
		return &pb.Readiness{Verdict: v, Reasons: []*pb.Reason{{}, {Cause: &pb.Reason_Unproven{Unproven: u}}}}
	}
	for _, tc := range []struct {
		of   *pb.Readiness
		want string
	}{
		{open(pb.Verdict_VERDICT_UNPROVEN, 0), "NOT PROVEN"},
		{open(pb.Verdict_VERDICT_UNPROVEN, 1), "NOT PROVEN – 1 item open"},
		{open(pb.Verdict_VERDICT_UNPROVEN, 12), "NOT PROVEN – 12 items open"},
		{open(99, 2), "NOT PROVEN – 2 items open"},
		{open(pb.Verdict_VERDICT_MOVE_ONLY, 2), "MOVE ONLY – NOT TO RESPOND"},
		{open(pb.Verdict_VERDICT_UNFIT, 2), "DO NOT MOVE"},
		{nil, "NOT PROVEN"},
	} {
		if got := verdict.OneLine(verdict.Said(tc.of)); got != tc.want {
			t.Errorf("%v: %q, want %q", tc.of, got, tc.want)
		}
	}
}

// What a rule takes away decides alone; an effect that nobody knows is never nothing.
func TestOfEffect_OnlyNothingLeavesItFit(t *testing.T) {
	for n := range pb.Effect_name {
		e := pb.Effect(n)
		if v := verdict.OfEffect(e); (v == pb.Verdict_VERDICT_FIT) != (e == pb.Effect_EFFECT_NOTHING) {
			t.Errorf("%v alone would give %v", e, v)
		}
	}
	if v := verdict.OfEffect(99); v != pb.Verdict_VERDICT_UNPROVEN {
		t.Errorf("an effect nobody knows would give %v", v)
	}
}
