package round_test

import (
	"testing"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

func TestUplink_SendsWhatWasRecordedOffline(t *testing.T) {
	o := openOfRecord(t)
	o.wire.Cut()
	b := newTablet(t, o.wire, "tablet-1")
	name := b.begin(firstPump)
	b.answerAll(firstPump, name)
	b.finish(name)
	if b.Readiness(firstPump).GetVerdict() != pb.Verdict_VERDICT_FIT {
		t.Fatalf("judged offline: %v", b.Readiness(firstPump))
	}
	all := len(driven(t, b.Station))
	b.await("everything to be counted", func() bool { return b.up.Link().Pending == all && b.up.Pending(firstPump) == all })
	if b.up.Live() || b.up.Station(firstPump) != nil {
		t.Error("something was heard through a cut wire")
	}
	o.wire.Heal()
	b.sent()
	sameRecord(t, b.Station, o.Station)
	b.await("the station's verdict", func() bool { return b.up.Station(firstPump).GetVerdict() == pb.Verdict_VERDICT_FIT })
	if l := b.up.Link(); !l.Live || l.Pending != 0 || len(l.Refused) != 0 {
		t.Errorf("after everything was sent: %+v", l)
	}
}

func TestUplink_SendsAtOnceWhileLive(t *testing.T) {
	o := openOfRecord(t)
	b := newTablet(t, o.wire, "tablet-1")
	b.await("the station", b.up.Live)
	name := b.begin(firstPump)
	b.answer(name, stationtest.Seen(windscreen, "03"))
	b.await("what it means at the station", func() bool {
		return b.up.Station(firstPump).GetVerdict() == pb.Verdict_VERDICT_UNFIT
	})
	b.sent()
	sameRecord(t, b.Station, o.Station)
}

func TestUplink_GoesOnAfterTheStationWasRestarted(t *testing.T) {
	o := openOfRecord(t)
	b := newTablet(t, o.wire, "tablet-1")
	name := b.begin(firstPump)
	for i, step := range b.Plan(firstPump, shiftCheck).GetSteps() {
		b.answer(name, stationtest.Sound(step))
		if i%3 == 1 {
			o.restart()
		}
	}
	b.finish(name)
	b.sent()
	sameRecord(t, b.Station, o.Station)
}

// What is recorded is to be sent from the instant it counts, not from when somebody
// comes round to counting it.
func TestUplink_CountsAtOnceWhatWasRecorded(t *testing.T) {
	o := openOfRecord(t)
	b := newTablet(t, o.wire, "tablet-1")
	b.stop() // nothing counts beside the acts now, and nothing is sent
	name := b.begin(firstPump)
	if n := b.up.Pending(firstPump); n != 1 {
		t.Errorf("after the opening %d commands about the vehicle wait, want 1", n)
	}
	b.answer(name, stationtest.Seen(windscreen, "01"))
	if n := b.up.Link().Pending; n != 2 {
		t.Errorf("after the answer %d commands wait, want 2", n)
	}
}
