package screen

import (
	"fmt"
	"testing"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// takenView stands at a step whose number is tapped, timed or watched.
func takenView(t testing.TB, step string, taking round.Taking) *round.View {
	v := walkView(t, "WN11", "weekly", step)
	taking.How, taking.Least = v.Step.Parts[0].GetHow(), 8
	v.Step.Entry.Taking, v.Step.Entry.Ready = &taking, taking.Made != ""
	if taking.How != pb.ReadingHow_READING_HOW_WATCHED {
		v.Step.Entry.Fields = nil
	}
	return v
}

// takenViews are numbers that are tapped, timed and watched.
func takenViews(t testing.TB, views map[string]*round.View) {
	const rate, build, loss = "LMP-041/driver-seat", "BRA-100/driver-seat", "BRA-120/driver-seat"
	v := takenView(t, rate, round.Taking{Count: 5})
	v.Step.Entry.Needs = "tap along with at least 8 flashes"
	views["tap"] = v
	views["tap-made"] = takenView(t, rate, round.Taking{Count: 9, Made: "84 to 88 a minute; one tap mended", Text: "85.7"})
	v = takenView(t, rate, round.Taking{Count: 9, Why: "the 9 taps are too irregular for a rate; tap along once more, once for each flash"})
	v.Step.Entry.Needs = "begin again"
	views["tap-irregular"] = v
	v = walkView(t, "WN11", "weekly", rate)
	v.Step.Entry.ByHand, v.Step.Entry.Needs = true, "enter flashes a minute"
	views["tap-by-hand"] = v

	v = takenView(t, build, round.Taking{})
	v.Step.Entry.Needs = "touch START when it begins"
	views["timer"] = v
	v = takenView(t, build, round.Taking{Count: 1, Since: sampleNow.Add(-27 * time.Second), Cut: true})
	v.Step.Entry.Needs = "touch STOP when it is reached"
	views["timer-running"] = v
	views["timer-stopped"] = takenView(t, build, round.Taking{Count: 2, Made: "32.3 s", Text: "32.3"})

	watch := func(taking round.Taking, typed, needs string) *round.View {
		v := takenView(t, loss, taking)
		v.Step.MustTellControl = false
		v.Step.Entry.Fields = []round.Field{{ID: "loss", Title: "pressure", Unit: "bar", Text: typed, Active: true}}
		v.Step.Entry.Needs = needs
		return v
	}
	views["watch"] = watch(round.Taking{}, "8.0", "enter the pressure and touch START")
	views["watch-running"] = watch(round.Taking{Count: 1, Since: sampleNow.Add(-41 * time.Second), Readings: []string{"8.0 bar"}}, "", "read the pressure again when the time is over")
	views["watch-made"] = watch(round.Taking{
		Count: 3, Since: sampleNow.Add(-66 * time.Second), Cut: true, Made: "0.11 bar/min over 61 s", Text: "0.11",
		Readings: []string{"8.0 bar", "7.95 bar after 30 s", "7.88 bar after 61 s"},
	}, "", "")
}

// askedViews are what is asked before and after an answer, and a tyre of nine grooves.
func askedViews(t testing.TB, views map[string]*round.View) {
	v := walkView(t, "WN11", "weekly", "BRA-120/driver-seat")
	v.Step.MustTellControl, v.Step.Entry.Needs = true, "tell control"
	views["control"] = v
	v = walkView(t, "WN11", "shift", "FLU-010/engine-oil")
	v.Step.Entry.Mark, v.Step.Entry.Fraction, v.Step.Entry.Ready, v.Step.AskLeft = pb.LevelMark_LEVEL_MARK_BETWEEN, 0.75, true, true
	views["left-open"] = v
	v = takenView(t, "BRA-120/driver-seat", round.Taking{Count: 2, Made: "0.1 bar/min over 60 s", Text: "0.1", Readings: []string{"8.0 bar", "7.9 bar after 60 s"}})
	v.Step.AskLeft, v.Step.Entry.Fields = true, []round.Field{{ID: "loss", Title: "pressure", Unit: "bar", Active: true}}
	views["watch-left-open"] = v
	v = walkView(t, "WN11", "weekly", "TYR-140/axle-2-nearside-inner")
	grooves(v, "9.4", "8.8", "8.8", "9.0")
	e := &v.Step.Entry
	e.Sections, e.Fewer, e.More = []int{4, 0, 0}, 8, 10
	for i := len(e.Fields); i < 9; i++ {
		e.Fields = append(e.Fields, round.Field{ID: fmt.Sprintf("g%d", i+1), Title: fmt.Sprintf("groove %d of 9", i+1), Unit: "mm", Resolution: "0.1", Active: i == 4})
	}
	v.Step.NeedsGauge, v.Step.Gauge, e.Needs = true, v.Gauges[2], "enter 9 depths, outer edge to inner edge"
	views["profile-nine"] = v
}
