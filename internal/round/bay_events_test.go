package round

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// at is so many minutes into the day of these tests.
func at(minutes int) *timestamppb.Timestamp {
	return timestamppb.New(time.Date(2026, time.March, 2, 7, minutes, 0, 0, time.UTC))
}

func TestBay_TellsWhatHappenedBetweenTwoStates(t *testing.T) {
	open := &pb.Round{Name: "rounds/a", State: pb.RoundState_ROUND_STATE_OPEN, Opened: at(1)}
	paused := &pb.Round{Name: "rounds/a", State: pb.RoundState_ROUND_STATE_PAUSED, Opened: at(1)}
	cracked := &pb.Defect{Name: "vehicles/p1/defects/d1", LastFound: at(5), Findings: []*pb.Finding{{Text: "The windscreen is cracked."}}}
	again := &pb.Defect{Name: "vehicles/p1/defects/d1", LastFound: at(6), TimesFound: 2, Findings: []*pb.Finding{{Text: "The windscreen is cracked."}}}
	bare := &pb.Defect{Name: "vehicles/p1/defects/d2", StepId: "PMP-010/pump", LastFound: at(5)}
	rounds := func(all ...*pb.Round) *pb.Readiness { return &pb.Readiness{CallSign: "Q1", Rounds: all, AsOf: at(9)} }
	defects := func(all ...*pb.Defect) *pb.Readiness {
		return &pb.Readiness{CallSign: "Q1", OpenDefects: all, AsOf: at(9)}
	}
	is := func(v pb.Verdict) *pb.Readiness {
		return &pb.Readiness{CallSign: "Q1", Verdict: v, Since: at(7), AsOf: at(9)}
	}
	line := func(when *timestamppb.Timestamp, text string) []BayEvent {
		return []BayEvent{{At: when.AsTime(), Text: text}}
	}
	for _, tc := range []struct {
		why           string
		before, after *pb.Readiness
		want          []BayEvent
	}{
		{"nothing", rounds(open), rounds(open), nil},
		{"a round begun", rounds(), rounds(open), line(at(1), "Q1: round begun")},
		{"a round interrupted is the same round", rounds(open), rounds(paused), nil},
		{"a round ended", rounds(paused), rounds(), line(at(9), "Q1: round ended")},
		{"something found", defects(), defects(cracked), line(at(5), "Q1: found: The windscreen is cracked.")},
		{"found once more", defects(cracked), defects(again), nil},
		{"a defect without findings", defects(), defects(bare), line(at(5), "Q1: found: PMP-010/pump")},
		{"put right", defects(cracked), defects(), line(at(9), "Q1: put right: The windscreen is cracked.")},
		{"fit", is(pb.Verdict_VERDICT_UNPROVEN), is(pb.Verdict_VERDICT_FIT), line(at(7), "Q1 is fit to respond")},
		{"limits", is(pb.Verdict_VERDICT_FIT), is(pb.Verdict_VERDICT_RESTRICTED), line(at(7), "Q1 is fit with limits")},
		{"unproven", is(pb.Verdict_VERDICT_FIT), is(pb.Verdict_VERDICT_UNPROVEN), line(at(7), "Q1 is not proven")},
		{"move only", is(pb.Verdict_VERDICT_FIT), is(pb.Verdict_VERDICT_MOVE_ONLY), line(at(7), "Q1 may be moved only, not to respond")},
		{"unfit", is(pb.Verdict_VERDICT_FIT), is(pb.Verdict_VERDICT_UNFIT), line(at(7), "Q1 must not move")},
		{"the same verdict, for another reason", is(pb.Verdict_VERDICT_UNFIT), is(pb.Verdict_VERDICT_UNFIT), nil},
	} {
		t.Run(tc.why, func(t *testing.T) {
			if diff := cmp.Diff(tc.want, happened(tc.before, tc.after)); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

func TestBay_KeepsTheEightNewestEvents(t *testing.T) {
	var b board
	b.init()
	verdicts := []pb.Verdict{pb.Verdict_VERDICT_FIT, pb.Verdict_VERDICT_UNFIT}
	var first []BayEvent
	for i, minute := range []int{1, 2, 3, 9, 4, 5, 6, 7, 8, 10} { // one of them is told late
		b.note([]passage{{
			before: &pb.Readiness{CallSign: "Q1", Verdict: verdicts[i%2]},
			after:  &pb.Readiness{CallSign: fmt.Sprint("Q", minute), Verdict: verdicts[(i+1)%2], Since: at(minute)},
		}})
		if i == 0 {
			first = b.events
		}
	}
	var minutes []int
	for _, e := range b.events {
		minutes = append(minutes, e.At.Minute())
	}
	if diff := cmp.Diff([]int{10, 9, 8, 7, 6, 5, 4, 3}, minutes); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if len(first) != 1 || first[0].At.Minute() != 1 {
		t.Errorf("events once given were changed: %v", first)
	}
}

func TestBay_ShowsTheWorstFirst(t *testing.T) {
	// The order of badness is that of the house's design: UNFIT, MOVE_ONLY,
	// UNPROVEN, RESTRICTED, FIT.
	want := []*pb.Readiness{
		{CallSign: "Q5", Verdict: pb.Verdict_VERDICT_UNFIT},
		{CallSign: "Q4", Verdict: pb.Verdict_VERDICT_MOVE_ONLY},
		{CallSign: "Q2", Verdict: pb.Verdict_VERDICT_UNPROVEN},
		{CallSign: "Q6", Verdict: pb.Verdict_VERDICT_UNPROVEN},
		{CallSign: "Q3", Verdict: pb.Verdict_VERDICT_RESTRICTED},
		{CallSign: "Q1", Verdict: pb.Verdict_VERDICT_FIT},
	}
	for i, a := range want {
		for j, b := range want {
			if got := worstFirst(a, b); (got < 0) != (i < j) || (got == 0) != (i == j) {
				t.Errorf("%v against %v: %d", a, b, got)
			}
		}
	}
}
