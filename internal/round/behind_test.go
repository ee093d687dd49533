package round_test

import (
	"slices"
	"testing"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// While the station's record is behind a tablet records and judges on, keeps what
// it cannot send, says why, and takes nothing over. When the record is whole again
// everything is sent.
func TestUplink_WaitsForAStationWhoseRecordIsBehind(t *testing.T) {
	o := openOfRecord(t)
	b := newTablet(t, o.wire, "tablet-1")
	name := b.begin(firstPump)
	b.answer(name, stationtest.Seen(windscreen, "sound"))
	b.sent()
	var repair func()
	o.halt(func() {
		repair = o.Lose(func() { o.OpenRound(secondPump, shiftCheck) })
	})
	b.await("the tablet to know that the record is behind", func() bool { return b.up.Link().Record != "" })
	refused := o.refusals()
	b.answerAll(firstPump, name)
	b.await("what was recorded to be counted, sent and refused", func() bool { return b.up.Link().Pending > 0 && o.refusals() > refused })
	if l := b.up.Link(); len(l.Refused) > 0 || l.Record == "" {
		t.Errorf("%d wait, %d were given up, the record is said to be %q", l.Pending, len(l.Refused), l.Record)
	}
	if v := b.Readiness(firstPump).GetVerdict(); v != pb.Verdict_VERDICT_FIT {
		t.Errorf("the tablet's own verdict is %v, want it to go on", v)
	}
	b.await("the display to show that nobody knows", func() bool { // what was heard is there a moment later
		return !slices.ContainsFunc(b.up.Bay().Vehicles, func(r *pb.Readiness) bool {
			return r.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN || r.GetReasons()[0].GetRecord() == nil
		})
	})
	o.halt(repair)
	b.sent()
	b.await("the tablet to hear that the record is whole", func() bool { return b.up.Link().Record == "" }) // what was recorded may be taken before
	if l := b.up.Link(); len(l.Refused) > 0 {
		t.Errorf("after the repair: %+v", l)
	}
	if v := o.Readiness(firstPump).GetVerdict(); v != pb.Verdict_VERDICT_FIT {
		t.Errorf("the station's verdict is %v after everything was sent", v)
	}
}
