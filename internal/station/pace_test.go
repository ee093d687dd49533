package station_test

import (
	"testing"
	"time"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// notes is what a round says of its pace, at once, after a restart and after
// the rows were made anew.
func notes(t *testing.T, k *stationtest.Kit, round string, fast, repeated int32) {
	t.Helper()
	for _, when := range []string{"at once", "after a restart", "after a rebuild"} {
		resp, err := k.GetRound(ctx, &pb.GetRoundRequest{Name: round})
		if err != nil {
			t.Fatal(err)
		}
		if r := resp.GetRound(); r.GetAnsweredTooFast() != fast || r.GetRepeatedValues() != repeated {
			t.Errorf("%s: %d too fast, %d repeated; want %d and %d", when, r.GetAnsweredTooFast(), r.GetRepeatedValues(), fast, repeated)
		}
		restart(t, k, when == "after a restart")
	}
}

func TestRound_AnsweredTooFast(t *testing.T) {
	for name, tc := range map[string]struct {
		step     *pb.Result
		lookedS  float64
		want     int32
		findings int
	}{
		"faster than anybody reads":     {stationtest.Seen(screen, "sound"), 0.99, 1, 0},
		"a second":                      {stationtest.Seen(screen, "sound"), 1, 0, 0},
		"not measured":                  {stationtest.Seen(screen, "sound"), 0, 0, 0},
		"not checked":                   {stationtest.NotChecked(screen, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME), 0.5, 0, 0},
		"a step that needs ten seconds": {stationtest.Seen(pump, "sound"), 9.9, 1, 0},
		"in ten seconds":                {stationtest.Seen(pump, "sound"), 10, 0, 0},
		"a fault":                       {stationtest.Seen(pump, "01"), 2, 1, 1},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := stationtest.Open(t)
			k.ApplyAltered("undo_s: 60", "undo_s: 60\n      least_look_s: 10")
			round := k.OpenRound(p1, shift)
			tc.step.LookedS = tc.lookedS
			if found := k.Record(round, tc.step).GetFindings(); len(found) != tc.findings {
				t.Errorf("findings %v, want %d: the pace is no finding", found, tc.findings)
			}
			notes(t, k, round, tc.want, 0)
		})
	}
}

// Every answer counts, also one that was given again.
func TestRound_CountsEveryAnswerGivenTooFast(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	for range 3 {
		r := stationtest.Seen(screen, "sound")
		r.LookedS = 0.2
		k.Record(round, r)
	}
	notes(t, k, round, 3, 0)
}

func TestRound_RepeatedValues(t *testing.T) {
	bar := func(v float64) *pb.Result { return stationtest.Read(tyre, "pressure", v, "bar") }
	kPa := stationtest.Read(tyre, "pressure", 850, "kPa")
	depths := func(last float64) *pb.Result { return stationtest.Tread(tread, 8, 7.5, last) }
	nobody := stationtest.NotChecked(tyre, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_GAUGE)
	oilAt := func(f float64) *pb.Result { return stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BETWEEN, f) }
	type look struct {
		round  int // from 0; opened when it is first used
		result *pb.Result
		ago    time.Duration
	}
	for name, tc := range map[string]struct {
		routine string
		looks   []look
		want    int32 // in the last round
	}{
		"nothing before":            {shift, []look{{0, bar(8.5), 0}}, 0},
		"the same":                  {shift, []look{{0, bar(8.5), 0}, {1, bar(8.5), 0}}, 1},
		"another":                   {shift, []look{{0, bar(8.5), 0}, {1, bar(8.51), 0}}, 0},
		"the same in another unit":  {shift, []look{{0, bar(8.5), 0}, {1, kPa, 0}}, 0},
		"the same twice in a round": {shift, []look{{0, bar(8.5), 0}, {0, bar(8.5), 0}}, 0},
		"read again, and the same":  {shift, []look{{0, bar(8.5), 0}, {1, bar(8.4), 0}, {1, bar(8.5), 0}}, 1},
		"read twice, each the same": {shift, []look{{0, bar(8.5), 0}, {1, bar(8.5), 0}, {1, bar(8.5), 0}}, 2},
		"as the round before last":  {shift, []look{{0, bar(8.5), 0}, {1, bar(8.4), 0}, {2, bar(8.5), 0}}, 0},
		"nobody read it meanwhile":  {shift, []look{{0, bar(8.5), 0}, {1, nobody, 0}, {2, bar(8.5), 0}}, 1},
		"as one from after it":      {shift, []look{{0, bar(8.5), 0}, {1, bar(8.5), -time.Hour}}, 0},
		"a profile":                 {weekly, []look{{0, depths(8), 0}, {1, depths(8), 0}}, 1},
		"another profile":           {weekly, []look{{0, depths(8), 0}, {1, depths(8.1), 0}}, 0},
		"a level is no reading":     {shift, []look{{0, oilAt(0.5), 0}, {1, oilAt(0.5), 0}}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := stationtest.Open(t)
			var rounds []string
			for _, look := range tc.looks {
				if look.round == len(rounds) {
					rounds = append(rounds, k.OpenRound(p1, tc.routine))
				}
				k.Clock.Advance(time.Minute)
				k.Record(rounds[look.round], lookedAt(k, look.result, look.ago))
				k.Reopen() // what was read before is known after a restart, too
			}
			notes(t, k, rounds[len(rounds)-1], 0, tc.want)
		})
	}
}

// A reading of several values is the same in whatever order they are given.
func TestRound_RepeatedValuesInAnyOrder(t *testing.T) {
	k := stationtest.Open(t)
	k.ApplyAltered("          usual_unit: bar\n", "          usual_unit: bar\n        - id: warmth\n          title: warmth\n          quantity: QUANTITY_TEMPERATURE\n"+
		"          plausible: {least: -20, greatest: 50}\n          possible: {least: -60, greatest: 80}\n          usual_unit: degC\n")
	var last string
	for i := range 2 {
		r := stationtest.Read(tyre, "pressure", 8.5, "bar")
		r.GetReading().Values = append(r.GetReading().Values, &pb.Value{Part: "warmth", AsTyped: 12, Unit: "degC"})
		if v := r.GetReading().GetValues(); i == 1 {
			v[0], v[1] = v[1], v[0]
		}
		last = k.OpenRound(p1, shift)
		k.Record(last, r)
	}
	notes(t, k, last, 0, 1)
}
