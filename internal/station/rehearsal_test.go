package station_test

import (
	"context"
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// packs are the house rules as files, with texts replaced.
func packs(k *stationtest.Kit, oldNew ...string) []*pb.NamedFile {
	files := k.Altered(oldNew...)
	text := string(files[0].GetContent())
	from, to := strings.Index(text, "rule_packs:"), strings.Index(text, "vehicles:\n")
	files[0].Content = []byte(text[from:to])
	return files
}

// rehearse rehearses files and gives what was told, and the end.
func rehearse(t fataler, k *stationtest.Kit, files []*pb.NamedFile) (changes []*pb.VerdictChange, done *pb.Rejudged) {
	err := k.Rehearse(context.Background(), &pb.RehearseRequest{Files: files}, func(m *pb.RehearseResponse) error {
		if m.GetChange() != nil {
			changes = append(changes, m.GetChange())
		}
		done = m.GetDone()
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return changes, done
}

func rejudge(t fataler, k *stationtest.Kit, gauge string) (changes []*pb.VerdictChange, done *pb.Rejudged) {
	err := k.RejudgeGauge(context.Background(), &pb.RejudgeGaugeRequest{Gauge: gauge}, func(m *pb.RejudgeGaugeResponse) error {
		if m.GetChange() != nil {
			changes = append(changes, m.GetChange())
		}
		done = m.GetDone()
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return changes, done
}

// Whatever was lived through: under the very packs that were in force nothing
// would have been otherwise, and looking changes nothing.
func TestRehearse_TheSameRulesChangeNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp(t.TempDir(), "play")
		if err != nil {
			rt.Fatal(err)
		}
		p := newPlay(t, rt, dir)
		defer p.Close()
		p.settled = true
		for range rapid.IntRange(1, 40).Draw(rt, "acts") {
			p.act()
		}
		size := events(t, p.Kit)
		changes, done := rehearse(rt, p.Kit, packs(p.Kit))
		if len(changes) > 0 || done.GetDiffering() > 0 {
			rt.Fatalf("%v would have differed: %v", done, changes)
		}
		if done.GetEvents() != int64(size) || events(t, p.Kit) != size {
			rt.Fatalf("%d events gone through of %d, now there are %d", done.GetEvents(), size, events(t, p.Kit))
		}
	})
}

// Low pressure limits a vehicle; had the rules taken it off the road, it would
// have been so from when somebody looked until it was pumped up.
func TestRehearse_TellsWhatWouldHaveBeen(t *testing.T) {
	k := stationtest.Open(t)
	k.RecordAll(p1, shift)
	round := k.OpenRound(p1, shift)
	k.Clock.Advance(time.Hour)
	looked := k.Clock.Now().Add(-10 * time.Minute)
	low := k.Record(round, lookedAt(k, stationtest.Read(tyre, "pressure", 6.5, "bar"), -10*time.Minute))
	k.Clock.Advance(time.Minute)
	k.Record(round, stationtest.NotChecked(oil, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME)) // nothing else changes by it
	changes, done := rehearse(t, k, packs(k, "effect: EFFECT_RESPONDING_WITHOUT_LIMIT", "effect: EFFECT_MOVING", `version: "1"`, `version: "2"`))
	if len(changes) != 1 || done.GetDiffering() != 1 {
		t.Fatalf("%v, and %d changes: %v, want one", done, len(changes), changes)
	}
	c := changes[0]
	if c.GetVehicle() != p1 || c.GetWas() != pb.Verdict_VERDICT_RESTRICTED || c.GetWouldBe() != pb.Verdict_VERDICT_UNFIT || c.GetSequence() != low.GetSequence() {
		t.Errorf("the change is %v, want from RESTRICTED to UNFIT at event %d", c, low.GetSequence())
	}
	if at := c.GetAt().AsTime(); at.Before(looked) || at.After(looked.Add(time.Second)) {
		t.Errorf("at %v, want when somebody looked, %v", at, looked)
	}
	if len(c.GetCome()) != 1 || len(c.GetGone()) != 1 || c.GetCome()[0].GetEffect() != pb.Effect_EFFECT_MOVING || c.GetGone()[0].GetEffect() != pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT {
		t.Errorf("come %v, gone %v", c.GetCome(), c.GetGone())
	}
	resp, err := k.GetRulePack(ctx, &pb.GetRulePackRequest{Name: "packs/house"})
	if err != nil || resp.GetRulePack().GetVersion() != "1" {
		t.Errorf("in force afterwards: %v, %v", resp.GetRulePack().GetVersion(), err)
	}
}

// What was done about a defect is passed over where it would not have been found, or not yet:
// answered, put off, put off no longer, repaired.
func TestRehearse_WhatWouldNotHaveBeenFoundWasDealtWith(t *testing.T) {
	for name, tc := range map[string]struct {
		found   string // under what the pressure is low
		differs int64
		would   pb.Verdict
	}{
		"never":             {"o.value < 100.0", 2, pb.Verdict_VERDICT_FIT},
		"at the later look": {"o.value < 550.0", 1, pb.Verdict_VERDICT_FIT},
		"as it was":         {"o.value < 699.0", 0, pb.Verdict_VERDICT_UNSPECIFIED},
	} {
		t.Run(name, func(t *testing.T) {
			k := deferring(t)
			round := k.RecordAll(p1, shift)
			k.Clock.Advance(time.Minute)
			k.Record(round, lowAt(low))
			defect := openAt(k, low)
			if _, err := k.AcknowledgeDefect(ctx, &pb.AcknowledgeDefectRequest{RequestId: k.ID(), Defect: defect, Person: "people/mechanic", Planned: until(k.Clock.Now().Add(time.Hour))}); err != nil {
				t.Fatal(err)
			}
			deferTill(k, defect, until(k.Clock.Now().Add(24*time.Hour)))
			k.Clock.Advance(time.Minute)
			k.Record(round, stationtest.Read(low, "pressure", 5, "bar"))
			if _, err := k.EndDeferral(ctx, &pb.EndDeferralRequest{RequestId: k.ID(), Defect: defect, Person: "people/officer", Because: "b"}); err != nil {
				t.Fatal(err)
			}
			if _, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: defect, Person: "people/mechanic", Done: "d"}); err != nil {
				t.Fatal(err)
			}
			changes, done := rehearse(t, k, packs(k, "o.value < 700.0", tc.found))
			if done.GetEvents() != int64(events(t, k)) || done.GetDiffering() != tc.differs {
				t.Errorf("%v of %d events, want %d results that differ", done, events(t, k), tc.differs)
			}
			if tc.would == pb.Verdict_VERDICT_UNSPECIFIED {
				if len(changes) != 0 {
					t.Errorf("changes: %v", changes)
				}
			} else if len(changes) == 0 || changes[0].GetWouldBe() != tc.would {
				t.Errorf("changes: %v, want one to %v first", changes, tc.would)
			}
		})
	}
}

// What comes late into a round that ended long ago, and is in memory no more, is
// gone through like all else.
func TestRehearse_FindsRoundsThatEndedLongAgo(t *testing.T) {
	k := stationtest.Open(t)
	var first string
	var looked time.Time
	for i := range 70 {
		k.Clock.Advance(time.Minute)
		round := k.OpenRound(p1, shift)
		k.Record(round, stationtest.Read(tyre, "pressure", 8.5, "bar"))
		if i == 0 {
			first, looked = round, k.Clock.Now()
		}
		k.Clock.Advance(time.Minute)
		if _, err := k.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: k.ID(), Round: round}); err != nil {
			t.Fatal(err)
		}
	}
	late := stationtest.Read("TYR-010/axle-1-offside", "pressure", 6.5, "bar")
	late.DeviceTime = timestamppb.New(looked)
	k.Record(first, late)
	changes, done := rehearse(t, k, packs(k))
	if len(changes) != 0 || done.GetDiffering() != 0 || done.GetResults() != 71 {
		t.Errorf("%v, %v: want 71 results judged as they were", done, changes)
	}
}

func TestRehearse_Refuses(t *testing.T) {
	k := stationtest.Open(t)
	send := func(*pb.RehearseResponse) error { return nil }
	for name, tc := range map[string]struct {
		files  []*pb.NamedFile
		reason string
		place  string
	}{
		"a slip in a rule":     {packs(k, "o.value < 700.0", "o.valve < 700.0"), "CONFIGURATION_REFUSED", "small.yaml:"},
		"an unknown fault":     {packs(k, "faults: [OIL-010-02]", "faults: [OIL-010-99]"), "CONFIGURATION_REFUSED", "small.yaml:"},
		"more than rule packs": {k.Altered(), "NOT_RULE_PACKS", "files"},
		"nothing":              {[]*pb.NamedFile{{FileName: "a.yaml", Content: []byte("stations: []\n")}}, "NOT_RULE_PACKS", "files"},
		"what cannot be read":  {[]*pb.NamedFile{{FileName: "a.yaml", Content: []byte("rule_packs: {")}}, "CONFIGURATION_REFUSED", "a.yaml:"},
	} {
		t.Run(name, func(t *testing.T) {
			err := k.Rehearse(ctx, &pb.RehearseRequest{Files: tc.files}, send)
			refusal{fault.Invalid, tc.reason}.check(t, err)
			var f *fault.Fault
			if errors.As(err, &f) && (len(f.Fields) == 0 || !strings.HasPrefix(f.Fields[0].Path, tc.place)) {
				t.Errorf("it names %v, want a place in %s", f.Fields, tc.place)
			}
		})
	}
}

// A gauge is found to read 0.3 bar high: what it called 7.2 bar was 6.9, which is
// too low. Readings from before its last good check, and with other gauges, stay.
func TestRejudgeGauge_CorrectsSinceTheLastGoodCheck(t *testing.T) {
	k := stationtest.Open(t)
	k.RecordAll(p1, shift)
	round := k.OpenRound(p1, shift)
	read := func(gauge, step string) *pb.RecordResultResponse {
		k.Clock.Advance(time.Minute)
		r := stationtest.Read(step, "pressure", 7.2, "bar")
		r.Gauge = gauge
		return k.Record(round, r)
	}
	read("gauges/g-1", "TYR-010/axle-1-offside")
	k.Clock.Advance(time.Minute)
	check(t, k, "gauges/g-1", 805, 800)
	read("", "TYR-010/axle-1-offside")
	doubted := read("gauges/g-1", tyre)
	err := k.RejudgeGauge(ctx, &pb.RejudgeGaugeRequest{Gauge: "gauges/g-1"}, func(*pb.RejudgeGaugeResponse) error { return nil })
	refusal{fault.Precondition, "GAUGE_NEVER_WRONG"}.check(t, err)
	k.Clock.Advance(time.Hour)
	check(t, k, "gauges/g-1", 830, 800)
	k.Clock.Advance(time.Minute)
	check(t, k, "gauges/g-1", 800, 800) // put right
	read("gauges/g-1", "TYR-010/axle-1-offside")
	changes, done := rejudge(t, k, "gauges/g-1")
	if len(changes) != 1 || done.GetResults() != 1 || done.GetDiffering() != 1 {
		t.Fatalf("%v and %d changes: %v, want one of one result", done, len(changes), changes)
	}
	c := changes[0]
	if c.GetSequence() != doubted.GetSequence() || c.GetWas() != pb.Verdict_VERDICT_FIT || c.GetWouldBe() != pb.Verdict_VERDICT_RESTRICTED ||
		len(c.GetCome()) != 1 || !strings.Contains(c.GetCome()[0].GetText(), "690 kPa") || len(c.GetGone()) != 0 {
		t.Errorf("the change is %v, want FIT to RESTRICTED at event %d by 690 kPa", c, doubted.GetSequence())
	}
	err = k.RejudgeGauge(ctx, &pb.RejudgeGaugeRequest{Gauge: "gauges/none"}, func(*pb.RejudgeGaugeResponse) error { return nil })
	refusal{fault.NotFound, "GAUGE_UNKNOWN"}.check(t, err)
}

// A gauge that was found wrong, put right and found wrong again: each stretch is
// corrected by its own check, and what was read in between stays as it was read.
func TestRejudgeGauge_CorrectsEachStretchByItsOwnCheck(t *testing.T) {
	k := stationtest.Open(t)
	k.RecordAll(p1, shift)
	round := k.OpenRound(p1, shift)
	read := func(step string, bar float64) {
		k.Clock.Advance(time.Minute)
		r := stationtest.Read(step, "pressure", bar, "bar")
		r.Gauge = "gauges/g-1"
		k.Record(round, r)
	}
	compare := func(shown float64) {
		k.Clock.Advance(time.Minute)
		check(t, k, "gauges/g-1", shown, 800)
	}
	compare(800)
	read(tyre, 7.25) // 6.95 bar
	compare(830)
	compare(800)
	read("TYR-010/axle-1-offside", 7.2)
	compare(800)
	read(outer, 7.4) // 6.9 bar
	compare(850)
	changes, done := rejudge(t, k, "gauges/g-1")
	var come []string
	for _, c := range changes {
		for _, f := range c.GetCome() {
			come = append(come, f.GetText())
		}
	}
	told := strings.Join(come, " ")
	if !strings.Contains(told, "695 kPa") || !strings.Contains(told, "690 kPa") || done.GetResults() != 2 || done.GetDiffering() != 2 {
		t.Errorf("%v, come %q; want 695 kPa and 690 kPa, of two results", done, come)
	}
}

// One at a time goes through the record, a few wait, and more are refused at once;
// who ends it makes room.
func TestRehearse_OneAtATime(t *testing.T) {
	k := stationtest.Open(t)
	k.RecordAll(p1, shift)
	begun, goOn := make(chan struct{}, 1), make(chan struct{})
	ends := make(chan error)
	file := packs(k)
	run := func(send func(*pb.RehearseResponse) error) {
		ends <- k.Rehearse(ctx, &pb.RehearseRequest{Files: file}, send)
	}
	go run(func(*pb.RehearseResponse) error { begun <- struct{}{}; <-goOn; return nil })
	<-begun
	quiet := func(*pb.RehearseResponse) error { return nil }
	over, cancel := context.WithCancel(ctx)
	cancel()
	if err := k.Rehearse(over, &pb.RehearseRequest{Files: file}, quiet); !errors.Is(err, context.Canceled) {
		t.Errorf("with nobody waiting: %v", err)
	}
	refused := 0
	for range 5 { // two more than may wait
		go run(quiet)
	}
	for refused < 2 {
		refusal{fault.Exhausted, "REHEARSALS_WAITING"}.check(t, <-ends)
		refused++
	}
	k.Record(k.OpenRound(p1, shift), stationtest.Seen(screen, "sound")) // the station goes on
	close(goOn)
	for range 4 {
		if err := <-ends; err != nil {
			t.Errorf("one that went or waited: %v", err)
		}
	}
	rehearse(t, k, file)
}

// Who listens no more ends it, and what sending says comes back.
func TestRehearse_EndsWithWhoListens(t *testing.T) {
	k := stationtest.Open(t)
	k.RecordAll(p1, shift)
	over, cancel := context.WithCancel(ctx)
	cancel()
	if err := k.Rehearse(over, &pb.RehearseRequest{Files: packs(k)}, func(*pb.RehearseResponse) error { return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("with nobody listening: %v", err)
	}
	gone := errors.New("gone")
	if err := k.Rehearse(ctx, &pb.RehearseRequest{Files: packs(k)}, func(*pb.RehearseResponse) error { return gone }); !errors.Is(err, gone) {
		t.Errorf("when sending fails: %v", err)
	}
}
