package notice

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// noon is when the readinesses of these tests are.
var noon = time.Date(2026, time.March, 6, 12, 0, 0, 0, time.UTC)

func stamp(t time.Time) *timestamppb.Timestamp { return timestamppb.New(t) }

// standing is a readiness at an instant.
func standing(at time.Time, v pb.Verdict, defects ...*pb.Defect) *pb.Readiness {
	return &pb.Readiness{
		Vehicle: "vehicles/p1", CallSign: "P1", Station: "stations/quay", Verdict: v, AsOf: stamp(at), Since: stamp(noon),
		Sequence: 7, OpenDefects: defects,
	}
}

// leak is a defect first found at an instant; change alters it.
func leak(found time.Time, change ...func(*pb.Defect)) *pb.Defect {
	d := &pb.Defect{
		Name: "vehicles/p1/defects/leak", StepId: "TYR-010/axle-1-nearside", State: pb.DefectState_DEFECT_STATE_OPEN, FirstFound: stamp(found),
		Findings: []*pb.Finding{{Grade: pb.Grade_GRADE_MAJOR, Effect: pb.Effect_EFFECT_RESPONDING, Text: "The valve leaks."}},
	}
	for _, c := range change {
		c(d)
	}
	return d
}

// waits defers a defect, warned of 48 h and 4 h before it lapses.
func waits(decided, expires time.Time) func(*pb.Defect) {
	return func(d *pb.Defect) {
		d.State = pb.DefectState_DEFECT_STATE_DEFERRED
		d.Deferral = &pb.Deferral{StationTime: stamp(decided), Expires: stamp(expires), WarnFrom: []*timestamppb.Timestamp{
			stamp(expires.Add(-48 * time.Hour)), stamp(expires.Add(-4 * time.Hour)),
		}}
	}
}

// lapsed is a deferral that is over.
func lapsed(d *pb.Defect) { d.State = pb.DefectState_DEFECT_STATE_OPEN }

// unproven adds a reason that names steps without an answer that counts.
func unproven(r *pb.Readiness, cause pb.UnprovenCause, steps ...string) *pb.Readiness {
	named := &pb.Unproven{}
	for _, s := range steps {
		named.Steps = append(named.Steps, &pb.UnprovenStep{StepId: s, Title: "step " + s, Cause: cause, Since: stamp(noon)})
	}
	r.Reasons = append(r.Reasons, &pb.Reason{Text: fmt.Sprintf("%d steps", len(steps)), Cause: &pb.Reason_Unproven{Unproven: named}})
	return r
}

// Which notices a change gives. What is expected follows from the words of the kinds;
// a deferral is warned of at the instants that its pack says (Deferral.warn_from).
func TestOf_KindsOfAChange(t *testing.T) {
	const fit, restricted, unfit, none = pb.Verdict_VERDICT_FIT, pb.Verdict_VERDICT_RESTRICTED, pb.Verdict_VERDICT_UNFIT, pb.Verdict_VERDICT_UNPROVEN
	const stale, never = pb.UnprovenCause_UNPROVEN_CAUSE_STALE, pb.UnprovenCause_UNPROVEN_CAUSE_NEVER_ANSWERED
	found, decided, expires := noon.Add(-time.Hour), noon.Add(-30*time.Minute), noon.Add(72*time.Hour)
	warned, late := expires.Add(-48*time.Hour), expires.Add(-4*time.Hour)
	deferred := waits(decided, expires)
	for _, tc := range []struct {
		why    string
		before *pb.Readiness
		now    *pb.Readiness
		want   []string // suffixes of ids, in order
	}{
		{"nothing changed", standing(noon, fit), standing(noon, fit), nil},
		{"another verdict", standing(noon, fit), standing(noon, unfit), []string{"verdict"}},
		{"nobody was told before", nil, standing(noon, fit), []string{"verdict"}},
		{"nobody was told before, and a defect is open", nil, standing(noon, unfit, leak(found)), []string{"verdict", "found-leak"}},
		{"a defect of no effect", standing(noon, fit), standing(noon, fit, leak(found)), []string{"found-leak"}},
		{"a defect goes", standing(noon, unfit, leak(found)), standing(noon, fit), []string{"verdict", "closed-leak"}},
		{"closed and found anew within one change", standing(noon, unfit, leak(found)), standing(noon, unfit, leak(noon)), []string{"found-leak", "closed-leak"}},
		{"the same defect, found again", standing(noon, unfit, leak(found)), standing(noon, unfit, leak(found, func(d *pb.Defect) { d.TimesFound = 9 })), nil},
		{"deferred", standing(noon, unfit, leak(found)), standing(noon, restricted, leak(found, deferred)), []string{"verdict"}},
		{"a second before the first warning", standing(noon, restricted, leak(found, deferred)), standing(warned.Add(-time.Second), restricted, leak(found, deferred)), nil},
		{"the first warning", standing(noon, restricted, leak(found, deferred)), standing(warned, restricted, leak(found, deferred)), []string{"ending-leak"}},
		{"warned of, nothing new", standing(warned, restricted, leak(found, deferred)), standing(late.Add(-time.Second), restricted, leak(found, deferred)), nil},
		{"the second warning", standing(warned, restricted, leak(found, deferred)), standing(late, restricted, leak(found, deferred)), []string{"ending-leak"}},
		{"it lapses", standing(late, restricted, leak(found, deferred)), standing(expires, unfit, leak(found, deferred, lapsed)), []string{"verdict", "over-leak"}},
		{"it lapsed long ago", standing(expires, unfit, leak(found, deferred, lapsed)), standing(expires.Add(time.Hour), unfit, leak(found, deferred, lapsed)), nil},
		{"ended before its time", standing(noon, restricted, leak(found, deferred)), standing(noon, unfit, leak(found, deferred, lapsed)), []string{"verdict", "over-leak"}},
		{"lapsed, and deferred anew for long", standing(expires, unfit, leak(found, deferred, lapsed)), standing(expires, restricted, leak(found, waits(expires, expires.Add(100*time.Hour)))), []string{"verdict"}},
		{"deferred anew, for shorter than the warning", standing(late, restricted, leak(found, deferred)), standing(late, restricted, leak(found, waits(late, late.Add(5*time.Hour)))), []string{"ending-leak"}},
		{"deferred at once for shorter than the warning", standing(noon, unfit, leak(found)), standing(noon, restricted, leak(found, waits(noon, noon.Add(time.Hour)))), []string{"verdict", "ending-leak"}},
		{"nobody was told before, and one is about to lapse", nil, standing(late, restricted, leak(found, deferred)), []string{"verdict", "found-leak", "ending-leak"}},
		{"nobody was told before, and one lapsed long ago", nil, standing(expires, unfit, leak(found, deferred, lapsed)), []string{"verdict", "found-leak"}},
		{"put right while it waited", standing(late, restricted, leak(found, deferred)), standing(late, fit), []string{"verdict", "closed-leak"}},
		{"checks become too old", standing(noon, fit), unproven(standing(noon, none), stale, "a", "b"), []string{"verdict", "overdue"}},
		{"more become too old", unproven(standing(noon, none), stale, "a"), unproven(standing(noon, none), stale, "a", "b"), []string{"overdue"}},
		{"fewer are too old", unproven(standing(noon, none), stale, "a", "b"), unproven(standing(noon, none), stale, "a"), nil},
		{"never checked is not overdue", nil, unproven(standing(noon, none), never, "a"), []string{"verdict"}},
	} {
		t.Run(tc.why, func(t *testing.T) {
			var got []string
			for _, n := range Of(Change{Before: tc.before, Now: tc.now, At: noon, ID: "7-ab"}) {
				got = append(got, n.ID)
				if !slices.Contains(Kinds(), n.Kind) || n.Vehicle != "vehicles/p1" || n.Verdict != word(tc.now.GetVerdict().String()) || n.Sequence != 7 {
					t.Errorf("%+v", n)
				}
			}
			for i := range tc.want {
				tc.want[i] = "7-ab-" + tc.want[i]
			}
			if !slices.Equal(got, tc.want) {
				t.Errorf("told %v, want %v", got, tc.want)
			}
		})
	}
}

func TestOf_SaysWhatItIsAbout(t *testing.T) {
	expires := noon.Add(time.Hour)
	now := unproven(standing(noon, pb.Verdict_VERDICT_UNPROVEN, leak(noon, waits(noon, expires))), pb.UnprovenCause_UNPROVEN_CAUSE_STALE, "a")
	now.Until, now.Restrictions = stamp(expires), []*pb.Restriction{{Text: "no motorway"}}
	told := Of(Change{Before: standing(noon, pb.Verdict_VERDICT_FIT), Now: now, At: noon, ID: "7-ab"})
	if len(told) != 4 {
		t.Fatalf("%d notices, want a verdict, a defect, a deferral and a check: %+v", len(told), told)
	}
	verdict, found, ending, overdue := told[0], told[1].Defect, told[2].Defect, told[3].Overdue
	if verdict.Was != "FIT" || verdict.Verdict != "UNPROVEN" || !slices.Equal(verdict.Texts, []string{"1 steps"}) || !slices.Equal(verdict.Limits, []string{"no motorway"}) || !verdict.Until.Equal(expires) {
		t.Errorf("the verdict: %+v", verdict)
	}
	if want := (Defect{Name: "vehicles/p1/defects/leak", Step: "TYR-010/axle-1-nearside", Grade: "MAJOR", Takes: "RESPONDING", Text: "The valve leaks.", First: noon}); *found != want {
		t.Errorf("the defect: %+v", *found)
	}
	if !ending.WaitsUntil.Equal(expires) {
		t.Errorf("the deferral: %+v", *ending)
	}
	if len(overdue) != 1 || overdue[0] != (Step{Step: "a", Title: "step a", Since: noon}) {
		t.Errorf("the checks: %+v", overdue)
	}
}

func TestFilter_Wants(t *testing.T) {
	for _, tc := range []struct {
		why  string
		f    Filter
		n    Notice
		want bool
	}{
		{"empty wants all", Filter{}, Notice{Vehicle: "vehicles/p1", Kind: DefectFound, Verdict: "FIT"}, true},
		{"its vehicle", Filter{Vehicles: []string{"vehicles/p2", "vehicles/p1"}}, Notice{Vehicle: "vehicles/p1"}, true},
		{"another vehicle", Filter{Vehicles: []string{"vehicles/p2"}}, Notice{Vehicle: "vehicles/p1"}, false},
		{"part of a name is no name", Filter{Vehicles: []string{"vehicles/p1"}}, Notice{Vehicle: "vehicles/p12"}, false},
		{"its kind", Filter{Kinds: []Kind{DeferralEnding}}, Notice{Kind: DeferralEnding}, true},
		{"another kind", Filter{Kinds: []Kind{DeferralEnding}}, Notice{Kind: DeferralOver}, false},
		{"it comes to a verdict", Filter{Verdicts: []string{"UNFIT"}}, Notice{Kind: VerdictChanged, Was: "FIT", Verdict: "UNFIT"}, true},
		{"it leaves a verdict", Filter{Verdicts: []string{"UNFIT"}}, Notice{Kind: VerdictChanged, Was: "UNFIT", Verdict: "FIT"}, true},
		{"neither", Filter{Verdicts: []string{"UNFIT"}}, Notice{Kind: VerdictChanged, Was: "FIT", Verdict: "RESTRICTED"}, false},
		{"a defect while it stands so", Filter{Verdicts: []string{"UNFIT"}}, Notice{Kind: DefectFound, Verdict: "UNFIT"}, true},
		{"a defect while it does not", Filter{Verdicts: []string{"UNFIT"}}, Notice{Kind: DefectFound, Verdict: "FIT"}, false},
		{"all must hold", Filter{Vehicles: []string{"vehicles/p1"}, Kinds: []Kind{DefectFound}}, Notice{Vehicle: "vehicles/p1", Kind: DefectClosed}, false},
	} {
		if got := tc.f.Wants(tc.n); got != tc.want {
			t.Errorf("%s: %v, want %v", tc.why, got, tc.want)
		}
	}
}

// Whoever takes a place answers to its call sign, and the other vehicle to none: both
// are told, for control sends by call sign.
func TestOf_ACallSignThatMoves(t *testing.T) {
	stands := func(answersTo string) *pb.Readiness {
		return &pb.Readiness{Vehicle: "vehicles/p1", CallSign: "P1", AnswersTo: answersTo, Verdict: pb.Verdict_VERDICT_FIT, Since: timestamppb.Now()}
	}
	for _, test := range []struct {
		before, now *pb.Readiness
		want        []Kind
	}{
		{stands("P1"), stands(""), []Kind{CallSignMoved}},
		{stands("P1"), stands("P2"), []Kind{CallSignMoved}},
		{stands("P1"), stands("P1"), nil},
		{nil, stands("P2"), []Kind{VerdictChanged}}, // which says it, too
	} {
		all := Of(Change{Before: test.before, Now: test.now, ID: "1"})
		var kinds []Kind
		for _, n := range all {
			kinds = append(kinds, n.Kind)
			if n.AnswersTo != test.now.GetAnswersTo() || n.CallSign != "P1" {
				t.Errorf("%s tells %q of %q", n.Kind, n.AnswersTo, n.CallSign)
			}
		}
		if !slices.Equal(kinds, test.want) {
			t.Errorf("from %q to %q: %v, want %v", test.before.GetAnswersTo(), test.now.GetAnswersTo(), kinds, test.want)
		}
	}
}
