package station_test

import (
	"bytes"
	"context"
	"log/slog"
	"os"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// comparable is a readiness without what a twin numbers by itself.
func comparable(r *pb.Readiness) *pb.Readiness {
	r = proto.CloneOf(r)
	r.Sequence, r.AsOf = 0, nil
	for _, round := range r.GetRounds() {
		round.Sequence = 0
	}
	return r
}

// measuredOn is what was measured on a vehicle, step by step.
func measuredOn(k *stationtest.Kit, vehicle string) *pb.Standing {
	all := &pb.Standing{}
	for _, a := range k.Standing(vehicle).GetAnswers() {
		all.Answers = append(all.Answers, &pb.StandingAnswer{StepId: a.GetStepId(), Series: a.GetSeries()})
	}
	return all
}

// takeOver has the twin take over everything, twice: the second time must find
// nothing new.
func (p *play) takeOver() {
	p.tick()
	p.twin.AdoptLibrary(p.Kit)
	for _, v := range vehicles {
		p.tick()
		p.twin.AdoptStanding(p.Kit, v)
		p.tick()
		if p.twin.AdoptStanding(p.Kit, v) {
			p.rt.Fatalf("%s was taken over a second time", v)
		}
	}
}

// tick lets time pass, as every command has an instant of its own.
func (p *play) tick() { p.Clock.Advance(time.Microsecond) }

// agrees compares what both say of every vehicle at one instant.
func (p *play) agrees(when string) {
	for _, v := range vehicles {
		if d := diff(comparable(p.Readiness(v)), comparable(p.twin.Readiness(v))); d != "" {
			p.rt.Fatalf("%s: %s (station: -, twin: +)\n%s", when, v, d)
		}
		if d := diff(measuredOn(p.Kit, v), measuredOn(p.twin, v)); d != "" {
			p.rt.Fatalf("%s: what was measured on %s (station: -, twin: +)\n%s", when, v, d)
		}
	}
}

// stays compares what the twin says of every vehicle with what it said.
func (p *play) stays(when string, said map[string][]byte) {
	for _, v := range vehicles {
		if now := p.twin.Readiness(v); !bytes.Equal(exact(now), said[v]) {
			var then pb.Readiness
			unmarshal(p.rt, said[v], &then)
			p.rt.Fatalf("%s: %s (before: -, now: +)\n%s", when, v, diff(&then, now))
		}
	}
}

// keeps compares what the station says was measured with what it said.
func (p *play) keeps(when string, measured map[string]*pb.Standing) {
	for _, v := range vehicles {
		if d := diff(measured[v], measuredOn(p.Kit, v)); d != "" {
			p.rt.Fatalf("%s: what was measured on %s (before: -, now: +)\n%s", when, v, d)
		}
	}
}

// Whatever happens at a station, by whomever, and whatever was done at the twin
// first and refused by the station: once the twin has taken over what is in force
// and what is known of a vehicle, it says of it what the station says, now and
// later; also after a restart, and after its rows were made anew.
func TestAdoptStanding_TwinSaysWhatTheStationSays(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp(t.TempDir(), "play")
		if err != nil {
			rt.Fatal(err)
		}
		p := newPlay(t, rt, dir)
		defer p.Close()
		p.twin = p.Twin()
		defer func() { p.twin.Close() }()
		p.takeOver()
		for range rapid.IntRange(1, 5).Draw(rt, "takings") {
			for range rapid.IntRange(1, 12).Draw(rt, "acts") {
				p.atTwin = rapid.Bool().Draw(rt, "at the twin")
				p.act()
			}
			p.takeOver()
			p.agrees("at once")
		}
		p.Clock.Advance(time.Duration(rapid.Int64Range(1, int64(30*time.Hour)).Draw(rt, "later")))
		p.agrees("later")
		said, measured := map[string][]byte{}, map[string]*pb.Standing{}
		for _, v := range vehicles {
			said[v], measured[v] = exact(p.twin.Readiness(v)), measuredOn(p.Kit, v)
		}
		p.twin.Reopen()
		p.Reopen()
		p.stays("after a restart", said)
		p.keeps("after a restart", measured)
		p.twin.Close()
		if _, err := station.Rebuild(context.Background(), p.twin.Dir(), slog.New(slog.DiscardHandler)); err != nil {
			rt.Fatal(err)
		}
		p.Close()
		if _, err := station.Rebuild(context.Background(), dir, slog.New(slog.DiscardHandler)); err != nil {
			rt.Fatal(err)
		}
		p.twin.Reopen()
		p.Reopen()
		p.stays("after a rebuild", said)
		p.keeps("after a rebuild", measured)
		p.takeOver()
		p.agrees("after a rebuild")
	})
}
