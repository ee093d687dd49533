package round_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/journal"
	"bayround/internal/recordfile"
	"bayround/internal/round"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// size is how many events a station's record holds.
func (o *ofRecord) size() (events uint64) {
	o.T.Helper()
	must(o.T, o.Events(context.Background(), 1, func(*pb.JournalEvent) error { events++; return nil }))
	return events
}

// copied waits until the tablet holds everything of the station's record, and
// compares.
func (b *tablet) copied(o *ofRecord) {
	b.T.Helper()
	b.await("the whole record to be copied", func() bool { return b.up.Copied() == o.size() })
	b.stop() // everything is on disk then
	defer b.start()
	var want bytes.Buffer
	b.must(o.exported(&want))
	if got := b.copyOf(); !slices.EqualFunc(got, recordsOf(b.T, want.Bytes()), bytes.Equal) {
		b.T.Errorf("%s: the copy holds %d events and is not the station's record of %d", b.device, len(got), o.size())
	}
}

// exported writes the station's record.
func (o *ofRecord) exported(to *bytes.Buffer) error {
	var parts []*pb.RecordPart
	err := o.ExportRecord(context.Background(), &pb.ExportRecordRequest{}, func(m *pb.ExportRecordResponse) error {
		parts = append(parts, m.GetPart())
		return nil
	})
	if err != nil {
		return err
	}
	w, err := recordfile.NewWriter(to, parts[0].GetHead())
	for _, part := range parts[1 : len(parts)-1] {
		if err == nil {
			err = w.Command(part.GetCommand())
		}
	}
	return err
}

// recordsOf are the events of a file, which may be cut.
func recordsOf(t testing.TB, file []byte) (records [][]byte) {
	t.Helper()
	r, err := recordfile.NewReader(bytes.NewReader(file))
	must(t, err)
	for {
		cmd, err := r.Next()
		if err != nil {
			return records
		}
		for _, ev := range cmd.GetEvents() {
			records = append(records, ev.GetRecord())
		}
	}
}

// segments are the files of the tablet's copy, oldest first.
func (b *tablet) segments() []string {
	b.T.Helper()
	names, err := filepath.Glob(filepath.Join(b.dir, "copy", "0*.record"))
	b.must(err)
	return names
}

// copyOf is what the tablet's copy holds.
func (b *tablet) copyOf() (records [][]byte) {
	b.T.Helper()
	for _, name := range b.segments() {
		file, err := os.ReadFile(name)
		b.must(err)
		records = append(records, recordsOf(b.T, file)...)
	}
	return records
}

// alarmed waits for an alarm, on the tablet and on the bay display, in these words.
func (b *tablet) alarmed(words string) {
	b.T.Helper()
	b.await("an alarm", func() bool { return b.up.Link().Alarm != "" && b.up.Bay().Alarm != "" })
	if alarm := b.up.Link().Alarm; !strings.Contains(alarm, words) || b.up.Bay().Alarm != alarm {
		b.T.Errorf("the alarm says %q, on the bay display %q; want %q in it", alarm, b.up.Bay().Alarm, words)
	}
}

// quiet makes sure that there is no alarm.
func (b *tablet) quiet() {
	b.T.Helper()
	if alarm := b.up.Link().Alarm; alarm != "" {
		b.T.Errorf("an alarm: %s", alarm)
	}
}

func TestWitness_AnHonestStationIsCopiedWhole(t *testing.T) {
	o := openOfRecord(t)
	b := newWitness(t, o.wire, "tablet-1")
	b.copied(o)
	name := b.begin(firstPump)
	b.answerAll(firstPump, name)
	b.sent()
	b.copied(o)
	o.RecordAll(secondPump, shiftCheck) // somebody else
	b.copied(o)
	o.restart()
	b.finish(name)
	b.sent()
	b.copied(o)
	b.quiet()
	if refused := b.up.Link().Refused; len(refused) > 0 {
		t.Errorf("refused: %v", refused)
	}
}

// What a power cut leaves half written is cut back, and goes on.
func TestWitness_ATornCopyGoesOn(t *testing.T) {
	o := openOfRecord(t)
	o.RecordAll(firstPump, shiftCheck)
	b := newWitness(t, o.wire, "tablet-1")
	b.copied(o)
	for _, tear := range []func(file []byte) []byte{
		func(file []byte) []byte { return file[:len(file)/2] },
		func(file []byte) []byte { return append(file, make([]byte, 100)...) },
		func(file []byte) []byte { return file[:20] }, // not even the head
		func([]byte) []byte { return nil },
		func(file []byte) []byte { file[len(file)/3] ^= 1; return file },
	} {
		b.stop()
		names := b.segments()
		newest := names[len(names)-1]
		file, err := os.ReadFile(newest)
		b.must(err)
		b.must(os.WriteFile(newest, tear(file), 0o600))
		b.start()
		o.RecordAll(secondPump, shiftCheck)
		b.copied(o)
	}
	b.quiet()
}

// A station that was set back to a copy and takes nothing since is given back what
// it lost, quietly; what is recorded meanwhile waits.
func TestWitness_AStationThatIsBehindIsOfferedTheCopy(t *testing.T) {
	o := openOfRecord(t)
	o.keepCopy()
	b := newWitness(t, o.wire, "tablet-1")
	name := b.begin(firstPump)
	b.answer(name, stationtest.Seen(windscreen, "03"))
	b.sent()
	b.copied(o)
	had := o.size()
	o.restoreCopy()
	offered := filepath.Join(o.Dir(), station.RefillFolder, "tablet-1.record")
	b.await("the copy to be offered", func() bool { _, err := os.Stat(offered); return err == nil })
	b.answer(name, stationtest.Seen(windscreen, "sound"))
	f, err := os.Open(offered)
	b.must(err)
	defer f.Close()
	if report, err := recordfile.Verify(f); err != nil || report.Last != had || report.Checkpoint == "" {
		t.Errorf("offered: %v, %v; want everything up to event %d", report, err, had)
	}
	if o.size() >= had {
		t.Errorf("the station took %d events before it was repaired; it had %d", o.size(), had)
	}
	if link := b.up.Link(); link.Pending == 0 || len(link.Refused) > 0 {
		t.Errorf("%d commands wait, refused: %v; want what was recorded to wait", link.Pending, link.Refused)
	}
	b.quiet()
}

// A station that was set back and went on differently is an alarm, which stays until
// somebody has decided, over a restart too. Meanwhile nothing is sent.
func TestWitness_AForkIsAnAlarm(t *testing.T) {
	o := openOfRecord(t)
	o.keepCopy()
	b := newWitness(t, o.wire, "tablet-1")
	name := b.begin(firstPump)
	b.answer(name, stationtest.Seen(windscreen, "03"))
	b.sent()
	b.copied(o)
	o.halt(func() {
		o.Close()
		o.Kit = stationtest.OpenWith(o.T, nil, station.Options{Dir: o.copied, Defaults: stationtest.Small()})
		for range 3 {
			o.RecordAll(secondPump, shiftCheck)
		}
	})
	before := len(driven(t, o.Station))
	b.alarmed("not the one this tablet saw before")
	b.answer(name, stationtest.Seen(windscreen, "sound"))
	b.restart()
	b.alarmed("not the one this tablet saw before")
	if after := len(driven(t, o.Station)); after != before || b.up.Link().Pending == 0 {
		t.Errorf("%d commands were sent during the alarm, %d wait", after-before, b.up.Link().Pending)
	}
	b.forget()
	b.await("the alarm to end", func() bool { return b.up.Link().Alarm == "" && b.up.Bay().Alarm == "" })
	b.sent()
	b.copied(o)
	if aside, err := filepath.Glob(filepath.Join(b.dir, "copy-aside-*")); err != nil || len(aside) != 1 {
		t.Errorf("put aside of what was seen before: %v, %v; want the former copy", aside, err)
	}
}

// forget has the tablet forget its station.
func (b *tablet) forget() {
	b.T.Helper()
	if aside, err := round.ForgetStation(b.dir, time.Now()); err != nil || aside == "" {
		b.T.Fatalf("forgetting the station: %q, %v", aside, err)
	}
}

// Another station under the same address, or one with another key, is an alarm, too.
func TestWitness_AnotherStationIsAnAlarm(t *testing.T) {
	o := openOfRecord(t)
	b := newWitness(t, o.wire, "tablet-1")
	name := b.begin(firstPump)
	b.sent()
	b.copied(o)
	o.replace()
	b.alarmed("not the one this tablet knows")
	if sent := len(driven(t, o.Station)); sent > 0 {
		t.Errorf("%d commands were sent to a station that nobody knows", sent)
	}
	b.forget()
	b.answer(name, stationtest.Seen(windscreen, "sound"))
	b.sent()
	b.copied(o)
	b.quiet()
	sameRecord(t, b.Station, o.Station)
}

func TestForgetStation_OfATabletThatKnowsNone(t *testing.T) {
	if aside, err := round.ForgetStation(t.TempDir(), time.Now()); err != nil || aside != "" {
		t.Errorf("%q, %v", aside, err)
	}
}

// acceptLoss writes into a record that is served by nobody that a person has accepted
// the loss of what a checkpoint counts more.
func acceptLoss(t testing.TB, dir, checkpoint string) {
	t.Helper()
	j, err := journal.Open(context.Background(), journal.Options{Dir: dir})
	must(t, err)
	kept := j.Size()
	const id = "loss-accepted"
	_, err = j.Append(context.Background(), journal.Command{ID: id}, func(next uint64) (journal.Entry, error) {
		record, err := proto.Marshal(&pb.JournalEvent{
			Sequence: int64(next), CommandId: id, StationTime: timestamppb.Now(), Schema: 1,
			Event: &pb.JournalEvent_RecordLossAccepted{RecordLossAccepted: &pb.RecordLossAccepted{
				KnownCheckpoint: checkpoint, KeptEvents: int64(kept), Reason: "the disk was replaced",
			}},
		})
		return journal.Entry{Events: [][]byte{record}}, err
	})
	must(t, err)
	must(t, j.Close())
}

// A loss that a person has accepted is told, and is no alarm: what was lost is put
// aside, the copy goes on from what is left, and everything here is sent again.
func TestWitness_AnAcceptedLossIsTold(t *testing.T) {
	o := openOfRecord(t)
	o.keepCopy()
	b := newWitness(t, o.wire, "tablet-1")
	name := b.begin(firstPump)
	b.answer(name, stationtest.Seen(windscreen, "03"))
	b.sent()
	b.copied(o)
	had, others := o.size(), 0
	newest, err := o.GetCheckpoint(context.Background(), &pb.GetCheckpointRequest{})
	b.must(err)
	o.halt(func() {
		o.Close()
		acceptLoss(t, o.copied, newest.GetCheckpoint())
		o.Kit = stationtest.OpenWith(o.T, nil, station.Options{Dir: o.copied, Defaults: stationtest.Small()})
		for o.size() <= had { // what others recorded has brought it further already
			o.RecordAll(secondPump, shiftCheck)
		}
		others = len(driven(t, o.Station))
	})
	b.await("the loss to be told", func() bool { return strings.Contains(b.up.Link().Loss, "the disk was replaced") })
	b.sent()
	b.copied(o)
	b.quiet()
	if got, want := len(driven(t, o.Station))-others, len(driven(t, b.Station)); got != want {
		t.Errorf("the station was given %d commands again, the tablet has %d", got, want)
	}
	lost, err := filepath.Glob(filepath.Join(b.dir, "copy", "lost-*.record"))
	if err != nil || len(lost) != 1 {
		t.Fatalf("put aside of what was lost: %v, %v", lost, err)
	}
	file, err := os.ReadFile(lost[0])
	b.must(err)
	if got := len(recordsOf(t, file)); got == 0 || uint64(got) >= had {
		t.Errorf("%d events of %d were put aside", got, had)
	}
	b.up.Dismiss(round.LossID)
	if words := b.up.Link().Loss; words != "" {
		t.Errorf("after it was read it is still told: %s", words)
	}
}

// Whoever was erased at the station is erased in the tablet's copy, too, and the copy
// still proves itself.
func TestWitness_WhoWasErasedIsErasedInTheCopy(t *testing.T) {
	o := openOfRecord(t)
	b := newWitness(t, o.wire, "tablet-1")
	b.copied(o)
	tells := func() (found bool) {
		for _, name := range b.segments() {
			file, err := os.ReadFile(name)
			b.must(err)
			found = found || bytes.Contains(file, []byte("Other Driver"))
		}
		return found
	}
	if !tells() {
		t.Fatal("the copy does not tell who people/other is to begin with")
	}
	_, err := o.ErasePerson(context.Background(), &pb.ErasePersonRequest{RequestId: o.ID(), Person: "people/other", By: "people/mechanic", Reason: "left the service"})
	b.must(err)
	b.copied(o)
	if tells() {
		t.Error("the copy still tells who people/other was")
	}
	o.RecordAll(firstPump, shiftCheck)
	b.copied(o)
	b.quiet()
}
