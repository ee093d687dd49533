package main

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	pb "bayround/proto/bayround/v1"
)

// readiness asks the station of record.
func (s *ofRecord) readiness(vehicle string) *pb.Readiness {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(s.t.Context(), patience)
	defer cancel()
	got, err := pb.NewReadinessServiceClient(s.dial()).GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: vehicle})
	if err != nil {
		s.t.Fatal(err)
	}
	return got.GetReadiness()
}

func TestRound_AWholeOneByTouch(t *testing.T) {
	t.Parallel() // it waits more than it works
	b := openBrowser(t)
	s := startStation(t)
	s.play("01-wn11-shift.yaml", "02-wn11-weekly.yaml")
	k := startLeaping(t, s.address)
	bay := b.open(k.Bay, 1920, 1080)
	p := b.open(k.Tablet, 1280, 800)
	r := newRobot(p, k.clock, s.address, "vehicles/wn11", "routines/shift")
	r.begin("routines/shift", "people/arkwith", "people/venholt")
	told := 0
	answered := r.walk(func(at string) bool {
		if command := r.steps[at].GetAssistantCommand(); command != "" {
			told++ // what the assistant is to do stands on the display before the driver answers
			bay.until(fmt.Sprintf(`document.body.innerText.toLowerCase().includes(%q)`, strings.ToLower(command)))
		}
		return false
	})
	if told == 0 {
		t.Error("no step had anything to tell the assistant")
	}
	if answered != len(r.steps) {
		t.Errorf("%d steps were answered, the plan has %d", answered, len(r.steps))
	}
	words := r.sign()
	t.Logf("for the next watch:\n%s", words)
	if got := s.readiness("vehicles/wn11"); got.GetVerdict() != pb.Verdict_VERDICT_FIT {
		t.Errorf("%v: %v", got.GetVerdict(), got.GetReasons())
	}
}

// The older appliance, alone against a network that goes in the middle: three
// faults are found, the round is signed, and everything arrives when the network
// is back.
func TestRound_ThreeFaultsAndTheNetworkCutInTheMiddle(t *testing.T) {
	t.Parallel() // it waits more than it works
	b := openBrowser(t)
	s := startStation(t)
	s.play("03-wn12-shift.yaml")
	k := startLeaping(t, s.address)
	bay := b.open(k.Bay, 1920, 1080)
	r := newRobot(b.open(k.Tablet, 800, 1280), k.clock, s.address, "vehicles/wn12", "routines/shift")
	for _, id := range slices.Sorted(maps.Keys(r.steps)) {
		if fault := faultOf(r.steps[id]); len(r.faults) < 3 && strings.HasPrefix(id, "CAB-") && fault != "" {
			r.faults[id] = fault
		}
	}
	r.begin("routines/shift", "people/quellmere", "people/marrable")
	half := 0
	r.walk(func(string) bool { half++; return half > len(r.steps)/2 })
	s.kill()
	bay.deadBay()
	r.walk(nil)
	r.shot("three-faults-overview")
	words := r.sign()
	if !containsFold(words, "provisional") {
		t.Errorf("the verdict was not called provisional:\n%s", words)
	}
	s.restart()
	r.until(`/all sent/.test(document.body.innerText)`)
	bay.liveBay()
	got := s.readiness("vehicles/wn12")
	if len(got.GetRounds()) != 0 || len(got.GetOpenDefects()) < len(r.faults) {
		t.Errorf("rounds %v, defects %v", got.GetRounds(), got.GetOpenDefects())
	}
	s.verify()
}
