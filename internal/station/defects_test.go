package station_test

import (
	"testing"
	"time"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// A defect's way from being found to being closed, as the steps below take it.
func TestDefect_Life(t *testing.T) {
	const (
		open      = pb.DefectState_DEFECT_STATE_OPEN
		rectified = pb.DefectState_DEFECT_STATE_RECTIFIED
		closed    = pb.DefectState_DEFECT_STATE_CLOSED // and so not among the open ones
		fit       = pb.Verdict_VERDICT_FIT
		unproven  = pb.Verdict_VERDICT_UNPROVEN
		moveOnly  = pb.Verdict_VERDICT_MOVE_ONLY
		unfit     = pb.Verdict_VERDICT_UNFIT
	)
	// In small.yaml a dirty screen (02) can be put right on the spot, so a later
	// sound look closes it; a shattered one (03) needs a repair; low oil can be
	// put right on the spot.
	for name, tc := range map[string]struct {
		acts    []act
		state   pb.DefectState
		verdict pb.Verdict
		times   int32
	}{
		"found":                              {[]act{see("03")}, open, unfit, 1},
		"found twice is one defect":          {[]act{see("03"), see("03")}, open, unfit, 2},
		"a sound look does not mend glass":   {[]act{see("03"), see("sound")}, open, unfit, 1},
		"nor in another round":               {[]act{see("03"), newRound, see("sound")}, open, unfit, 1},
		"repaired, not looked at":            {[]act{see("03"), repair}, rectified, unproven, 1},
		"repaired and looked at":             {[]act{see("03"), repair, see("sound")}, closed, fit, 0},
		"repaired in vain":                   {[]act{see("03"), repair, see("03")}, open, unfit, 2},
		"repaired, not checked":              {[]act{see("03"), repair, skip}, rectified, unproven, 1},
		"looked at before the repair":        {[]act{see("03"), see("sound"), repair}, rectified, unproven, 1},
		"a slip, corrected":                  {[]act{see("03"), correct("people/driver")}, closed, fit, 0},
		"another's finding is no slip":       {[]act{see("03"), seeBy("people/other", "01"), correct("people/other")}, open, unfit, 1},
		"nor one of a former round":          {[]act{see("03"), newRound, see("01"), correct("people/driver")}, open, unfit, 1},
		"cured on the spot":                  {[]act{see("02"), cure("sound")}, closed, fit, 0},
		"cured in vain":                      {[]act{see("02"), cure("02")}, open, moveOnly, 2},
		"cured by another":                   {[]act{see("02"), cureBy("people/other", "sound")}, closed, fit, 0},
		"glass is not cured on the spot":     {[]act{see("03"), cure("sound")}, open, unfit, 1},
		"clean again in the next round":      {[]act{see("02"), newRound, see("sound")}, closed, fit, 0},
		"found again after it was closed":    {[]act{see("02"), see("sound"), see("02")}, open, moveOnly, 1},
		"not checked closes nothing":         {[]act{see("02"), skip}, open, moveOnly, 1},
		"another fault does not hide it":     {[]act{see("03"), see("01")}, open, unfit, 1},
		"both on one pane":                   {[]act{see("03", "02")}, open, unfit, 1},
		"what waits for a look stays beside": {[]act{see("03"), repair, see("sound"), see("03")}, open, unfit, 1},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := &defectPlay{Kit: stationtest.Open(t)}
			d.round = d.RecordAll(p1, shift)
			for _, act := range tc.acts {
				d.Clock.Advance(time.Second)
				act(d)
			}
			for _, when := range []string{"at once", "after a restart"} {
				r := d.Readiness(p1)
				if r.GetVerdict() != tc.verdict {
					t.Errorf("%s: verdict %v, want %v", when, r.GetVerdict(), tc.verdict)
				}
				d.check(t, when, r.GetOpenDefects(), tc.state, tc.times)
				d.Reopen()
			}
		})
	}
}

// check looks at the worst open defect; closed ones are not among them.
func (d *defectPlay) check(t *testing.T, when string, defects []*pb.Defect, state pb.DefectState, times int32) {
	t.Helper()
	if state == pb.DefectState_DEFECT_STATE_CLOSED {
		for _, open := range defects {
			if open.GetFindings()[0].GetEffect() != pb.Effect_EFFECT_NOTHING {
				t.Errorf("%s: still open: %v", when, open)
			}
		}
		return
	}
	if len(defects) == 0 {
		t.Errorf("%s: no open defect", when)
		return
	}
	if got := defects[0]; got.GetState() != state || got.GetTimesFound() != times {
		t.Errorf("%s: %v, found %d times; want %v, %d", when, got.GetState(), got.GetTimesFound(), state, times)
	}
}

// act is one thing done about the windscreen.
type act func(d *defectPlay)

type defectPlay struct {
	*stationtest.Kit
	round string
	found string // the newest result that was recorded
}

func (d *defectPlay) put(r *pb.Result) {
	d.found = d.Record(d.round, r).GetResultId()
}

func see(conditions ...string) act { return seeBy("people/driver", conditions...) }

func seeBy(person string, conditions ...string) act {
	return func(d *defectPlay) {
		r := stationtest.Seen(screen, conditions...)
		r.Person = person
		d.put(r)
	}
}

func correct(person string) act {
	return func(d *defectPlay) {
		r := stationtest.Seen(screen, "sound")
		r.Person, r.Correction = person, true
		d.put(r)
	}
}

func cure(condition string) act { return cureBy("people/driver", condition) }

func cureBy(person, condition string) act {
	return func(d *defectPlay) {
		r := stationtest.Seen(screen, condition)
		r.Person = person
		r.Cure = &pb.Cure{FoundResultId: d.found, Done: "wiped"}
		d.put(r)
	}
}

func skip(d *defectPlay) {
	d.put(stationtest.NotChecked(screen, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME))
}

func newRound(d *defectPlay) { d.round = d.OpenRound(p1, shift) }

func repair(d *defectPlay) {
	d.T.Helper()
	_, err := d.RecordRepair(ctx, &pb.RecordRepairRequest{
		RequestId: d.ID(), Defect: d.Readiness(p1).GetOpenDefects()[0].GetName(), Person: "people/mechanic", Done: "new glass",
	})
	if err != nil {
		d.T.Fatalf("recording the repair: %v", err)
	}
}

func TestRecordRepair_Refusals(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	k.Record(round, stationtest.Seen(screen, "03"))
	name := k.Readiness(p1).GetOpenDefects()[0].GetName()
	for _, tc := range []struct {
		name, defect, person string
		want                 refusal
	}{
		{"no such vehicle", "vehicles/p9/defects/00", "people/mechanic", refusal{fault.NotFound, "VEHICLE_UNKNOWN"}},
		{"no such defect", p1 + "/defects/00", "people/mechanic", refusal{fault.NotFound, "DEFECT_UNKNOWN"}},
		{"no such person", name, "people/nobody", refusal{fault.NotFound, "PERSON_UNKNOWN"}},
		{"a driver", name, "people/driver", refusal{fault.Precondition, "NOT_WORKSHOP"}},
		{"the workshop", name, "people/mechanic", refusal{}},
		{"twice", name, "people/mechanic", refusal{fault.Precondition, "DEFECT_NOT_OPEN"}},
	} {
		_, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: tc.defect, Person: tc.person, Done: "new glass"})
		t.Run(tc.name, func(t *testing.T) { tc.want.check(t, err) })
	}
	k.Record(round, stationtest.Seen(screen, "sound"))
	_, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: name, Person: "people/mechanic", Done: "new glass"})
	refusal{fault.Precondition, "DEFECT_NOT_OPEN"}.check(t, err)
}

// Found, cured, read again: all three stay in the record, and the top-up does
// not hide that oil was low.
func TestDefect_FoundCuredReadAgain(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	found := k.Record(round, stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BELOW, 0))
	if found.GetVerdict() != pb.Verdict_VERDICT_MOVE_ONLY {
		t.Errorf("verdict %v with oil below the mark, want MOVE_ONLY", found.GetVerdict())
	}
	again := stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.9)
	again.Cure = &pb.Cure{FoundResultId: found.GetResultId(), Done: "topped up", Amount: 3.5, Unit: "L"}
	cured := k.Record(round, again)
	if cured.GetVerdict() != pb.Verdict_VERDICT_FIT {
		t.Errorf("verdict %v after the top-up, want FIT", cured.GetVerdict())
	}
	var results []*pb.Result
	follow(t, k, "", func(ev *pb.JournalEvent) {
		if r := ev.GetResultRecorded().GetResult(); r.GetStepId() == oil {
			results = append(results, r)
		}
	})
	if len(results) != 3 || results[1].GetLevel().GetMark() != pb.LevelMark_LEVEL_MARK_BELOW || results[2].GetCure().GetAmount() != 3.5 {
		t.Errorf("the record holds %v", results)
	}
}

// A defect outlives the configuration: a step that is taken off the vehicle
// takes no defect with it, but once repaired nothing is left to be checked.
func TestDefect_OfAStepThatVanishes(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	k.Record(round, stationtest.Seen(pump, "01"))
	name := k.Readiness(p1).GetOpenDefects()[0].GetName()
	k.ApplyAltered("    features: [pump]\n", "", "    capabilities: [pump]\n", "")
	if open := k.Readiness(p1).GetOpenDefects(); len(open) != 1 || open[0].GetName() != name {
		t.Fatalf("open defects without the pump: %v", open)
	}
	resp, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: name, Person: "people/mechanic", Done: "taken out"})
	if err != nil || resp.GetDefect().GetState() != pb.DefectState_DEFECT_STATE_CLOSED {
		t.Errorf("repaired: %v, %v", resp, err)
	}
	if v := k.Readiness(p1).GetVerdict(); v != pb.Verdict_VERDICT_FIT {
		t.Errorf("verdict %v, want FIT", v)
	}
}

// A repaired defect whose step is then taken off the vehicle is closed, for
// nobody could look at it again.
func TestDefect_RectifiedWhenItsStepVanishes(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	k.Record(round, stationtest.Seen(pump, "01"))
	name := k.Readiness(p1).GetOpenDefects()[0].GetName()
	if _, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: name, Person: "people/mechanic", Done: "freed"}); err != nil {
		t.Fatal(err)
	}
	k.ApplyAltered("    features: [pump]\n", "", "    capabilities: [pump]\n", "")
	r := k.Readiness(p1)
	if len(r.GetOpenDefects()) != 0 || r.GetVerdict() != pb.Verdict_VERDICT_FIT {
		t.Errorf("verdict %v, open defects %v", r.GetVerdict(), r.GetOpenDefects())
	}
}

// A look that nobody can judge does not show that a repair was good.
func TestDefect_InconclusiveLookClosesNothing(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	k.Record(round, stationtest.Seen(pump, "01"))
	name := k.Readiness(p1).GetOpenDefects()[0].GetName()
	if _, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: name, Person: "people/mechanic", Done: "freed"}); err != nil {
		t.Fatal(err)
	}
	k.Record(round, stationtest.Seen(pump, "02")) // no rule of small.yaml speaks of it
	if open := k.Readiness(p1).GetOpenDefects(); len(open) != 1 || open[0].GetState() != pb.DefectState_DEFECT_STATE_RECTIFIED {
		t.Errorf("open defects %v, want the repaired one still waiting for a look", open)
	}
}

// What was read before a repair takes part in no group any more: nobody knows
// what stands there now.
func TestDefect_RepairVoidsTheReading(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	k.Record(round, stationtest.Read(outer, "pressure", 6.9, "bar"))
	for range 2 {
		if v := k.Readiness(p1).GetVerdict(); v != pb.Verdict_VERDICT_MOVE_ONLY {
			t.Errorf("verdict %v with twins that differ, want MOVE_ONLY", v)
		}
		k.Reopen()
	}
	name := k.Readiness(p1).GetOpenDefects()[0].GetName()
	if _, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: name, Person: "people/mechanic", Done: "new tyre"}); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if v := k.Readiness(p1).GetVerdict(); v != pb.Verdict_VERDICT_UNPROVEN {
			t.Errorf("verdict %v after the repair, want UNPROVEN until it is read again", v)
		}
		k.Reopen()
	}
}

// A repair that did not hold is of the life that it ended, and of no later one: what was then
// put right on the spot was repaired once, and once told of when it comes back.
func TestDefect_RepairThatDidNotHoldIsOfOneLife(t *testing.T) {
	d := &defectPlay{Kit: stationtest.Open(t)}
	d.round = d.RecordAll(p1, shift)
	for _, act := range []act{see("02"), repair, see("02"), see("sound")} {
		d.Clock.Advance(time.Second)
		act(d)
	}
	figures, err := d.GetDefectFigures(ctx, &pb.GetDefectFiguresRequest{Vehicle: p1})
	if err != nil || figures.GetToRectify().GetDefects() != 1 {
		t.Errorf("one repair was made, the figures count %v (%v)", figures.GetToRectify(), err)
	}
	see("02")(d)
	lives := d.Readiness(p1).GetOpenDefects()[0].GetEarlier()
	if len(lives) != 2 || lives[0].GetRepair() != nil || lives[1].GetRepair() == nil {
		t.Errorf("its earlier lives: %v", lives)
	}
}
