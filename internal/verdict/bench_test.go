package verdict_test

import (
	"fmt"
	"testing"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// busyInput is a vehicle of so many steps, a tenth of them open, with a few
// findings, defects and one twin pair that differs.
func busyInput(steps int) *verdict.Input {
	in := fitInput(steps)
	for i := 0; i < steps; i += 10 {
		delete(in.Latest, stepID(i))
	}
	for i := range 6 {
		f := finding(fmt.Sprintf("worn-%d", i), pb.Effect(i%4+1))
		f.StepIds = []string{stepID(i * 7)}
		in.Findings = append(in.Findings, f)
		d := openDefect(fmt.Sprintf("leak-%d", i), pb.Effect(i%4+1))
		d.StepId, d.Findings[0].StepIds, d.State = stepID(i*9), []string{stepID(i * 9)}, pb.DefectState(i%2+1)
		in.Defects = append(in.Defects, d)
	}
	in.Findings = append(in.Findings, groupOf(3, 4), groupOf(4, 5))
	return in
}

// TestFold_AllocatesNothing: it is asked at every event of every vehicle.
func TestFold_AllocatesNothing(t *testing.T) {
	in := busyInput(200)
	if n := testing.AllocsPerRun(100, func() { verdict.Fold(in, noon) }); n != 0 {
		t.Errorf("Fold makes %v allocations", n)
	}
}

func BenchmarkFold(b *testing.B) {
	for _, steps := range []int{20, 120, 200} {
		b.Run(fmt.Sprintf("fit/steps=%d", steps), func(b *testing.B) {
			in := fitInput(steps)
			b.ReportAllocs()
			for b.Loop() {
				verdict.Fold(in, noon)
			}
		})
	}
	b.Run("busy/steps=200", func(b *testing.B) {
		in := busyInput(200)
		b.ReportAllocs()
		for b.Loop() {
			verdict.Fold(in, noon)
		}
	})
}

func BenchmarkOf(b *testing.B) {
	for name, in := range map[string]*verdict.Input{"fit/steps=200": fitInput(200), "busy/steps=200": busyInput(200)} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				verdict.Of(in, noon)
			}
		})
	}
}

func BenchmarkWaysBack(b *testing.B) {
	in := busyInput(200)
	b.ReportAllocs()
	for b.Loop() {
		verdict.WaysBack(in, noon, nil)
	}
}
