package round_test

import (
	"context"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// comparable is a readiness without times and numbers, and without the order that
// follows from them: a twin keeps those under which it recorded things itself.
func comparable(r *pb.Readiness) *pb.Readiness {
	r = proto.CloneOf(r)
	r.Sequence, r.DueNext = 0, nil
	for _, one := range r.GetRounds() {
		one.Sequence = 0
	}
	slices.SortFunc(r.GetRounds(), func(a, b *pb.Round) int { return strings.Compare(a.GetName(), b.GetName()) })
	timeless(r.ProtoReflect())
	return r
}

// timeless clears every instant in a message.
func timeless(m protoreflect.Message) {
	instant := (*timestamppb.Timestamp)(nil).ProtoReflect().Descriptor().FullName()
	m.Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		switch {
		case field.Message() == nil || field.IsMap():
		case field.Message().FullName() == instant:
			m.Clear(field)
		case field.IsList():
			for i := range value.List().Len() {
				timeless(value.List().Get(i).Message())
			}
		default:
			timeless(value.Message())
		}
		return true
	})
}

// agree waits until tablets say of every vehicle what the station says.
func agree(o *ofRecord, tablets ...*tablet) {
	o.T.Helper()
	for _, b := range tablets {
		b.sent()
	}
	for _, b := range tablets {
		for _, v := range []string{firstPump, secondPump} {
			want := comparable(o.Readiness(v))
			b.awaitTwin(v, func() string { return cmp.Diff(want, comparable(b.said(v)), protocmp.Transform()) })
		}
	}
}

// said is what the tablet itself says of a vehicle; empty when it does not know it.
func (b *tablet) said(vehicle string) *pb.Readiness {
	resp, err := b.GetReadiness(context.Background(), &pb.GetReadinessRequest{Vehicle: vehicle})
	if err != nil {
		return &pb.Readiness{}
	}
	return resp.GetReadiness()
}

// A new tablet with an empty record learns everything from the station.
func TestUplink_ANewTabletTakesEverythingOver(t *testing.T) {
	o := openOfRecord(t)
	o.Record(o.RecordAll(firstPump, shiftCheck), stationtest.Seen(windscreen, "01"))
	b := openTablet(t, o.wire, "tablet-2", nil)
	agree(o, b)
	if d := b.Readiness(firstPump).GetOpenDefects(); len(d) != 1 {
		t.Errorf("the new tablet knows of %d defects, want the cracked windscreen", len(d))
	}
	if b.up.Bay().Station != "Quay" || len(b.up.Bay().Titles) != 2 {
		t.Errorf("the bay does not know what was taken over: %+v", b.up.Bay())
	}
}

func TestUplink_TwoTabletsOnOneVehicle(t *testing.T) {
	o := openOfRecord(t)
	first, second := newTablet(t, o.wire, "tablet-1"), newTablet(t, o.wire, "tablet-2")
	ours, theirs := first.begin(firstPump), second.begin(firstPump)
	first.answerAll(firstPump, ours)
	second.answer(theirs, stationtest.Seen(windscreen, "01"))
	first.answer(ours, stationtest.Seen(pumpStep, "01"))
	agree(o, first, second)
	o.wire.Cut()
	second.answer(theirs, stationtest.Seen(pumpStep, "sound"))
	first.answer(ours, stationtest.Seen(windscreen, "02"))
	first.finish(ours)
	second.answer(theirs, stationtest.Seen(windscreen, "03"))
	o.wire.Heal()
	agree(o, first, second)
	if v := o.Readiness(firstPump).GetVerdict(); v != pb.Verdict_VERDICT_UNFIT {
		t.Errorf("the newest look was at a shattered windscreen, and the verdict is %v", v)
	}
}

// A tablet that broke in the middle of a round: another one goes on with it from
// what reached the server.
func TestUplink_AnotherTabletGoesOnWithARound(t *testing.T) {
	o := openOfRecord(t)
	broken := newTablet(t, o.wire, "tablet-1")
	name := broken.begin(firstPump)
	broken.answer(name, stationtest.Seen(windscreen, "sound"))
	broken.sent()
	broken.stop()
	b := newTablet(t, o.wire, "tablet-2")
	agree(o, b)
	for _, step := range b.Plan(firstPump, shiftCheck).GetSteps() {
		if step.GetStepId() != windscreen {
			b.answer(name, stationtest.Sound(step))
		}
	}
	b.finish(name)
	agree(o, b)
	if v := o.Readiness(firstPump).GetVerdict(); v != pb.Verdict_VERDICT_FIT {
		t.Errorf("the round was ended by another tablet, and the verdict is %v", v)
	}
	resp, err := o.GetRound(t.Context(), &pb.GetRoundRequest{Name: name})
	if err != nil || resp.GetRound().GetState() != pb.RoundState_ROUND_STATE_FINISHED {
		t.Errorf("the round is %v, %v", resp, err)
	}
}

// What others put in force reaches the tablet while it is connected.
func TestUplink_TakesOverWhatIsPutInForce(t *testing.T) {
	o := openOfRecord(t)
	b := newTablet(t, o.wire, "tablet-1")
	agree(o, b)
	o.ApplyAltered("call_sign: Q1", "call_sign: Q7")
	agree(o, b)
	if b.Readiness(firstPump).GetCallSign() != "Q7" {
		t.Errorf("the call sign is %s", b.Readiness(firstPump).GetCallSign())
	}
}

// While somebody has a turn nothing is taken over: what is done in it would be
// hidden by a standing that was fetched before.
func TestUplink_TakesNothingOverInATurn(t *testing.T) {
	o := openOfRecord(t)
	b := newTablet(t, o.wire, "tablet-1")
	agree(o, b)
	done := b.up.Turn()
	before := newestEvent(t, b)
	o.Record(o.RecordAll(firstPump, shiftCheck), stationtest.Seen(windscreen, "03"))
	for !b.up.TakeoverWaits() { // with a standing that it has fetched
		runtime.Gosched()
	}
	name := "rounds/" + uuid.NewString()
	must(t, carry(b.Station, &pb.OpenRoundRequest{
		Round: name, Vehicle: firstPump, Routine: shiftCheck, Driver: "people/driver", Device: b.device, DeviceTime: timestamppb.Now(),
	}))
	if now := newestEvent(t, b); now != before+1 {
		t.Errorf("%d events happened in a turn of one command", now-before)
	}
	done()
	agree(o, b)
	if got := b.Readiness(firstPump).GetRounds(); len(got) != 2 || got[0].GetName() != name && got[1].GetName() != name {
		t.Errorf("the round opened in the turn is lost: %v", got)
	}
	must(t, b.Events(t.Context(), 1, func(ev *pb.JournalEvent) error {
		for _, r := range ev.GetStandingAdopted().GetRounds() {
			if r.GetRound().GetName() == name && r.GetRound().GetState() != pb.RoundState_ROUND_STATE_OPEN {
				t.Errorf("what was fetched before the round was opened has ended it: %v", ev)
			}
		}
		return nil
	}))
}

func newestEvent(t testing.TB, b *tablet) (sequence int64) {
	t.Helper()
	must(t, b.Events(context.Background(), 1, func(ev *pb.JournalEvent) error {
		sequence = ev.GetSequence()
		return nil
	}))
	return sequence
}

// A station that was restored from an older copy gets back from the tablets what
// it has lost.
func TestUplink_FillsARestoredStation(t *testing.T) {
	for _, tc := range []struct {
		why     string
		restore func(o *ofRecord)
	}{
		{"from a copy of its journal", func(o *ofRecord) { o.restoreCopy() }},
		{"with a new journal", func(o *ofRecord) { o.replace() }},
	} {
		t.Run(tc.why, func(t *testing.T) {
			o := openOfRecord(t)
			o.keepCopy()
			b := newTablet(t, o.wire, "tablet-1")
			name := b.begin(firstPump)
			b.answer(name, stationtest.Seen(windscreen, "03"))
			b.sent()
			b.await("the station's verdict", func() bool { return b.up.Station(firstPump).GetVerdict() == pb.Verdict_VERDICT_UNFIT })
			tc.restore(o)
			b.await("everything to be sent again", func() bool { return len(driven(t, o.Station)) == 2 })
			b.await("the station", b.up.Live)
			sameRecord(t, b.Station, o.Station)
			b.answer(name, stationtest.Seen(windscreen, "sound"))
			b.sent()
			sameRecord(t, b.Station, o.Station)
		})
	}
}

// Another journal is told by its name, also when it has come further than the
// one before.
func TestUplink_FillsAStationThatIsAlreadyFurther(t *testing.T) {
	o := openOfRecord(t)
	b := newTablet(t, o.wire, "tablet-1")
	name := b.begin(firstPump)
	b.answer(name, stationtest.Seen(windscreen, "03"))
	b.sent()
	o.halt(func() {
		o.Close()
		o.Kit = openSmall(t, stationtest.Small())
		o.RecordAll(secondPump, shiftCheck)
	})
	theirs := len(driven(t, o.Station))
	b.await("everything to be sent again", func() bool { return len(driven(t, o.Station)) == theirs+2 })
	if diff := cmp.Diff(driven(t, b.Station), driven(t, o.Station)[theirs:], protocmp.Transform()); diff != "" {
		t.Errorf("what was sent again (-tablet +station):\n%s", diff)
	}
	agree(o, b)
}
