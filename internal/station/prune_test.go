package station_test

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	"bayround/internal/fault"
	"bayround/internal/journal"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// prune prunes a station that is closed.
func prune(k *stationtest.Kit, keep time.Duration) (station.Pruned, error) {
	return station.Prune(context.Background(), station.PruneOptions{Dir: k.Dir(), Keep: keep, Now: func() time.Time {
		k.Clock.Advance(time.Microsecond) // no two commands at once: the station's time would run ahead of the clock
		return k.Clock.Now()
	}})
}

// rowsOf are all rows of a closed station, and the tree of its first events.
func rowsOf(t fataler, dir string, first uint64) (rows map[string]string, tree string) {
	j, err := journal.Open(context.Background(), journal.Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	rows = map[string]string{}
	err = j.Rows(context.Background(), "", 0, func(key string, value []byte) error { rows[key] = string(value); return nil })
	if err != nil {
		t.Fatal(err)
	}
	subtrees, err := j.Subtrees(first + 1)
	if err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	return rows, fmt.Sprint(subtrees)
}

// longPast is a station whose series have more points than are kept: most of what
// happened first was taken over by nothing.
type longPast struct {
	dir string
	ids int
	end time.Time
}

// newLongPast works a station for a month: three rounds a day, in which now and then
// something is wrong, is mended or read again, and closed.
func newLongPast(t *testing.T) *longPast {
	t.Helper()
	k, dice := stationtest.Open(t), rand.New(rand.NewPCG(7, 11)) //nolint:gosec // a test's dice
	for range 75 {
		round := k.OpenRound("vehicles/p1", "routines/shift")
		for _, step := range k.Plan("vehicles/p1", "routines/shift").GetSteps() {
			k.Clock.Advance(time.Second)
			k.Record(round, stationtest.Sound(step))
			if dice.IntN(40) == 0 && len(step.GetConditions()) > 1 && step.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_CONDITION {
				k.Record(round, stationtest.Seen(step.GetStepId(), step.GetConditions()[1+dice.IntN(len(step.GetConditions())-1)].GetId()))
			}
		}
		finish(t, k, round)
		for _, d := range k.Readiness("vehicles/p1").GetOpenDefects() {
			k.Clock.Advance(time.Minute)
			if d.GetState() == pb.DefectState_DEFECT_STATE_OPEN && dice.IntN(2) == 0 {
				repairDefect(t, k, d.GetName())
			}
		}
		k.Clock.Advance(8 * time.Hour)
	}
	past := &longPast{dir: k.Dir(), end: k.Clock.Now()}
	past.ids, _ = strconv.Atoi(k.ID()[24:])
	k.Close()
	return past
}

// play goes on in a copy of its own.
func (l *longPast) play(t *testing.T, rt *rapid.T) *play {
	dir := filepath.Join(t.TempDir(), "play")
	if err := os.CopyFS(dir, os.DirFS(l.dir)); err != nil {
		rt.Fatal(err)
	}
	clock := stationtest.NewClock()
	clock.Advance(l.end.Sub(clock.Now()))
	k := stationtest.OpenWith(t, clock, station.Options{Dir: dir, Now: clock.Now, Defaults: stationtest.Small()})
	for range l.ids {
		k.ID() // given before
	}
	return &play{Kit: k, rt: rt, results: map[string][]string{}}
}

// walkOn lets a day or two pass: rounds in which everything is answered, mostly
// soundly, and whatever else happens between them.
func (p *play) walkOn() {
	for range rapid.IntRange(1, 4).Draw(p.rt, "rounds") {
		p.wholeRound()
		for range rapid.IntRange(0, 6).Draw(p.rt, "acts") {
			p.act()
		}
		p.Clock.Advance(time.Duration(rapid.Int64Range(0, int64(12*time.Hour)).Draw(p.rt, "pause")))
	}
}

// wholeRound answers every step of a routine and ends the round if it can.
func (p *play) wholeRound() {
	vehicle := rapid.SampledFrom(vehicles).Draw(p.rt, "vehicle")
	round := p.OpenRound(vehicle, "routines/shift")
	p.rounds = append(p.rounds, round)
	for _, step := range p.Plan(vehicle, "routines/shift").GetSteps() {
		p.Clock.Advance(time.Second)
		answer := stationtest.Sound(step)
		if rapid.IntRange(0, 9).Draw(p.rt, "otherwise") == 0 {
			answer = p.answer(step)
		}
		if _, err := p.TryRecord(round, answer); !refused(err) {
			p.rt.Fatal(err)
		}
	}
	for _, u := range p.Readiness(vehicle).GetUndone() {
		_, err := p.MakeSafe(ctx, &pb.MakeSafeRequest{RequestId: p.ID(), Round: round, StepIds: []string{u.GetStepId()}})
		if !refused(err) {
			p.rt.Fatal(err)
		}
	}
	p.look()
	p.tick()
	if _, err := p.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: p.ID(), Round: round}); !refused(err) {
		p.rt.Fatal(err)
	}
}

// both carries out what can be carried out at a station and its unpruned copy alike.
func (p *play) both() {
	p.atTwin = true
	for range rapid.IntRange(1, 12).Draw(p.rt, "acts at both") {
		p.Clock.Advance(time.Duration(rapid.Int64Range(1, int64(3*time.Hour)).Draw(p.rt, "pass")))
		acts := []func() error{p.open, p.record, p.record, p.record, p.pause, p.resume, p.finish, p.giveUp, p.begin, p.makeSafe}
		if err := rapid.SampledFrom(acts).Draw(p.rt, "act at both")(); !refused(err) {
			p.rt.Fatal(err)
		}
		p.agrees("going on")
	}
}

// asOf compares what was known at instants of the past.
func (p *play) asOf(seen []seen, dropped int) {
	told := 0
	for _, s := range seen {
		req := &pb.GetReadinessRequest{Vehicle: s.vehicle, AsOf: timestamppb.New(s.at)}
		got, err := p.GetReadiness(context.Background(), req)
		if reasonTold(err) == "AS_OF_DROPPED" {
			continue
		}
		want, wantErr := p.twin.GetReadiness(context.Background(), req)
		if (err == nil) != (wantErr == nil) || got.GetReadiness().GetVerdict() != want.GetReadiness().GetVerdict() {
			p.rt.Fatalf("%s at %s is %v, %v; was %v, %v", s.vehicle, s.at, got, err, want, wantErr)
		}
		told++
	}
	if dropped == 0 && told < len(seen) {
		p.rt.Fatalf("nothing was dropped, but %d of %d instants are not told", len(seen)-told, len(seen))
	}
}

// A station whose record was pruned says what it said before, of now and of every
// instant since the horizon, and goes on saying what it would have said otherwise;
// its rows are those that its record makes; and the record is the same tree.
func TestPrune_SaysWhatTheWholeRecordSays(t *testing.T) {
	t.Parallel()
	past, cases, dropped, whole := newLongPast(t), 0, 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		if cases++; cases > 20 && dropped >= 100 {
			return // each opens stations a dozen times; by then enough was seen
		}
		p := past.play(t, rt)
		defer p.Close()
		p.walkOn()
		size := p.events()
		p.Close()
		copied := filepath.Join(t.TempDir(), "copy")
		if err := os.CopyFS(copied, os.DirFS(p.Dir())); err != nil {
			rt.Fatal(err)
		}
		keep := time.Duration(rapid.IntRange(0, 24*20).Draw(rt, "hours to keep")) * time.Hour
		report, err := prune(p.Kit, keep)
		if err != nil {
			rt.Fatal(err)
		}
		dropped, whole = dropped+report.Rounds, whole+len(report.Whole)
		sound, err := station.Verify(ctx, p.Dir(), nil)
		if err != nil || sound.Dropped != uint64(report.Events) {
			rt.Fatalf("%v, %v; %d events were dropped", sound, err, report.Events)
		}
		p.samePast(copied, size)
		p.Reopen()
		p.tick()
		p.twin = stationtest.OpenWith(t, p.Clock, station.Options{Dir: copied, Now: p.Clock.Now, Defaults: stationtest.Small()})
		defer p.twin.Close()
		p.agrees("at once")
		p.asOf(p.seen, report.Events)
		p.both()
	})
	t.Logf("%d rounds were dropped, %d vehicles were kept whole", dropped, whole)
	if dropped < 100 || whole > dropped/10 {
		t.Errorf("%d rounds were dropped, %d vehicles were kept whole: this test has seen too little", dropped, whole)
	}
}

// events is how many events there are.
func (p *play) events() (newest uint64) {
	err := p.Events(ctx, 1, func(ev *pb.JournalEvent) error { newest = uint64(ev.GetSequence()); return nil })
	if err != nil {
		p.rt.Fatal(err)
	}
	return newest
}

// samePast makes sure that the rows are those that the events make, and that the
// tree of the first events is that of a copy.
func (p *play) samePast(copied string, size uint64) {
	before, tree := rowsOf(p.rt, p.Dir(), size)
	if _, err := station.Rebuild(ctx, p.Dir(), slog.New(slog.DiscardHandler)); err != nil {
		p.rt.Fatal(err)
	}
	after, _ := rowsOf(p.rt, p.Dir(), size)
	if !maps.Equal(before, after) {
		p.rt.Fatalf("rows made anew are others: %d, then %d", len(before), len(after))
	}
	if _, want := rowsOf(p.rt, copied, size); tree != want {
		p.rt.Fatal("the tree is another one")
	}
}

// A year of days: what is older than it must be kept goes, but for what something
// rests on; what was dropped is told as dropped, in whatever way it is asked for.
func TestPrune_TellsWhatWasDropped(t *testing.T) {
	k := stationtest.Open(t)
	var names []string
	const (
		foundByKept    = 4 // a series holds a point of it; who closed what it found must stay, too
		foundByDropped = 9 // found, mended and checked by rounds that go
	)
	for turn := range 120 {
		k.Clock.Advance(8 * time.Hour)
		round := k.RecordAll("vehicles/p1", "routines/shift")
		switch turn {
		case foundByKept:
			k.Record(round, stationtest.Seen("GLA-010/windscreen", "01"))
		case foundByDropped:
			k.Record(round, stationtest.Seen("PMP-010/pump", "01"))
			repairDefect(t, k, k.Readiness("vehicles/p1").GetOpenDefects()[0].GetName())
		}
		finish(t, k, round)
		names = append(names, round)
	}
	tokens := map[string]string{} // of the openings of rounds
	messages(t, k, func(m *pb.FollowResponse) {
		for _, ev := range m.GetEvents().GetEvents() {
			tokens[ev.GetRoundOpened().GetRound().GetName()] = m.GetToken()
		}
	})
	before, then := comparable(k.Readiness("vehicles/p1")), k.Clock.Now().Add(-30*24*time.Hour)
	k.Close()
	report, err := prune(k, 10*24*time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	if report.Rounds < 20 || len(report.Whole) > 0 || report.KeptRounds == 0 || report.Rounds+report.KeptRounds != 90 {
		t.Errorf("%+v", report)
	}
	if again, err := prune(k, 10*24*time.Hour); err != nil || again.Rounds != 0 {
		t.Errorf("pruned a second time: %+v, %v", again, err)
	}
	k.Reopen()
	if d := diff(before, comparable(k.Readiness("vehicles/p1"))); d != "" {
		t.Errorf("readiness (-before +after):\n%s", d)
	}
	finish(t, k, k.RecordAll("vehicles/p1", "routines/shift"))
	if problem, err := k.ScrubWithRows(ctx); problem != "" || err != nil {
		t.Errorf("the daily reading of a pruned record: %s, %v", problem, err)
	}
	_, err = k.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: "vehicles/p1", AsOf: timestamppb.New(then)})
	refusal{fault.Precondition, "AS_OF_DROPPED"}.check(t, err)
	var dropped, told, at int64
	messages(t, k, func(m *pb.FollowResponse) {
		events := m.GetEvents()
		if n := int64(len(events.GetDroppedLeafHashes())); n > 0 {
			if events.GetDroppedFirstSequence() != at+1 {
				t.Errorf("after event %d come dropped ones from %d", at, events.GetDroppedFirstSequence())
			}
			dropped, at = dropped+n, at+n
		}
		for _, ev := range events.GetEvents() {
			if told, at = told+1, at+1; ev.GetSequence() != at {
				t.Errorf("event %d comes as number %d", ev.GetSequence(), at)
			}
		}
	})
	if dropped != int64(report.Events) || told == 0 {
		t.Errorf("%d events and %d dropped ones are told, %d were dropped", told, dropped, report.Events)
	}
	if changes, done := rehearse(t, k, packs(k)); len(changes) > 0 || done.GetEvents() == 0 || done.GetEvents() >= told {
		t.Errorf("the rules of today would have changed %v in %d events of %d", changes, done.GetEvents(), told)
	}
	stays := map[int]bool{0: true, foundByKept: true, foundByKept + 1: true, foundByDropped: false, foundByDropped + 1: false}
	gone := 0
	for turn, name := range names {
		_, err := k.GetRound(ctx, &pb.GetRoundRequest{Name: name})
		if want, said := stays[turn]; said && want != (err == nil) {
			t.Errorf("round %d: %v; that it stays is %v", turn, err, want)
		}
		if fault.Is(err, fault.NotFound) {
			wantDropped(t, k, tokens[name])
			gone++
		}
	}
	if gone != report.Rounds {
		t.Errorf("%d rounds are not found, %d were dropped", gone, report.Rounds)
	}
}

// wantDropped makes sure that the event of a token was dropped, that its hash is
// proven, and that one can go on from it.
func wantDropped(t *testing.T, k *stationtest.Kit, token string) {
	t.Helper()
	sequence, err := strconv.ParseInt(strings.Split(token, ".")[1], 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	proof, err := k.ProveInclusion(ctx, &pb.ProveInclusionRequest{Sequence: sequence})
	if err != nil || len(proof.GetRecord()) > 0 || len(proof.GetLeafHash()) != 32 || len(proof.GetAuditPath()) == 0 {
		t.Errorf("dropped event %d is proven by %v, %v", sequence, proof, err)
	}
	next := int64(0)
	err = k.Follow(ctx, &pb.FollowRequest{Token: token, StopAtEnd: true}, func(m *pb.FollowResponse) error {
		if next == 0 {
			next = m.GetEvents().GetDroppedFirstSequence()
			if next == 0 {
				next = m.GetEvents().GetEvents()[0].GetSequence()
			}
		}
		return nil
	})
	if err != nil || next != sequence+1 {
		t.Errorf("from the token of dropped event %d one goes on with %d, %v", sequence, next, err)
	}
}

// messages follows a station from its first event to its newest.
func messages(t *testing.T, k *stationtest.Kit, take func(*pb.FollowResponse)) {
	t.Helper()
	err := k.Follow(ctx, &pb.FollowRequest{StopAtEnd: true}, func(m *pb.FollowResponse) error {
		take(m)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func repairDefect(t *testing.T, k *stationtest.Kit, name string) {
	t.Helper()
	_, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: name, Person: "people/mechanic", Done: "mended"})
	if err != nil {
		t.Fatal(err)
	}
}

// While a gauge that was found wrong waits to be put right, everything since it was
// last found good stays; afterwards it goes.
func TestPrune_WaitsForAGaugeThatIsWrong(t *testing.T) {
	k := stationtest.Open(t)
	check := func(shown float64) {
		t.Helper()
		_, err := k.CheckGauge(ctx, &pb.CheckGaugeRequest{RequestId: k.ID(), Gauge: "gauges/g-1", Check: &pb.GaugeCheck{
			Person: "people/mechanic", Reference: "dead weight tester", ReferenceValue: 800, Shown: shown,
		}})
		if err != nil {
			t.Fatal(err)
		}
	}
	look := func() { // at a place without a number, so that only the newest two count
		t.Helper()
		k.Clock.Advance(24 * time.Hour)
		round := k.OpenRound("vehicles/p1", "routines/shift")
		k.Record(round, stationtest.Seen("GLA-010/windscreen", "sound"))
		finish(t, k, round)
	}
	look()
	check(800)
	for range 8 {
		look()
	}
	check(900)
	for _, want := range []struct {
		rounds  int
		doubted string
	}{{0, "gauges/g-1"}, {6, ""}} {
		k.Close()
		report, err := prune(k, time.Hour)
		if err != nil || report.Rounds != want.rounds || report.Doubted != want.doubted {
			t.Errorf("%+v, %v; want %+v", report, err, want)
		}
		k.Reopen()
		check(800)
	}
}
