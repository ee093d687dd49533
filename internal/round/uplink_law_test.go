package round_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	"bayround/internal/round"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// morning is a driver at a tablet, and what befalls the wire and the machines meanwhile.
type morning struct {
	*tablet
	rt   *rapid.T
	o    *ofRecord
	open []string // rounds that have not ended
}

// act is one thing that happens.
func (m *morning) act() {
	switch rapid.SampledFrom([]string{
		"answer", "answer", "answer", "answer", "open", "finish", "begin a step", "turnout",
		"cut", "heal", "flicker", "reset", "held", "black hole", "mute", "broken off",
		"station restarts", "tablet restarts", "place lost",
	}).Draw(m.rt, "act") {
	case "open":
		m.open = append(m.open, m.begin(rapid.SampledFrom([]string{firstPump, secondPump}).Draw(m.rt, "vehicle")))
	case "answer":
		m.inARound(func(name string) {
			for range rapid.IntRange(1, 4).Draw(m.rt, "answers") {
				m.answer(name, stationtest.Seen(windscreen, rapid.SampledFrom([]string{"sound", "01", "02", "03"}).Draw(m.rt, "seen")))
			}
		})
	case "finish":
		m.inARound(func(name string) {
			m.makeSafe(name)
			m.finish(name)
			m.open = m.open[:len(m.open)-1]
		})
	case "begin a step":
		m.inARound(func(name string) {
			m.command(&pb.BeginStepRequest{RequestId: uuid.NewString(), Round: name, StepId: pumpStep, DeviceTime: timestamppb.Now()})
		})
	case "turnout":
		m.inARound(func(name string) {
			m.command(&pb.PauseRoundRequest{RequestId: uuid.NewString(), Round: name, Turnout: true, DeviceTime: timestamppb.Now()})
			m.makeSafe(name)
			m.command(&pb.ResumeRoundRequest{RequestId: uuid.NewString(), Round: name, DeviceTime: timestamppb.Now()})
		})
	case "cut":
		m.o.wire.Cut()
	case "heal":
		m.o.wire.Heal()
	case "flicker":
		m.o.wire.Cut()
		m.o.wire.Heal()
	case "reset":
		m.o.wire.Reset()
	case "held":
		m.o.wire.Hold()
	case "black hole":
		m.o.wire.Swallow()
	case "mute":
		m.o.wire.Mute()
	case "broken off":
		m.o.wire.BreakAfter(rapid.IntRange(0, 4000).Draw(m.rt, "after bytes"))
	case "station restarts":
		m.o.restart()
	case "tablet restarts":
		m.restart()
	case "place lost":
		m.stop()
		must(m.T, os.RemoveAll(filepath.Join(m.dir, round.PlaceName)))
		m.start()
	}
}

// inARound does something in the round opened last, when there is one.
func (m *morning) inARound(do func(name string)) {
	if len(m.open) > 0 {
		do(m.open[len(m.open)-1])
	}
}

func (m *morning) makeSafe(name string) {
	m.command(&pb.MakeSafeRequest{RequestId: uuid.NewString(), Round: name, StepIds: []string{pumpStep}, DeviceTime: timestamppb.Now()})
}

// Whatever is cut, restarted or lost, and whenever: everything recorded on the
// tablet reaches the station once, in order, under its ids and times.
func TestUplink_WhateverBefallsItEverythingArrivesOnce(t *testing.T) {
	t.Parallel() // it waits more than it works
	rapid.Check(t, func(rt *rapid.T) {
		well := t.Run("morning", func(t *testing.T) { // so that everything is closed after each
			o := openOfRecord(t)
			m := &morning{tablet: newTablet(t, o.wire, "tablet-1"), rt: rt, o: o}
			for range rapid.IntRange(1, 8).Draw(rt, "acts") {
				m.act()
			}
			o.wire.Heal()
			m.sent()
			sameRecord(t, m.Station, o.Station)
			if l := m.up.Link(); l.Pending != 0 || len(l.Refused) != 0 {
				t.Errorf("at the end: %+v", l)
			}
		})
		if !well {
			rt.FailNow()
		}
	})
}
