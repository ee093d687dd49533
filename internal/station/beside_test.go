package station_test

import (
	"testing"
	"time"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// dip records the engine oil well between its marks, and faults beside it.
func dip(conditions ...string) act {
	return func(d *defectPlay) { d.put(stationtest.Beside(oilAt(0.8), conditions...)) }
}

// dipLow records it below the lower mark.
func dipLow(conditions ...string) act {
	return func(d *defectPlay) {
		d.put(stationtest.Beside(stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BELOW, 0), conditions...))
	}
}

// dipCured records it as it should be, after something was done about what was found last.
func dipCured(conditions ...string) act {
	return func(d *defectPlay) {
		r := stationtest.Beside(oilAt(0.8), conditions...)
		r.Cure = &pb.Cure{FoundResultId: d.found, Done: "tightened"}
		d.put(r)
	}
}

// dipCorrected takes back what was found last as a slip.
func dipCorrected(d *defectPlay) {
	r := oilAt(0.8)
	r.Correction = true
	d.put(r)
}

func oilAt(fraction float64) *pb.Result {
	return stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BETWEEN, fraction)
}

// A fault seen beside a value lives the life of any other. In small.yaml milky
// oil (02) needs a repair; a loose cap (03) can be put right on the spot.
func TestDefect_LifeBesideAValue(t *testing.T) {
	const (
		open      = pb.DefectState_DEFECT_STATE_OPEN
		rectified = pb.DefectState_DEFECT_STATE_RECTIFIED
		closed    = pb.DefectState_DEFECT_STATE_CLOSED
		fit       = pb.Verdict_VERDICT_FIT
		unproven  = pb.Verdict_VERDICT_UNPROVEN
		moveOnly  = pb.Verdict_VERDICT_MOVE_ONLY
		unfit     = pb.Verdict_VERDICT_UNFIT
	)
	for name, tc := range map[string]struct {
		acts    []act
		state   pb.DefectState
		verdict pb.Verdict
		times   int32
		defects int
	}{
		"found beside a good level":          {[]act{dip("02")}, open, unfit, 1, 1},
		"found twice is one defect":          {[]act{dip("02"), dip("02")}, open, unfit, 2, 1},
		"found beside a low level":           {[]act{dipLow("02")}, open, unfit, 1, 2},
		"two beside a low level":             {[]act{dipLow("02", "03")}, open, unfit, 1, 3},
		"a good level mends no milky oil":    {[]act{dip("02"), dip()}, open, unfit, 1, 1},
		"the level comes right, not it":      {[]act{dipLow("02"), dip("02")}, open, unfit, 2, 1},
		"it comes right, not the level":      {[]act{dipLow("03"), dipLow()}, open, moveOnly, 2, 1},
		"a loose cap is tight again":         {[]act{dip("03"), dip()}, closed, fit, 0, 0},
		"a loose cap in the next round":      {[]act{dip("03"), newRound, dip()}, closed, fit, 0, 0},
		"a loose cap, cured on the spot":     {[]act{dip("03"), dipCured()}, closed, fit, 0, 0},
		"a loose cap, cured in vain":         {[]act{dip("03"), dipCured("03")}, open, moveOnly, 2, 1},
		"milky oil is not cured on the spot": {[]act{dip("02"), dipCured()}, open, unfit, 1, 1},
		"repaired, not looked at":            {[]act{dip("02"), repair}, rectified, unproven, 1, 1},
		"repaired and dipped":                {[]act{dip("02"), repair, dip()}, closed, fit, 0, 0},
		"repaired in vain":                   {[]act{dip("02"), repair, dip("02")}, open, unfit, 2, 1},
		"a slip, corrected":                  {[]act{dip("02"), dipCorrected}, closed, fit, 0, 0},
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
				if r.GetVerdict() != tc.verdict || len(r.GetOpenDefects()) != tc.defects {
					t.Errorf("%s: verdict %v with %d defects, want %v with %d", when, r.GetVerdict(), len(r.GetOpenDefects()), tc.verdict, tc.defects)
				}
				d.check(t, when, r.GetOpenDefects(), tc.state, tc.times)
				d.Reopen()
			}
		})
	}
}

// What is seen beside a reading and a profile is found as well, and told in the answer.
func TestRecordResult_FindsWhatStandsBesideAValue(t *testing.T) {
	k := stationtest.Open(t)
	shiftRound, week := k.OpenRound(p1, shift), k.OpenRound(p1, weekly)
	for _, tc := range []struct {
		round  string
		result *pb.Result
		fault  string
	}{
		{shiftRound, stationtest.Beside(stationtest.Read(tyre, "pressure", 8.5, "bar"), "03"), "TYR-010-03"},
		{week, stationtest.Beside(stationtest.Tread(tread, 8, 8, 8), "02"), "TYR-020-02"},
	} {
		found := k.Record(tc.round, tc.result).GetFindings()
		if len(found) != 1 || found[0].GetFault() != tc.fault || found[0].GetNumbers()["affected"] != 1 {
			t.Errorf("%s: found %v, want %s", tc.result.GetStepId(), found, tc.fault)
		}
	}
}

// When a new catalogue takes a condition away, an answer that named it beside its
// value proves nothing any more; the others stay good.
func TestApply_AConditionBesideAValueVanishes(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	k.Record(round, stationtest.Beside(oilAt(0.8), "03"))
	k.ApplyAltered(`        - {id: "03", text: cap loose, fault: OIL-010-03}`+"\n", "", "version: small-1", "version: small-2")
	var unproven []*pb.UnprovenStep
	for _, reason := range k.Readiness(p1).GetReasons() {
		unproven = append(unproven, reason.GetUnproven().GetSteps()...)
	}
	if len(unproven) != 1 || unproven[0].GetStepId() != oil || unproven[0].GetCause() != pb.UnprovenCause_UNPROVEN_CAUSE_ANSWER_DOES_NOT_FIT {
		t.Errorf("unproven: %v, want the oil alone, for its answer fits no more", unproven)
	}
}
