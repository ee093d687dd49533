package round

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// takenStep is a step whose number is taken in one of the ways.
func takenStep(how pb.ReadingHow) *pb.CheckStep {
	of, unit := pb.Quantity_QUANTITY_FREQUENCY, "1/min"
	switch how {
	case timed:
		of, unit = pb.Quantity_QUANTITY_DURATION, "s"
	case watched:
		of, unit = pb.Quantity_QUANTITY_PRESSURE_RATE, "psi/min"
	}
	return &pb.CheckStep{
		StepId: "LMP-041/driver-seat", AnswerKind: pb.AnswerKind_ANSWER_KIND_READING, Units: []string{unit},
		Parts: []*pb.ReadingPart{{Id: "x", Title: "it", How: how, Quantity: of, UsualUnit: unit, Possible: &pb.Range{Greatest: 1e9}}},
	}
}

// Whatever is touched, in whatever order: what is said to be ready is what the
// station takes, with instants that begin with 0 and rise; what is not ready says what
// is missing; and begun again, nothing is left.
func TestLaw_WhatIsTakenIsWhatTheStationTakes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		step := takenStep(rapid.SampledFrom([]pb.ReadingHow{tapped, timed, watched}).Draw(t, "how"))
		var d draft
		now, ms := time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC), 0.0
		for range rapid.IntRange(0, 40).Draw(t, "acts") {
			pause := rapid.SampledFrom([]float64{0, 0.0004, 500, 510, 1000}).Draw(t, "pause in ms")
			now, ms = now.Add(time.Duration(pause*1e6)), ms+pause
			if next, err := anyTaken(t, d, step, instant{At: now, Page: rapid.SampledFrom([]string{"p", "p", "p", "q", ""}).Draw(t, "page"), Ms: ms}); err == nil {
				d = next
			}
			checkTaken(t, d, step)
		}
		if takenAt(step) == notTaken {
			t.Fatal("the step takes nothing")
		}
		if d, err := d.withoutTaken(step, false); err != nil || len(d.Taken) > 0 || len(d.Texts) > 0 || d.hindrance(step) == "" {
			t.Fatalf("begun again there is %+v, %v", d, err)
		}
	})
}

// anyTaken is one touch, fitting or not.
func anyTaken(t *rapid.T, d draft, step *pb.CheckStep, at instant) (draft, error) {
	switch what := rapid.SampledFrom([]string{"tap", "tap", "start", "stop", "7", "8", "read", "back", "again"}).Draw(t, "what"); what {
	case "read":
		if d.taking(step) != watched {
			return d, nil
		}
		return d.withRead(step, at.At)
	case "7", "8", "back":
		next, err := d.withKey(step, what)
		return next.noted(step, at.At), err
	case "again":
		return d.withoutTaken(step, false)
	default:
		return d.withTaken(step, what, at)
	}
}

func checkTaken(t *rapid.T, d draft, step *pb.CheckStep) {
	if d.hindrance(step) != "" {
		return
	}
	r := &pb.Result{}
	d.answerInto(r, step)
	v := r.GetReading().GetValues()[0]
	at := v.GetTrace().GetAtS()
	for i := range at {
		if i == 0 && at[0] != 0 || i > 0 && at[i] <= at[i-1] {
			t.Fatalf("the instants are %v", at)
		}
	}
	switch read := v.GetTrace().GetAsTyped(); d.taking(step) {
	case tapped:
		if rate, err := measure.TapRate(at); err != nil || len(read) > 0 || rate.PerMinute-v.GetAsTyped() > 0.0501 || v.GetAsTyped()-rate.PerMinute > 0.0501 {
			t.Fatalf("%v: %v, %v", v, rate, err)
		}
	case timed:
		if len(at) != 2 || len(read) > 0 {
			t.Fatalf("timed: %v", v)
		}
	default:
		if len(at) < 2 || len(read) != len(at) || v.GetTrace().GetUnit() != "psi" {
			t.Fatalf("watched: %v", v)
		}
	}
	if d.typedWords(step) == "" {
		t.Fatal("nothing is said of it")
	}
}
