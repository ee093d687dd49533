package verdict_test

import (
	"fmt"
	"time"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"
)

// noon is the instant round which inputs are drawn.
var noon = time.Date(2026, 3, 3, 12, 0, 0, 0, time.UTC)

// hours is the grain of drawn times: coarse, so that equal instants are drawn often.
func hours(n int) time.Duration { return time.Duration(n) * time.Hour }

func stepID(i int) string { return fmt.Sprintf("ITM-%03d/place", i) }

// drawInput draws everything that can be known about a vehicle of a few steps.
func drawInput(t *rapid.T) *verdict.Input {
	return drawInputOf(t, rapid.IntRange(0, 7).Draw(t, "steps"))
}

// drawInputOf draws everything that can be known about a vehicle of so many steps.
func drawInputOf(t *rapid.T, steps int) *verdict.Input {
	in := &verdict.Input{
		Vehicle: &pb.VehicleConfiguration{Name: "vehicles/wn11", CallSign: "WN11", Revision: 7, Capabilities: []string{"pump", "aerial", "crew seat"}},
		Latest:  map[string]*verdict.Answer{},
		Packs:   []string{"packs/wendmoor-policy@1"},
	}
	for i := range steps {
		in.Required = append(in.Required, &pb.CheckStep{
			StepId: stepID(i), Title: fmt.Sprintf("Item %d", i), MustNotMiss: rapid.Bool().Draw(t, "must not miss"),
			GoodFor: durationpb.New(hours(rapid.IntRange(1, 30).Draw(t, "good for"))),
		})
		if a := drawAnswer(t); a != nil {
			in.Latest[stepID(i)] = a
		}
	}
	for i := range rapid.IntRange(0, 4).Draw(t, "findings") {
		in.Findings = append(in.Findings, drawFinding(t, fmt.Sprintf("finding-%d", i), steps+2))
	}
	in.Defects = drawDefects(t, steps+2)
	in.Systems = []*pb.DeferralSystem{
		{Id: "both", Title: "Both", Items: []string{"ITM-000", "ITM-001"}, Together: pb.Effect(rapid.IntRange(2, 4).Draw(t, "together"))},
		{Id: "rest", Title: "Rest", Items: []string{"ITM"}, Together: pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT},
	}
	// A takeover of every other step and of one that is not required, never after an
	// instant that is asked for.
	if rapid.IntRange(0, 3).Draw(t, "takeover") == 0 {
		var asked []*pb.CheckStep
		for i := 0; i < len(in.Required); i += 2 {
			asked = append(asked, in.Required[i])
		}
		asked = append(asked, &pb.CheckStep{StepId: stepID(steps), Title: "Beside"})
		if a := drawAnswer(t); a != nil {
			in.Latest[stepID(steps)] = a
		}
		in.Takeover = verdict.NewTakeover(asked, noon.Add(-hours(rapid.IntRange(10, 48).Draw(t, "taken over"))))
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "undone") {
		in.Undone = append(in.Undone, &pb.UndoneStep{StepId: drawStepID(t, steps+2), UndoS: 20, Round: fmt.Sprintf("rounds/%d", i)})
	}
	if rapid.IntRange(0, 5).Draw(t, "doubt") == 0 {
		in.Record = &pb.RecordDoubt{Kind: pb.RecordDoubtKind(rapid.IntRange(0, 4).Draw(t, "kind of doubt"))}
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "rounds") {
		in.Rounds = append(in.Rounds, &pb.Round{
			Name: fmt.Sprintf("rounds/%d", i), State: pb.RoundState(rapid.IntRange(1, 4).Draw(t, "round state")),
			Opened: timestamppb.New(noon.Add(-hours(rapid.IntRange(0, 3).Draw(t, "opened")))),
		})
	}
	return in
}

// drawAnswer draws what was last answered at a step; nil for never.
func drawAnswer(t *rapid.T) *verdict.Answer {
	kind := rapid.SampledFrom([]string{"never", "real", "real", "real", "not checked", "real, then not checked"}).Draw(t, "answer")
	if kind == "never" {
		return nil
	}
	a := &verdict.Answer{RealFits: rapid.IntRange(0, 5).Draw(t, "fits") > 0}
	given := noon.Add(-hours(rapid.IntRange(0, 40).Draw(t, "given")))
	if kind == "not checked" {
		a.Newest = notChecked(given)
		return a
	}
	a.Real = seen(given)
	a.Newest = a.Real
	if kind == "real, then not checked" {
		a.Newest = notChecked(given.Add(hours(rapid.IntRange(0, 20).Draw(t, "later"))))
	}
	if rapid.IntRange(0, 5).Draw(t, "void") == 0 {
		a.VoidBefore = given.Add(hours(rapid.IntRange(-2, 2).Draw(t, "void before")))
	}
	return a
}

func seen(given time.Time) *pb.Result {
	return &pb.Result{StationTime: timestamppb.New(given), Answer: &pb.Result_Seen{Seen: &pb.ConditionsSeen{}}}
}

func notChecked(given time.Time) *pb.Result {
	return &pb.Result{StationTime: timestamppb.New(given), Answer: &pb.Result_NotChecked{NotChecked: &pb.NotChecked{}}}
}

func drawStepID(t *rapid.T, steps int) string {
	return stepID(rapid.IntRange(0, steps-1).Draw(t, "step"))
}

// drawFinding draws a finding about one of so many steps, or about several.
func drawFinding(t *rapid.T, id string, steps int) *pb.Finding {
	f := &pb.Finding{
		FindingId: id, Pack: "packs/wendmoor-policy", Rule: fmt.Sprintf("rule-%d", rapid.IntRange(0, 2).Draw(t, "rule")),
		Effect: pb.Effect(rapid.IntRange(0, 4).Draw(t, "effect")), Grade: pb.Grade(rapid.IntRange(1, 3).Draw(t, "grade")),
		Scope: pb.RuleScope_RULE_SCOPE_RESULT, StepIds: []string{drawStepID(t, steps)},
		Text: "what " + id + " says", Numbers: map[string]float64{"a": 1, "b": 2, "c": 3}, RecheckCloses: rapid.Bool().Draw(t, "recheck closes"),
	}
	if rapid.Bool().Draw(t, "names a fault") {
		f.Fault = fmt.Sprintf("ITM-000-0%d", rapid.IntRange(0, 2).Draw(t, "fault"))
	}
	if rapid.IntRange(0, 3).Draw(t, "about a group") == 0 {
		f.Scope = pb.RuleScope_RULE_SCOPE_GROUP
		f.StepIds = nil
		for _, i := range rapid.SliceOfNDistinct(rapid.IntRange(0, steps-1), 1, 3, rapid.ID).Draw(t, "group") {
			f.StepIds = append(f.StepIds, stepID(i))
		}
	}
	if rapid.Bool().Draw(t, "takes the pump") {
		f.CapabilitiesLost = []string{"pump"}
	}
	for _, text := range rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"daylight only", "60 km/h", "four riders"}), 0, 2, rapid.ID).Draw(t, "limits") {
		f.Restrictions = append(f.Restrictions, &pb.Restriction{Kind: pb.RestrictionKind_RESTRICTION_KIND_CARE, Text: text})
	}
	return f
}

// drawDefects draws defects as they are born: one for each step and fault, or
// step and rule where there is no fault.
func drawDefects(t *rapid.T, steps int) []*pb.Defect {
	var defects []*pb.Defect
	taken := map[string]bool{}
	for i := range rapid.IntRange(0, 5).Draw(t, "defects") {
		f := drawFinding(t, fmt.Sprintf("found-%d", i), min(steps, 5))
		f.Scope, f.StepIds = pb.RuleScope_RULE_SCOPE_RESULT, f.GetStepIds()[:1]
		key := f.GetStepIds()[0] + f.GetFault()
		if f.GetFault() == "" {
			key += f.GetRule()
		}
		if taken[key] {
			continue
		}
		taken[key] = true
		d := &pb.Defect{
			Name: fmt.Sprintf("vehicles/wn11/defects/%d", i), State: pb.DefectState(rapid.IntRange(1, 5).Draw(t, "state")),
			StepId: f.GetStepIds()[0], Findings: []*pb.Finding{f}, TimesFound: int32(i),
		}
		if d.GetState() == pb.DefectState_DEFECT_STATE_RECTIFIED {
			d.Repair = &pb.Repair{StationTime: timestamppb.New(noon.Add(-hours(rapid.IntRange(0, 5).Draw(t, "repaired"))))}
		}
		if d.GetState() == pb.DefectState_DEFECT_STATE_DEFERRED {
			d.Deferral = drawDeferral(t)
		}
		if f.GetFault() != "" && rapid.Bool().Draw(t, "second pack") {
			second := proto.CloneOf(f)
			second.Pack, second.FindingId, second.Effect = "packs/gb-use", f.GetFindingId()+"-gb", pb.Effect(rapid.IntRange(0, 4).Draw(t, "second effect"))
			d.Findings = append(d.Findings, second)
		}
		defects = append(defects, d)
	}
	return defects
}

// drawDeferral draws a deferral that is over round noon, and what it was warned of before.
func drawDeferral(t *rapid.T) *pb.Deferral {
	expires := noon.Add(hours(rapid.IntRange(-5, 30).Draw(t, "expires")))
	d := &pb.Deferral{
		Expires: timestamppb.New(expires), ExpiresLocal: expires.Format(time.DateTime),
		Grade: pb.Grade(rapid.IntRange(1, 3).Draw(t, "deferred grade")), Effect: pb.Effect(rapid.IntRange(1, 4).Draw(t, "deferred effect")),
		WhenOver: pb.Effect(rapid.IntRange(2, 4).Draw(t, "when over")),
	}
	for _, before := range []int{24, 4} {
		if rapid.Bool().Draw(t, "warned") {
			d.WarnFrom = append(d.WarnFrom, timestamppb.New(expires.Add(-hours(before))))
		}
	}
	if rapid.Bool().Draw(t, "limited") {
		d.Restrictions = []*pb.Restriction{{Kind: pb.RestrictionKind_RESTRICTION_KIND_TASK, Text: "no night runs"}}
	}
	return d
}

// drawInstant draws an instant round noon.
func drawInstant(t *rapid.T, label string) time.Time {
	return noon.Add(hours(rapid.IntRange(-10, 40).Draw(t, label)))
}

// fataler is what tests and drawn tests have in common here.
type fataler interface {
	Helper()
	Fatal(args ...any)
}

// bytesOf is a readiness as bytes that are equal when it is.
func bytesOf(t fataler, r *pb.Readiness) string {
	t.Helper()
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
