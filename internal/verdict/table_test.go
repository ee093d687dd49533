package verdict_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// fitInput is a vehicle of which so many steps are required, all answered an
// hour before noon and good for 24 hours.
func fitInput(steps int) *verdict.Input {
	in := &verdict.Input{
		Vehicle: &pb.VehicleConfiguration{Name: "vehicles/wn11", CallSign: "WN11", Station: "stations/skarholm-quay", Revision: 7, Capabilities: []string{"pump", "crew seat"}},
		Latest:  map[string]*verdict.Answer{},
		Packs:   []string{"packs/wendmoor-policy@1"},
	}
	for i := range steps {
		in.Required = append(in.Required, &pb.CheckStep{StepId: stepID(i), Title: fmt.Sprintf("Item %d", i), GoodFor: durationpb.New(hours(24))})
		r := seen(noon.Add(-hours(1)))
		in.Latest[stepID(i)] = &verdict.Answer{Newest: r, Real: r, RealFits: true}
	}
	return in
}

func finding(id string, effect pb.Effect) *pb.Finding {
	return &pb.Finding{
		FindingId: id, Pack: "packs/wendmoor-policy", Rule: id, Effect: effect, Grade: pb.Grade_GRADE_MAJOR,
		Scope: pb.RuleScope_RULE_SCOPE_RESULT, StepIds: []string{stepID(0)}, Text: id,
	}
}

func openDefect(id string, effect pb.Effect) *pb.Defect {
	return &pb.Defect{
		Name: "vehicles/wn11/defects/" + id, State: pb.DefectState_DEFECT_STATE_OPEN, StepId: stepID(0),
		Findings: []*pb.Finding{finding(id, effect)},
	}
}

// causes are single things that make a verdict, one or more for each verdict.
var causes = []struct {
	name    string
	verdict pb.Verdict
	add     func(*verdict.Input)
}{
	{"nothing", pb.Verdict_VERDICT_FIT, func(*verdict.Input) {}},
	{"noted finding", pb.Verdict_VERDICT_FIT, func(in *verdict.Input) {
		in.Findings = append(in.Findings, finding("noted", pb.Effect_EFFECT_NOTHING))
	}},
	{"closed defect", pb.Verdict_VERDICT_FIT, func(in *verdict.Input) {
		d := openDefect("closed", pb.Effect_EFFECT_MOVING)
		d.State = pb.DefectState_DEFECT_STATE_CLOSED
		in.Defects = append(in.Defects, d)
	}},
	{"limited finding", pb.Verdict_VERDICT_RESTRICTED, func(in *verdict.Input) {
		in.Findings = append(in.Findings, finding("limited", pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT))
	}},
	{"limited defect", pb.Verdict_VERDICT_RESTRICTED, func(in *verdict.Input) {
		in.Defects = append(in.Defects, openDefect("limited", pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT))
	}},
	{"unanswered step", pb.Verdict_VERDICT_UNPROVEN, func(in *verdict.Input) { delete(in.Latest, stepID(1)) }},
	{"rule not worked out", pb.Verdict_VERDICT_UNPROVEN, func(in *verdict.Input) {
		in.Findings = append(in.Findings, finding("broken-rule", pb.Effect_EFFECT_UNSPECIFIED))
	}},
	{"effect of a later version", pb.Verdict_VERDICT_UNPROVEN, func(in *verdict.Input) {
		in.Findings = append(in.Findings, finding("later", pb.Effect(99)))
	}},
	{"rectified defect", pb.Verdict_VERDICT_UNPROVEN, func(in *verdict.Input) {
		d := openDefect("rectified", pb.Effect_EFFECT_MOVING)
		d.State = pb.DefectState_DEFECT_STATE_RECTIFIED
		in.Defects = append(in.Defects, d)
		in.Findings = append(in.Findings, finding("rectified", pb.Effect_EFFECT_MOVING)) // what the newest result, from before the repair, shows
	}},
	{"defect without findings", pb.Verdict_VERDICT_UNPROVEN, func(in *verdict.Input) {
		in.Defects = append(in.Defects, &pb.Defect{Name: "vehicles/wn11/defects/bare", State: pb.DefectState_DEFECT_STATE_OPEN, StepId: stepID(0)})
	}},
	{"stopped vehicle, repaired, not released", pb.Verdict_VERDICT_UNPROVEN, func(in *verdict.Input) {
		d := openDefect("stopped", pb.Effect_EFFECT_MOVING)
		d.State, d.Stop = pb.DefectState_DEFECT_STATE_RECTIFIED, &pb.VehicleStop{Reason: "it pulls to the left"}
		in.Defects = append(in.Defects, d)
	}},
	{"deferred, against responding, limited", pb.Verdict_VERDICT_RESTRICTED, deferred(pb.Effect_EFFECT_RESPONDING, 1)},
	{"deferred, takes nothing, without a limit", pb.Verdict_VERDICT_FIT, deferred(pb.Effect_EFFECT_NOTHING, 1)},
	{"deferred a limit, over", pb.Verdict_VERDICT_MOVE_ONLY, deferred(pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT, 0)},
	{"deferred, and dangerous all the same", pb.Verdict_VERDICT_UNFIT, deferred(pb.Effect_EFFECT_MOVING, 1)},
	{"two deferred on one system", pb.Verdict_VERDICT_MOVE_ONLY, func(in *verdict.Input) {
		in.Systems = []*pb.DeferralSystem{{Id: "s", Title: "Steering", Items: []string{"ITM"}, Together: pb.Effect_EFFECT_RESPONDING}}
		deferred(pb.Effect_EFFECT_NOTHING, 1)(in)
		deferred(pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT, 1)(in)
	}},
	{"record behind", pb.Verdict_VERDICT_UNPROVEN, doubted(pb.RecordDoubtKind_RECORD_DOUBT_KIND_BEHIND)},
	{"record damaged", pb.Verdict_VERDICT_UNPROVEN, doubted(pb.RecordDoubtKind_RECORD_DOUBT_KIND_DAMAGED)},
	{"record in a doubt of a later version", pb.Verdict_VERDICT_UNPROVEN, doubted(99)},
	{"finding against responding", pb.Verdict_VERDICT_MOVE_ONLY, func(in *verdict.Input) {
		in.Findings = append(in.Findings, finding("off-the-run", pb.Effect_EFFECT_RESPONDING))
	}},
	{"defect against responding", pb.Verdict_VERDICT_MOVE_ONLY, func(in *verdict.Input) {
		in.Defects = append(in.Defects, openDefect("off-the-run", pb.Effect_EFFECT_RESPONDING))
	}},
	{"finding against moving", pb.Verdict_VERDICT_UNFIT, func(in *verdict.Input) {
		in.Findings = append(in.Findings, finding("stay", pb.Effect_EFFECT_MOVING))
	}},
	{"defect against moving", pb.Verdict_VERDICT_UNFIT, func(in *verdict.Input) {
		in.Defects = append(in.Defects, openDefect("stay", pb.Effect_EFFECT_MOVING))
	}},
}

// deferred adds a defect that may wait for so many hours from noon.
func deferred(effect pb.Effect, more int) func(*verdict.Input) {
	return func(in *verdict.Input) {
		d := openDefect(fmt.Sprintf("deferred-%d-%d", effect, more), effect)
		d.State = pb.DefectState_DEFECT_STATE_DEFERRED
		d.Deferral = &pb.Deferral{
			Expires: timestamppb.New(noon.Add(hours(more))), ExpiresLocal: "then", Grade: pb.Grade_GRADE_MAJOR, Effect: effect,
			WhenOver: pb.Effect_EFFECT_RESPONDING,
		}
		in.Defects = append(in.Defects, d)
	}
}

// doubted puts the record in doubt.
func doubted(kind pb.RecordDoubtKind) func(*verdict.Input) {
	return func(in *verdict.Input) { in.Record = &pb.RecordDoubt{Kind: kind} }
}

// A vehicle that is fit by all that was checked is not when the record is in
// doubt, the first reason says so, and nothing done at the vehicle helps. That
// the record was not read through is told, and takes nothing away.
func TestOf_RecordInDoubt(t *testing.T) {
	for kind, want := range map[pb.RecordDoubtKind]pb.Verdict{
		pb.RecordDoubtKind_RECORD_DOUBT_KIND_BEHIND:  pb.Verdict_VERDICT_UNPROVEN,
		pb.RecordDoubtKind_RECORD_DOUBT_KIND_DAMAGED: pb.Verdict_VERDICT_UNPROVEN,
		pb.RecordDoubtKind_RECORD_DOUBT_KIND_UNREAD:  pb.Verdict_VERDICT_FIT,
	} {
		in := fitInput(3)
		doubted(kind)(in)
		r := verdict.Of(in, noon)
		if r.GetVerdict() != want || len(r.GetReasons()) != 1 || r.GetReasons()[0].GetRecord().GetKind() != kind || r.GetReasons()[0].GetText() == "" {
			t.Errorf("%v: %v for %v, want %v for the record alone", kind, r.GetVerdict(), r.GetReasons(), want)
		}
		if ways := verdict.WaysBack(in, noon, nil); len(ways) > 0 {
			t.Errorf("%v: ways back %v, where nothing helps", kind, ways)
		}
		in.Latest = nil // and nothing was checked
		if r := verdict.Of(in, noon); want != pb.Verdict_VERDICT_FIT && r.GetReasons()[0].GetRecord() == nil {
			t.Errorf("%v: the first reason is %q, want the record, which the others rest on", kind, r.GetReasons()[0].GetText())
		}
	}
}

// TestFold_WorstWins is the truth table of the order of badness in design.md,
// section 2: UNFIT, MOVE_ONLY, UNPROVEN, RESTRICTED, FIT; every cause alone, and
// every two together.
func TestFold_WorstWins(t *testing.T) {
	badness := []pb.Verdict{
		pb.Verdict_VERDICT_FIT, pb.Verdict_VERDICT_RESTRICTED, pb.Verdict_VERDICT_UNPROVEN,
		pb.Verdict_VERDICT_MOVE_ONLY, pb.Verdict_VERDICT_UNFIT,
	}
	for _, a := range causes {
		for _, b := range causes {
			in := fitInput(3)
			a.add(in)
			if a.name != b.name {
				b.add(in)
			}
			want := badness[max(slices.Index(badness, a.verdict), slices.Index(badness, b.verdict))]
			if got, _ := verdict.Fold(in, noon); got != want {
				t.Errorf("%s and %s: %v, want %v", a.name, b.name, got, want)
			}
		}
	}
}

// TestOf_UnprovenCauses : what proves nothing, why
// and since when.
func TestOf_UnprovenCauses(t *testing.T) {
	given := noon.Add(-hours(30)) // good until six hours before noon
	fresh := noon.Add(-hours(1))
	for _, tc := range []struct {
		name   string
		answer *verdict.Answer
		want   pb.UnprovenCause
		since  time.Time
	}{
		{"never answered", nil, pb.UnprovenCause_UNPROVEN_CAUSE_NEVER_ANSWERED, time.Time{}},
		{"an empty answer is none", &verdict.Answer{}, pb.UnprovenCause_UNPROVEN_CAUSE_NEVER_ANSWERED, time.Time{}},
		{"fresh", real(fresh), 0, time.Time{}},
		{"fresh a nanosecond before it goes stale", real(noon.Add(-hours(24) + 1)), 0, time.Time{}},
		{"stale at the very instant", real(noon.Add(-hours(24))), pb.UnprovenCause_UNPROVEN_CAUSE_STALE, noon},
		{"stale", real(given), pb.UnprovenCause_UNPROVEN_CAUSE_STALE, noon.Add(-hours(6))},
		{"never but not checked", &verdict.Answer{Newest: notChecked(fresh)}, pb.UnprovenCause_UNPROVEN_CAUSE_NOT_CHECKED, fresh},
		{"not checked, the earlier answer still fresh", &verdict.Answer{Newest: notChecked(noon), Real: seen(fresh), RealFits: true}, 0, time.Time{}},
		{"not checked, the earlier answer stale by then", &verdict.Answer{Newest: notChecked(fresh), Real: seen(given), RealFits: true}, pb.UnprovenCause_UNPROVEN_CAUSE_NOT_CHECKED, fresh},
		{"not checked, the earlier answer stale since", &verdict.Answer{Newest: notChecked(noon.Add(-hours(8))), Real: seen(given), RealFits: true}, pb.UnprovenCause_UNPROVEN_CAUSE_NOT_CHECKED, noon.Add(-hours(6))},
		{"not checked, the earlier answer never fitted", &verdict.Answer{Newest: notChecked(noon.Add(-hours(8))), Real: seen(given)}, pb.UnprovenCause_UNPROVEN_CAUSE_NOT_CHECKED, noon.Add(-hours(8))},
		{"answered for another configuration", &verdict.Answer{Newest: seen(fresh), Real: seen(fresh)}, pb.UnprovenCause_UNPROVEN_CAUSE_ANSWER_DOES_NOT_FIT, time.Time{}},
		{"repaired since", void(fresh, fresh.Add(1)), pb.UnprovenCause_UNPROVEN_CAUSE_REPAIRED_SINCE, fresh.Add(1)},
		{"answered after the repair", void(fresh, fresh), 0, time.Time{}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			in := fitInput(3)
			delete(in.Latest, stepID(1))
			if tc.answer != nil {
				in.Latest[stepID(1)] = tc.answer
			}
			r := verdict.Of(in, noon)
			if tc.want == 0 {
				if r.GetVerdict() != pb.Verdict_VERDICT_FIT || len(r.GetReasons()) != 0 {
					t.Errorf("%v because %v", r.GetVerdict(), r.GetReasons())
				}
				return
			}
			steps := r.GetReasons()[0].GetUnproven().GetSteps()
			if len(steps) != 1 || steps[0].GetStepId() != stepID(1) || steps[0].GetCause() != tc.want {
				t.Fatalf("unproven: %v, want one step with %v", steps, tc.want)
			}
			if since := steps[0].GetSince(); (since == nil) != tc.since.IsZero() || since != nil && !since.AsTime().Equal(tc.since) {
				t.Errorf("since %v, want %v", since.AsTime(), tc.since)
			}
		})
	}
}

// TestOf_StaleDangerStaysDangerous: nothing gets better by waiting.
func TestOf_StaleDangerStaysDangerous(t *testing.T) {
	in := fitInput(2)
	in.Findings = append(in.Findings, finding("stay", pb.Effect_EFFECT_MOVING))
	r := verdict.Of(in, noon.Add(hours(1000)))
	if r.GetVerdict() != pb.Verdict_VERDICT_UNFIT || len(r.GetReasons()) != 2 || r.GetUntil() != nil {
		t.Errorf("%v until %v because %v", r.GetVerdict(), r.GetUntil(), r.GetReasons())
	}
}

// TestOf_RectifiedDefectElsewhere: a repaired step must be checked again even if
// no routine requires it.
func TestOf_RectifiedDefectElsewhere(t *testing.T) {
	in := fitInput(2)
	d := openDefect("rope-worn", pb.Effect_EFFECT_NOTHING)
	d.State, d.StepId = pb.DefectState_DEFECT_STATE_RECTIFIED, "RES-010/winch"
	d.Repair = &pb.Repair{StationTime: timestamppb.New(noon.Add(-hours(2)))}
	in.Defects = append(in.Defects, d)
	r := verdict.Of(in, noon)
	u := r.GetReasons()[0].GetUnproven()
	if r.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN || u.GetRequired() != 3 || len(u.GetSteps()) != 1 || u.GetSteps()[0].GetStepId() != "RES-010/winch" {
		t.Errorf("%v because %v", r.GetVerdict(), r.GetReasons())
	}
	if !u.GetSteps()[0].GetSince().AsTime().Equal(noon.Add(-hours(2))) {
		t.Errorf("since %v", u.GetSteps()[0].GetSince().AsTime())
	}
}

// real is a real answer that fits.
func real(given time.Time) *verdict.Answer {
	return &verdict.Answer{Newest: seen(given), Real: seen(given), RealFits: true}
}

// void is a real answer and the time of a repair.
func void(given, repaired time.Time) *verdict.Answer {
	a := real(given)
	a.VoidBefore = repaired
	return a
}
