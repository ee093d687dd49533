package station_test

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

const (
	tyre  = "TYR-010/axle-1-nearside"
	outer = "TYR-010/axle-2-nearside-outer"
	inner = "TYR-010/axle-2-nearside-inner"
	tread = "TYR-020/axle-1-nearside"
)

func TestRecordResult_Refusals(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	week := k.OpenRound(p1, weekly)
	bar := func(v float64) *pb.Result { return stationtest.Read(tyre, "pressure", v, "bar") }
	with := func(r *pb.Result, change func(*pb.Result)) *pb.Result {
		change(r)
		return r
	}
	counted := func(affected, of int32) *pb.Result {
		return with(stationtest.Seen(screen, "01"), func(r *pb.Result) {
			r.GetSeen().Conditions[0].Count = &pb.Count{Affected: affected, Of: of}
		})
	}
	level := func() *pb.Result { return stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.4) }
	countedBeside := func(affected, of int32) *pb.Result {
		return with(stationtest.Beside(level(), "02"), func(r *pb.Result) { r.AlsoSeen[0].Count = &pb.Count{Affected: affected, Of: of} })
	}
	invalid := func(reason string) refusal { return refusal{fault.Invalid, reason} }
	unconfirmed := refusal{fault.Precondition, "VALUE_NOT_CONFIRMED"}
	for name, tc := range map[string]struct {
		round  string
		result *pb.Result
		want   refusal
	}{
		"a reading":                    {round, bar(8.5), refusal{}},
		"another unit":                 {round, stationtest.Read(tyre, "pressure", 123, "psi"), refusal{}},
		"a profile":                    {week, stationtest.Tread(tread, 8, 7, 8), refusal{}},
		"a level":                      {round, stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.4), refusal{}},
		"two faults":                   {round, stationtest.Seen(screen, "01", "02"), refusal{}},
		"not checked":                  {round, stationtest.NotChecked(tyre, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_GAUGE), refusal{}},
		"a step of another plan":       {round, stationtest.Tread(tread, 8, 8, 8), refusal{fault.Precondition, "STEP_NOT_IN_PLAN"}},
		"a level for a reading":        {round, stationtest.Stands(tyre, pb.LevelMark_LEVEL_MARK_BELOW, 0), invalid("ANSWER_KIND_WRONG")},
		"nobody known":                 {round, with(bar(8.5), func(r *pb.Result) { r.Person = "people/nobody" }), refusal{fault.NotFound, "PERSON_UNKNOWN"}},
		"a foreign unit":               {round, stationtest.Read(tyre, "pressure", 8, "mm"), invalid("UNIT_WRONG")},
		"a foreign part":               {round, stationtest.Read(tyre, "depth", 8, "bar"), invalid("PART_UNKNOWN")},
		"a part twice":                 {round, with(bar(8.5), func(r *pb.Result) { v := r.GetReading().GetValues(); r.GetReading().Values = append(v, v[0]) }), invalid("PART_TWICE")},
		"no part at all":               {round, with(bar(8.5), func(r *pb.Result) { r.GetReading().Values = nil }), invalid("PART_MISSING")},
		"impossible":                   {round, bar(12.5), invalid("VALUE_IMPOSSIBLE")},
		"impossible, confirmed":        {round, with(bar(12.5), func(r *pb.Result) { r.Confirmed = true }), invalid("VALUE_IMPOSSIBLE")},
		"below nothing":                {round, bar(-0.1), invalid("VALUE_IMPOSSIBLE")},
		"unusual":                      {round, bar(4.9), unconfirmed},
		"unusual, confirmed":           {round, with(bar(4.9), func(r *pb.Result) { r.Confirmed = true }), refusal{}},
		"the least usual":              {round, bar(5), refusal{}},
		"the greatest possible":        {round, with(bar(12), func(r *pb.Result) { r.Confirmed = true }), refusal{}},
		"an unusual depth":             {week, stationtest.Tread(tread, 8, 0.5, 8), unconfirmed},
		"an impossible depth":          {week, stationtest.Tread(tread, 8, 31, 8), invalid("VALUE_IMPOSSIBLE")},
		"points that go back":          {week, with(stationtest.Tread(tread, 8, 8, 8), func(r *pb.Result) { r.GetProfile().Sections[0].Points[2].Across = 0.1 }), invalid("POINTS_NOT_RISING")},
		"a share above the mark":       {round, stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_ABOVE, 0.4), invalid("FRACTION_OUTSIDE_MARKS")},
		"a condition nobody knows":     {round, stationtest.Seen(screen, "09"), invalid("CONDITION_UNKNOWN")},
		"a condition twice":            {round, stationtest.Seen(screen, "01", "01"), invalid("CONDITION_TWICE")},
		"sound and faulty":             {round, stationtest.Seen(screen, "sound", "01"), invalid("SOUND_AND_FAULTY")},
		"a fault beside a level":       {round, stationtest.Beside(level(), "02"), refusal{}},
		"two faults beside a level":    {round, stationtest.Beside(level(), "03", "02"), refusal{}},
		"a fault beside a reading":     {round, stationtest.Beside(bar(8.5), "03"), refusal{}},
		"a fault beside a profile":     {week, stationtest.Beside(stationtest.Tread(tread, 8, 8, 8), "02"), refusal{}},
		"beside a level, by count":     {round, countedBeside(1, 1), refusal{}},
		"beside a level, of too many":  {round, countedBeside(1, 2), invalid("COUNT_TOO_GREAT")},
		"beside a level, of none":      {round, countedBeside(0, 1), invalid("COUNT_ZERO")},
		"beside a level, unknown":      {round, stationtest.Beside(level(), "09"), invalid("CONDITION_UNKNOWN")},
		"beside a level, twice":        {round, stationtest.Beside(level(), "02", "02"), invalid("CONDITION_TWICE")},
		"beside a level, sound":        {round, stationtest.Beside(level(), "sound"), invalid("CONDITION_UNKNOWN")},
		"beside conditions":            {round, stationtest.Beside(stationtest.Seen(screen, "01"), "02"), invalid("ALSO_SEEN_WITHOUT_VALUE")},
		"beside what is not checked":   {round, stationtest.Beside(stationtest.NotChecked(oil, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME), "02"), invalid("ALSO_SEEN_WITHOUT_VALUE")},
		"beside an unusual value":      {round, stationtest.Beside(bar(4.9), "03"), unconfirmed},
		"beside a value that is wrong": {round, stationtest.Beside(bar(12.5), "03"), invalid("VALUE_IMPOSSIBLE")},
		"one of one":                   {round, counted(1, 1), refusal{}},
		"one of two, there is one":     {round, counted(1, 2), invalid("COUNT_TOO_GREAT")},
		"none of one":                  {round, counted(0, 1), invalid("COUNT_ZERO")},
		"sound affects one": {round, with(stationtest.Seen(screen, "sound"), func(r *pb.Result) {
			r.GetSeen().Conditions[0].Count = &pb.Count{Affected: 1, Of: 1}
		}), invalid("COUNT_OF_SOUND")},
		"no gauge of that name": {round, with(bar(8.5), func(r *pb.Result) { r.Gauge = "gauges/none" }), refusal{fault.NotFound, "GAUGE_UNKNOWN"}},
		"the right gauge":       {round, with(bar(8.5), func(r *pb.Result) { r.Gauge = "gauges/g-1" }), refusal{}},
		"the wrong gauge":       {round, with(bar(8.5), func(r *pb.Result) { r.Gauge = "gauges/d-1" }), invalid("GAUGE_WRONG")},
		"a gauge for the eye":   {round, with(stationtest.Seen(screen, "sound"), func(r *pb.Result) { r.Gauge = "gauges/d-1" }), invalid("GAUGE_WRONG")},
		"a gauge out of use":    {round, with(bar(8.5), func(r *pb.Result) { r.Gauge = "gauges/g-old" }), refusal{fault.Precondition, "GAUGE_WITHDRAWN"}},
		"other, without a word": {round, stationtest.NotChecked(tyre, pb.NotCheckedReason_NOT_CHECKED_REASON_OTHER), invalid("NOTE_MISSING")},
		"other, in the note": {round, with(stationtest.NotChecked(tyre, pb.NotCheckedReason_NOT_CHECKED_REASON_OTHER), func(r *pb.Result) {
			r.Note = "wheel clamp on"
		}), refusal{}},
		"a gauge for nothing": {round, with(stationtest.NotChecked(tyre, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME), func(r *pb.Result) {
			r.Gauge = "gauges/g-1"
		}), invalid("GAUGE_WITHOUT_READING")},
		"cured, not looked at": {round, with(stationtest.NotChecked(oil, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME), func(r *pb.Result) {
			r.Cure = &pb.Cure{FoundResultId: k.ID(), Done: "topped up"}
		}), invalid("CURE_WITHOUT_LOOK")},
		"a cure of nothing": {round, with(stationtest.Seen(pump, "sound"), func(r *pb.Result) {
			r.Cure = &pb.Cure{FoundResultId: k.ID(), Done: "freed"}
		}), refusal{fault.Precondition, "CURE_OF_NOTHING"}},
		"a correction of nothing": {round, with(stationtest.Seen(pump, "sound"), func(r *pb.Result) {
			r.Correction = true
		}), refusal{fault.Precondition, "CORRECTION_OF_NOTHING"}},
		"no such instant": {round, with(bar(8.5), func(r *pb.Result) { r.DeviceTime = &timestamppb.Timestamp{Seconds: -1 << 60} }), invalid("DEVICE_TIME_WRONG")},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := k.TryRecord(tc.round, tc.result)
			tc.want.check(t, err)
		})
	}
}

// A refused value tells the range in the unit in which it was typed.
func TestRecordResult_RangeInTheUnitTyped(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	for _, tc := range []struct{ result, want string }{
		{"impossible", "pressure of 250 psi cannot be true: it lies between 0 psi and 174 psi"}, // 1200 kPa / 6.894757 (NIST SP 811)
		{"unusual", "pressure of 150 psi, usually between 72.52 psi and 145 psi"},               // 500 and 1000 kPa
	} {
		value := map[string]float64{"impossible": 250, "unusual": 150}[tc.result]
		_, err := k.TryRecord(round, stationtest.Read(tyre, "pressure", value, "psi"))
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v, want %q", tc.result, err, tc.want)
		}
	}
}

// Values are kept in the unit of their quantity, beside what was typed.
func TestRecordResult_KeepsBothUnits(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p2, weekly)
	r := stationtest.Tread("TYR-020/axle-1-offside", 8, 10, 12)
	r.GetProfile().Unit = "in/32"
	k.Record(round, r)
	for _, step := range k.Plan(p2, weekly).GetSteps() {
		if step.GetStepId() != r.GetStepId() {
			continue
		}
		last := step.GetLast().GetProfile()
		point := last.GetSections()[0].GetPoints()[0]
		if point.GetAsTyped() != 8 || last.GetUnit() != "in/32" || point.GetDepthMm() < 6.3499 || point.GetDepthMm() > 6.3501 {
			t.Errorf("8/32 in is kept as %v (%v), want 6.35 mm", point, last.GetUnit()) // 25.4 mm to the inch (NIST SP 811)
		}
		if step.GetLast().GetRound() != round || step.GetLast().GetStationTime() == nil {
			t.Errorf("round and station time are missing: %v", step.GetLast())
		}
	}
}

// A reading that only counts cold is refused while the engine is too warm, and
// the answer says how long to wait.
func TestRecordResult_EngineTooWarm(t *testing.T) {
	for name, tc := range map[string]struct {
		stopped []time.Duration // before Morning; the first at the opening, others at resumptions
		device  time.Duration   // after Morning
		want    refusal
		wait    string
	}{
		"nobody knows":         {nil, 0, refusal{}, ""},
		"cold":                 {[]time.Duration{3 * time.Hour}, 0, refusal{}, ""},
		"one second too early": {[]time.Duration{3*time.Hour - time.Second}, 0, refusal{fault.Precondition, "ENGINE_TOO_WARM"}, "wait 1 more minutes"},
		"an hour ago":          {[]time.Duration{time.Hour}, 0, refusal{fault.Precondition, "ENGINE_TOO_WARM"}, "stood for 60 minutes and must stand for 180; wait 120 more"},
		"out meanwhile":        {[]time.Duration{4 * time.Hour, time.Minute}, 0, refusal{fault.Precondition, "ENGINE_TOO_WARM"}, "wait 179 more"},
		"read before it went":  {[]time.Duration{4 * time.Hour, time.Minute}, -2 * time.Minute, refusal{}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := stationtest.Open(t)
			round := "rounds/" + k.ID()
			req := &pb.OpenRoundRequest{Round: round, Vehicle: p1, Routine: shift, Driver: "people/driver", Device: "tablet-1"}
			for i, ago := range tc.stopped {
				c := &pb.RoundConditions{EngineStopped: timestamppb.New(stationtest.Morning.Add(-ago))}
				if i == 0 {
					req.Conditions = c
					continue
				}
				mustOpen(t, k, req)
				if _, err := k.PauseRound(ctx, &pb.PauseRoundRequest{RequestId: k.ID(), Round: round}); err != nil {
					t.Fatal(err)
				}
				if _, err := k.ResumeRound(ctx, &pb.ResumeRoundRequest{RequestId: k.ID(), Round: round, Conditions: c}); err != nil {
					t.Fatal(err)
				}
				k.Reopen() // the conditions outlive a restart
			}
			if len(tc.stopped) < 2 {
				mustOpen(t, k, req)
			}
			r := stationtest.Read(tyre, "pressure", 8.5, "bar")
			r.DeviceTime = timestamppb.New(stationtest.Morning.Add(tc.device))
			_, err := k.TryRecord(round, r)
			tc.want.check(t, err)
			if tc.wait != "" && (err == nil || !strings.Contains(err.Error(), tc.wait)) {
				t.Errorf("%v does not say %q", err, tc.wait)
			}
			if _, err := k.TryRecord(round, stationtest.NotChecked(tyre, pb.NotCheckedReason_NOT_CHECKED_REASON_ENGINE_WARM)); err != nil {
				t.Errorf("not checked because it is warm: %v", err)
			}
		})
	}
}

func mustOpen(t *testing.T, k *stationtest.Kit, req *pb.OpenRoundRequest) {
	t.Helper()
	if _, err := k.Station.OpenRound(ctx, req); err != nil {
		t.Fatal(err)
	}
}

// The answer carries what the rules say about the result, of its group too,
// and the verdict it leads to.
func TestRecordResult_AnswersWithFindingsAndVerdict(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	resp := k.Record(round, stationtest.Read(outer, "pressure", 6.9, "bar"))
	var rules []string
	for _, f := range resp.GetFindings() {
		rules = append(rules, f.GetRule())
	}
	if got := strings.Join(rules, " "); got != "pressure-low twins-differ" {
		t.Errorf("findings %q, want both rules (small.yaml: below 700 kPa; twins 110 kPa apart)", got)
	}
	if resp.GetVerdict() != pb.Verdict_VERDICT_MOVE_ONLY {
		t.Errorf("verdict %v, want MOVE_ONLY: twins that differ take responding away", resp.GetVerdict())
	}
	resp = k.Record(round, stationtest.Read(inner, "pressure", 7.1, "bar"))
	if len(resp.GetFindings()) != 0 || resp.GetVerdict() != pb.Verdict_VERDICT_RESTRICTED {
		t.Errorf("the other twin follows: %v, %v; want RESTRICTED by the low one alone", resp.GetFindings(), resp.GetVerdict())
	}
	if got := k.Readiness(p1).GetVerdict(); got != resp.GetVerdict() {
		t.Errorf("readiness says %v", got)
	}
}

// A result that no rule can judge leaves the vehicle unproven, and not fit.
func TestRecordResult_UnspokenFaultProvesNothing(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	resp := k.Record(round, stationtest.Seen(pump, "02"))
	if resp.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN {
		t.Errorf("verdict %v, want UNPROVEN: no rule speaks of PMP-010-02", resp.GetVerdict())
	}
	if open := k.Readiness(p1).GetOpenDefects(); len(open) != 0 {
		t.Errorf("what nobody can judge needs no repair: %v", open)
	}
}
