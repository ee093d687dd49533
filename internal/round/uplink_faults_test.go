package round_test

import (
	"context"
	"testing"

	"bayround/internal/stationtest"
)

// What the station did and could not say is sent again, and is there once. The
// tablet goes on counting it as not sent until it is told.
func TestUplink_AnswersThatNeverArriveDoubleNothing(t *testing.T) {
	o := openOfRecord(t)
	b := newTablet(t, o.wire, "tablet-1")
	name := b.begin(firstPump)
	b.sent()
	for _, restart := range []bool{false, true} {
		before := o.newest()
		o.wire.Mute()
		lost := o.wire.Lost()
		b.answer(name, stationtest.Seen(windscreen, "01"))
		must(t, o.Grown(context.Background(), before))
		<-lost // the answer, or something before it: of this connection nothing more arrives
		b.await("it to be counted", func() bool { return b.up.Pending(firstPump) == 1 })
		if restart {
			b.restart()
		}
		o.wire.Heal()
		b.sent()
		sameRecord(t, b.Station, o.Station)
	}
}

// newest is the newest event of the station's journal.
func (o *ofRecord) newest() int64 {
	o.T.Helper()
	return o.Readiness(firstPump).GetSequence()
}
