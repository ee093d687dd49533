package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	pb "bayround/proto/bayround/v1"
)

// How the robot takes a number, by the page's own clock, in milliseconds: 90 flashes a
// minute, in the middle of what indicators may do, and a build-up of six seconds.
const (
	flashMs = 60000 / 90
	buildMs = 6000
)

// take taps, times or watches what a step asks for, as a finger does it.
func (r *robot) take(s *pb.CheckStep) {
	r.t.Helper()
	switch s.GetParts()[0].GetHow() {
	case pb.ReadingHow_READING_HOW_TAPPED:
		r.tapAlong()
	case pb.ReadingHow_READING_HOW_TIMED:
		r.tap("#do-take")
		r.until(`document.querySelector("#do-take")?.innerText.startsWith("STOP")`)
		r.wait(buildMs)
		r.tap("#do-take")
		r.until(`!!document.querySelector("#made")`)
	default:
		for n := range 2 {
			r.key(8, s)
			r.tap("#do-enter")
			r.until(fmt.Sprintf(`document.querySelector("#shown")?.innerText === "–" && !!document.querySelector("#made") === %t`, n == 1))
		}
	}
}

// wait lets time of the page pass: what is timed needs it.
func (r *robot) wait(ms int) {
	r.t.Helper()
	evaluate[bool](r.page, `(window.waits = performance.now()) > 0`)
	r.until(fmt.Sprintf(`performance.now() - window.waits >= %d`, ms))
}

// tapAlong taps with a lamp, and once more where a slow machine made the hand falter.
func (r *robot) tapAlong() {
	r.t.Helper()
	for range 5 {
		r.tap("#do-take")
		evaluate[bool](r.page, `(window.waits = performance.now()) > 0`)
		for n := 2; n <= 9; n++ {
			r.until(fmt.Sprintf(`performance.now() - window.waits >= %d`, (n-1)*flashMs))
			r.tap("#do-take")
		}
		r.until(`document.querySelector("#shown")?.innerText === "9"`)
		if r.has("#made") {
			return
		}
		r.tap("#do-again")
		r.until(`document.querySelector("#shown")?.innerText === "0"`)
	}
	r.fail("tapping along", fmt.Errorf("five times too irregular"))
}

// toOverview goes to the list of all steps, from where any can be gone to.
func (r *robot) toOverview() {
	r.t.Helper()
	if r.at() != "overview" {
		r.tap(only("overview"))
		r.arrive("overview")
	}
}

// readAgain reads a gauge as often as there are numbers, and sees the mean in the overview.
func (r *robot) readAgain(id string, typed ...string) {
	r.t.Helper()
	step := r.steps[id]
	r.goTo(id)
	r.prove()
	for i, text := range typed {
		if i > 0 {
			r.tap("details:has(#do-read-again) summary")
			r.tap("#do-read-again")
			r.until(`document.querySelector("#shown")?.innerText === "–"`)
		}
		r.values[id] = text
		r.key(0, step)
	}
	r.shot("read-again")
	r.record(step)
	r.toOverview()
	r.do("opening what is folded", openAll())
	r.until(fmt.Sprintf(`document.querySelector("#overview").innerText.includes("mean 8.2 bar of %d readings: %s")`, len(typed), strings.Join(typed, ", ")))
	r.do("looking at it", chromedp.Evaluate[chromedp.Void](`void [...document.querySelectorAll("#overview li")].find(e => /mean/.test(e.innerText)).scrollIntoView({block: "center"})`))
	r.shot("read-again-overview")
}

// The three ways of taking a number, by touch: what arrives at the station holds the
// instants that the finger made.
func TestTaken_ByTouch(t *testing.T) {
	t.Parallel() // it waits more than it works
	b := openBrowser(t)
	s := startStation(t)
	s.play("01-wn11-shift.yaml", "02-wn11-weekly.yaml")
	k := startLeaping(t, s.address)
	r := newRobot(b.open(k.Tablet, 1280, 800), k.clock, s.address, "vehicles/wn11", "routines/weekly")
	r.begin("routines/weekly", "people/arkwith", "people/venholt")
	r.readAgain("TYR-120/axle-2-nearside-inner", "8.1", "8.2", "8.3") // while the tyres are cold
	at := []string{"LMP-041/driver-seat", "BRA-100/driver-seat", "BRA-120/driver-seat"}
	for _, id := range at {
		r.goTo(id)
		r.answer(r.steps[id])
	}
	r.until(`/all sent/.test(document.body.innerText)`)
	for _, id := range at {
		trace := s.traceAt("vehicles/wn11", id)
		if want := map[string]int{at[0]: 9, at[1]: 2, at[2]: 2}[id]; len(trace.GetAtS()) != want {
			t.Errorf("%s: the trace is %v", id, trace)
		}
		if last := trace.GetAtS(); id == at[1] && (len(last) == 0 || slices.Max(last) < buildMs/1000) {
			t.Errorf("%s was timed as %v", id, last)
		}
	}
}

// traceAt is what was taken along time for the newest result of a weekly step.
func (s *ofRecord) traceAt(vehicle, step string) *pb.Trace {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(s.t.Context(), patience)
	defer cancel()
	got, err := pb.NewVehicleServiceClient(s.dial()).GetPlan(ctx, &pb.GetPlanRequest{Vehicle: vehicle, Routine: "routines/weekly"})
	if err != nil {
		s.t.Fatal(err)
	}
	for _, planned := range got.GetPlan().GetSteps() {
		if planned.GetStepId() == step {
			return planned.GetLast().GetReading().GetValues()[0].GetTrace()
		}
	}
	s.t.Fatalf("the plan has no %s", step)
	return nil
}
