package station

import (
	"context"
	"errors"
	"log/slog"
	"strings"
	"testing"
	"time"

	"bayround/internal/fault"
	"bayround/internal/journal"
	pb "bayround/proto/bayround/v1"
)

// kindNow is what is held against the record of a vehicle now.
func kindNow(t *testing.T, s *Station) (pb.RecordDoubtKind, pb.Verdict) {
	t.Helper()
	resp, err := s.GetReadiness(context.Background(), &pb.GetReadinessRequest{Vehicle: "vehicles/p1"})
	if err != nil {
		t.Fatal(err)
	}
	for _, reason := range resp.GetReadiness().GetReasons() {
		if d := reason.GetRecord(); d != nil {
			return d.GetKind(), reason.GetVerdict()
		}
	}
	return 0, pb.Verdict_VERDICT_FIT
}

// keeper keeps a station scrubbing by ticks and results of the test's own.
type keeper struct {
	t       *testing.T
	station *Station
	now     time.Time
	ticks   chan time.Time
	begun   chan chan error // of each reading that begins, where its result goes
	broke   chan struct{}   // holds one for each that the log says was kept from its end
}

func keepScrubbing(t *testing.T) *keeper {
	t.Helper()
	k := &keeper{
		t: t, station: openSmall(t, t.TempDir()), now: time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC),
		ticks: make(chan time.Time), begun: make(chan chan error), broke: make(chan struct{}, 10),
	}
	k.station.log = slog.New(slog.NewTextHandler(k, &slog.HandlerOptions{Level: slog.LevelError}))
	k.station.read = func(ctx context.Context) (journal.Report, error) {
		result := make(chan error)
		select {
		case k.begun <- result:
		case <-ctx.Done():
			return journal.Report{}, ctx.Err()
		}
		select {
		case err := <-result:
			return journal.Report{Events: 7}, err
		case <-ctx.Done():
			return journal.Report{}, ctx.Err()
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		k.station.KeepScrubbing(ctx, k.now, k.ticks)
	}()
	t.Cleanup(func() {
		cancel()
		<-ended
	})
	return k
}

// Write hears of trouble in the log.
func (k *keeper) Write(line []byte) (int, error) {
	if strings.Contains(string(line), "could not be read through") {
		k.broke <- struct{}{}
	}
	return len(line), nil
}

// pass lets hours go by.
func (k *keeper) pass(hours int) {
	for range hours {
		k.now = k.now.Add(time.Hour)
		k.ticks <- k.now
	}
}

// becomes waits until this is held against the record.
func (k *keeper) becomes(kind pb.RecordDoubtKind, v pb.Verdict) {
	k.t.Helper()
	for {
		_, news := k.station.board.look()
		if is, verdict := kindNow(k.t, k.station); is == kind && verdict == v {
			return
		}
		<-news
	}
}

const (
	none    = pb.RecordDoubtKind_RECORD_DOUBT_KIND_UNSPECIFIED
	damaged = pb.RecordDoubtKind_RECORD_DOUBT_KIND_DAMAGED
	unread  = pb.RecordDoubtKind_RECORD_DOUBT_KIND_UNREAD
)

// The record is read at once and daily; what is wrong takes the verdict away
// until a reading finds it sound again.
func TestKeepScrubbing_AtOnceAndDaily(t *testing.T) {
	k := keepScrubbing(t)
	first := <-k.begun
	k.pass(3)
	if scrub, _ := k.station.Scrubbed(); scrub != nil {
		t.Errorf("told of %v before it ended", scrub)
	}
	first <- fault.New(fault.Lost, "EVENT_CHANGED", "event 5 was changed")
	k.becomes(damaged, pb.Verdict_VERDICT_UNPROVEN)
	if scrub, _ := k.station.Scrubbed(); scrub.GetProblem() != "event 5 was changed" || scrub.GetEvents() != 7 || scrub.GetEnded() == nil {
		t.Errorf("told %v", scrub)
	}
	k.pass(20)
	select {
	case <-k.begun:
		t.Fatal("read again before a day was over")
	default:
	}
	k.pass(1)
	second := <-k.begun
	k.becomes(damaged, pb.Verdict_VERDICT_UNPROVEN)
	second <- nil
	k.becomes(none, pb.Verdict_VERDICT_FIT)
	if scrub, age := k.station.Scrubbed(); scrub.GetProblem() != "" || scrub.GetEvents() != 7 || age < 0 {
		t.Errorf("told %v, %v old", scrub, age)
	}
}

// A reading that does not end, or is kept from its end, is told after 49 hours; it
// makes no verdict worse.
func TestKeepScrubbing_ThatDoesNotEndIsTold(t *testing.T) {
	k := keepScrubbing(t)
	first := <-k.begun
	k.pass(10)
	first <- fault.New(fault.Unavailable, "JOURNAL_CLOSED", "closed")
	<-k.broke
	k.pass(14)
	hangs := <-k.begun
	k.pass(25)
	if kind, _ := kindNow(t, k.station); kind != none {
		t.Errorf("%v after 49 hours", kind)
	}
	k.pass(1)
	k.becomes(unread, pb.Verdict_VERDICT_FIT)
	hangs <- nil
	k.becomes(none, pb.Verdict_VERDICT_FIT)
	k.pass(1)
	if kind, _ := kindNow(t, k.station); kind != none {
		t.Errorf("%v after it has ended", kind)
	}
}

// The real thing: sound, and then with a row that no event makes.
func TestScrub_HoldsRowsToTheEvents(t *testing.T) {
	ctx, dir := context.Background(), t.TempDir()
	s, id := openSmall(t, dir), ids()
	round := openShift(t, s, id())
	if _, err := s.RecordResult(ctx, screenResult(round, id(), "sound")); err != nil {
		t.Fatal(err)
	}
	if err := s.scrub(ctx, true); err != nil {
		t.Fatal(err)
	}
	if scrub, _ := s.Scrubbed(); scrub.GetProblem() != "" || scrub.GetEvents() != s.current.Load().sequence {
		t.Fatalf("a sound record: %v", scrub)
	}
	_, err := s.journal.Append(ctx, journal.Command{ID: "by hand"}, func(uint64) (journal.Entry, error) {
		return journal.Entry{Rows: []journal.Row{{Key: stepRows + "vehicles/p1/LGT-010/nowhere", Value: []byte{8, 1}}}}, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.scrub(ctx, true); err != nil {
		t.Fatal(err)
	}
	if scrub, _ := s.Scrubbed(); scrub.GetProblem() == "" {
		t.Error("a row that no event makes was not found")
	}
	if kind, v := kindNow(t, s); kind != damaged || v != pb.Verdict_VERDICT_UNPROVEN {
		t.Errorf("%v, %v", kind, v)
	}
}

func TestScrub_ThatWasEndedSaysNothingOfTheRecord(t *testing.T) {
	s := openSmall(t, t.TempDir())
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := s.scrub(ctx, true); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	if scrub, _ := s.Scrubbed(); scrub != nil {
		t.Errorf("told %v", scrub)
	}
}

// ScrubWithRows reads the whole record through, its rows included, for tests from outside. It
// returns what is wrong with it in words; empty when nothing is.
func (s *Station) ScrubWithRows(ctx context.Context) (problem string, err error) {
	if err := s.scrub(ctx, true); err != nil {
		return "", err
	}
	scrub, _ := s.Scrubbed()
	return scrub.GetProblem(), nil
}
