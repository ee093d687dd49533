package station

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/catalogue"
	pb "bayround/proto/bayround/v1"
)

// openSmall opens the small station of package stationtest, which cannot be
// imported here.
func openSmall(t *testing.T, dir string) *Station {
	t.Helper()
	content, err := os.ReadFile(filepath.Join("..", "stationtest", "testdata", "small.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := Open(context.Background(), Options{Dir: dir, Defaults: []catalogue.File{{Name: "small.yaml", Content: content}}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// ids gives one id after the other.
func ids() func() string {
	n := 0
	return func() string {
		n++
		return fmt.Sprintf("22222222-0000-4000-8000-%012d", n)
	}
}

func openShift(t *testing.T, s *Station, id string) string {
	t.Helper()
	req := &pb.OpenRoundRequest{Round: "rounds/" + id, Vehicle: "vehicles/p1", Routine: "routines/shift", Driver: "people/driver", Device: "tablet-1"}
	if _, err := s.OpenRound(context.Background(), req); err != nil {
		t.Fatal(err)
	}
	return req.GetRound()
}

func screenResult(round, id, condition string) *pb.RecordResultRequest {
	return &pb.RecordResultRequest{Round: round, Result: &pb.Result{
		ResultId: id, StepId: "GLA-010/windscreen", Person: "people/driver", Device: "tablet-1", DeviceTime: timestamppb.Now(),
		Answer: &pb.Result_Seen{Seen: &pb.ConditionsSeen{Conditions: []*pb.ConditionSeen{{Condition: condition}}}},
	}}
}

// A snapshot that a reader holds stays as it was, whatever is recorded later.
func TestSnapshot_NeverChanges(t *testing.T) {
	s, id := openSmall(t, t.TempDir()), ids()
	round := openShift(t, s, id())
	tyres := []string{"TYR-010/axle-2-nearside-outer", "TYR-010/axle-2-nearside-inner"}
	record := func(screen string, bar float64) {
		requests := []*pb.RecordResultRequest{screenResult(round, id(), screen)}
		for i, tyre := range tyres {
			r := screenResult(round, id(), "")
			r.Result.StepId = tyre
			r.Result.Answer = &pb.Result_Reading{Reading: &pb.Reading{Values: []*pb.Value{{Part: "pressure", AsTyped: bar + float64(i), Unit: "bar"}}}}
			requests = append(requests, r)
		}
		for _, req := range requests {
			if _, err := s.RecordResult(context.Background(), req); err != nil {
				t.Fatal(err)
			}
		}
	}
	record("sound", 6.5)
	snap, at := s.current.Load().vehicles["vehicles/p1"], time.Now()
	before, groups := snap.readiness(snap.standing, nil, at), len(snap.groupsIfSound(nil))
	record("03", 8)
	if after := snap.readiness(snap.standing, nil, at); !proto.Equal(before, after) || len(snap.groupsIfSound(nil)) != groups {
		t.Errorf("it read %v, it reads %v", before, after)
	}
	if groups == 0 {
		t.Error("no group finding to compare")
	}
}

// What was looked at before its turn came is looked at again when what it
// rested on has changed meanwhile.
func TestRecord_LooksAgainWhenThingsHaveChanged(t *testing.T) {
	s, id := openSmall(t, t.TempDir()), ids()
	round := openShift(t, s, id())
	p := s.current.Load()
	req := screenResult(round, id(), "01")
	early := examine(req, p.frames[round], p.lib)
	if early.err != nil {
		t.Fatal(early.err)
	}
	content, err := os.ReadFile(filepath.Join("..", "stationtest", "testdata", "small.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	stricter := strings.Replace(string(content), "faults: [GLA-010-01]\n        grade: GRADE_MINOR\n        effect: EFFECT_NOTHING", "faults: [GLA-010-01]\n        grade: GRADE_MAJOR\n        effect: EFFECT_RESPONDING", 1)
	if _, err := s.Apply(context.Background(), &pb.ApplyRequest{RequestId: id(), Files: []*pb.NamedFile{{FileName: "small.yaml", Content: []byte(stricter)}}}); err != nil {
		t.Fatal(err)
	}
	resp, _, err := run(context.Background(), s, req.GetResult().GetResultId(), req, func(c *command) (*pb.RecordResultResponse, error) {
		return c.record(req, early)
	})
	if err != nil || resp.GetVerdict() != pb.Verdict_VERDICT_MOVE_ONLY {
		t.Errorf("judged by the former rules: %v, %v", resp, err)
	}
}

// Rounds that have ended leave memory, and are not among those that go on.
func TestState_ForgetsEndedRounds(t *testing.T) {
	dir, id := t.TempDir(), ids()
	s := openSmall(t, dir)
	open := openShift(t, s, id())
	for range 2 * maxEnded {
		round := openShift(t, s, id())
		if _, err := s.FinishRound(context.Background(), &pb.FinishRoundRequest{RequestId: id(), Round: round}); err != nil {
			t.Fatal(err)
		}
	}
	for range 2 {
		if n := len(s.work.rounds); n > maxEnded+1 {
			t.Errorf("%d rounds in memory, want at most %d", n, maxEnded+1)
		}
		frames := s.current.Load().frames
		if v := s.work.vehicles["vehicles/p1"]; len(frames) != 1 || frames[open] == nil || len(v.rounds) != 1 {
			t.Errorf("%d rounds go on, on the vehicle %d; want 1", len(frames), len(v.rounds))
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		s = openSmall(t, dir)
	}
}
