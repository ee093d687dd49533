package round_test

import (
	"path/filepath"
	"testing"
	"time"

	"bayround/internal/access"
	"bayround/internal/round"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// benchDesk is a desk in the middle of the newest pump's shift check, by the
// computer's clock.
func benchDesk(b *testing.B) (*round.Desk, func(name string, values ...string)) {
	b.Helper()
	kit := stationtest.OpenDemo(b)
	dir := b.TempDir()
	guard, err := access.OpenGuard(filepath.Join(dir, "pins.json"), time.Now)
	if err != nil {
		b.Fatal(err)
	}
	d, err := round.OpenDesk(ctx, round.DeskConfig{Twin: kit.Station, Guard: guard, Device: "tablet-1", Dir: dir})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := d.Close(); err != nil {
			b.Error(err)
		}
	})
	do := func(name string, values ...string) {
		a := round.Act{Name: name, Values: map[string]string{}}
		for i := 0; i < len(values); i += 2 {
			a.Values[values[i]] = values[i+1]
		}
		if err := d.Do(ctx, a); err != nil {
			b.Fatalf("%s: %v", name, err)
		}
	}
	do("choose", "vehicle", wn11, "routine", shift)
	do("sign-in", "person", "people/arkwith", "pin", "2468")
	do("assistant", "person", "people/quellmere")
	do("engine", "minutes", "600")
	do("gauge", "gauge", "gauges/v-01")
	do("begin")
	return d, do
}

// A key of the number pad: nothing but the session file is written.
func BenchmarkDesk_Key(b *testing.B) {
	_, do := benchDesk(b)
	do("go", "step", "INS-050/driver-seat")
	for i := 0; b.Loop(); i++ {
		do("key", "key", []string{"4", "back"}[i%2])
	}
}

// An answer: recorded in the twin, on disk, judged, and the next step lit.
func BenchmarkDesk_Record(b *testing.B) {
	d, do := benchDesk(b)
	var steps []string
	for _, m := range d.View().Round.Marks {
		do("go", "step", m.StepID)
		s := d.View().Step
		if s.AnswerKind == pb.AnswerKind_ANSWER_KIND_CONDITION && !s.MustNotMiss && s.UndoS == 0 && s.Entry.Proof == nil {
			steps = append(steps, m.StepID)
		}
	}
	for i := 0; b.Loop(); i++ {
		b.StopTimer()
		do("go", "step", steps[i%len(steps)])
		do("see", "condition", "sound")
		b.StartTimer()
		do("record")
	}
}
