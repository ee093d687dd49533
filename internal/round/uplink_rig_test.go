package round_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/catalogue"
	"bayround/internal/photo"
	"bayround/internal/round"
	"bayround/internal/rpc"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

const (
	firstPump  = "vehicles/p1"
	secondPump = "vehicles/p2"
	shiftCheck = "routines/shift"
	windscreen = "GLA-010/windscreen"
	pumpStep   = "PMP-010/pump"
)

// ofRecord is a station of record behind a wire.
type ofRecord struct {
	*stationtest.Kit
	served *stationtest.Served
	wire   *stationtest.Proxy
	copied string // directory of a copy
	photos string // folder of photos; empty when it keeps none
	calls  *prometheus.Registry
}

// openOfRecord opens a small station and serves it; oldNew are texts to be
// replaced in its configuration.
func openOfRecord(t testing.TB, oldNew ...string) *ofRecord {
	t.Helper()
	o := &ofRecord{Kit: openSmall(t, altered(t, oldNew...)), photos: t.TempDir()}
	o.serve()
	o.wire = stationtest.NewProxy(t, o.served.Address)
	return o
}

// serve serves the station as it is now, with its photos.
func (o *ofRecord) serve() {
	o.T.Helper()
	o.calls = prometheus.NewRegistry()
	o.served = stationtest.Serve(o.T, o.Kit.Station, rpc.Options{StopAfter: time.Millisecond, Photos: openPhotos(o.T, o.photos), Metrics: o.calls})
}

// refusals counts the calls that were refused because something else must come
// first, since it was last started.
func (o *ofRecord) refusals() (n int) {
	o.T.Helper()
	families, err := o.calls.Gather()
	must(o.T, err)
	for _, family := range families {
		for _, m := range family.GetMetric() {
			for _, l := range m.GetLabel() {
				if family.GetName() == "bayround_calls_total" && l.GetValue() == "FailedPrecondition" {
					n += int(m.GetCounter().GetValue())
				}
			}
		}
	}
	return n
}

// openPhotos opens a folder of photos; no folder, no store.
func openPhotos(t testing.TB, dir string) *photo.Store {
	t.Helper()
	if dir == "" {
		return nil
	}
	store, err := photo.Open(photo.Options{Dir: dir})
	must(t, err)
	return store
}

// altered is the small configuration with texts replaced, old and new in turn.
func altered(t testing.TB, oldNew ...string) []catalogue.File {
	t.Helper()
	files := stationtest.Small()
	for i := 0; i < len(oldNew); i += 2 {
		before := files[0].Content
		if files[0].Content = bytes.ReplaceAll(before, []byte(oldNew[i]), []byte(oldNew[i+1])); bytes.Equal(before, files[0].Content) {
			t.Fatalf("the small configuration has no %q", oldNew[i])
		}
	}
	return files
}

func openSmall(t testing.TB, files []catalogue.File) *stationtest.Kit {
	t.Helper()
	return stationtest.OpenWith(t, nil, station.Options{Dir: t.TempDir(), Defaults: files})
}

// restart stops the station in the middle of whatever it does and starts it anew
// on the same journal.
func (o *ofRecord) restart() {
	o.T.Helper()
	o.halt(func() { o.Reopen() })
}

// halt cuts the station off in the middle of whatever it does, and serves it again
// once something was done.
func (o *ofRecord) halt(meanwhile func()) {
	o.T.Helper()
	o.wire.Cut()
	o.served.Server.Stop(context.Background())
	meanwhile()
	o.serve()
	o.wire.Lead(o.served.Address)
	o.wire.Heal()
}

// keepCopy copies the station's directory, as a back-up does.
func (o *ofRecord) keepCopy() {
	o.T.Helper()
	o.copied = filepath.Join(o.T.TempDir(), "copy")
	o.halt(func() {
		o.Close()
		must(o.T, os.CopyFS(o.copied, os.DirFS(o.Dir())))
		o.Kit = stationtest.OpenWith(o.T, nil, station.Options{Dir: o.Dir(), Defaults: stationtest.Small()})
	})
}

// restoreCopy lets the station go on from the copy.
func (o *ofRecord) restoreCopy() { o.moveTo(o.copied) }

// replace lets another station, with nothing but the configuration, take its place.
func (o *ofRecord) replace() {
	o.photos = o.T.TempDir()
	o.moveTo(o.T.TempDir())
}

func (o *ofRecord) moveTo(dir string) {
	o.T.Helper()
	o.halt(func() {
		o.Close()
		o.Kit = stationtest.OpenWith(o.T, nil, station.Options{Dir: dir, Defaults: stationtest.Small()})
	})
}

// tablet is a twin with its uplink.
type tablet struct {
	*stationtest.Kit
	up     *round.Uplink
	conn   grpc.ClientConnInterface
	ended  chan error // what Run returned, then closed
	device string
	dir    string
	photos string // folder of what its camera took; empty when it takes none

	witness  bool             // it holds the station to its record
	wall     func() time.Time // what the tablet's clock shows; nil for time.Now
	right    *round.Clock     // nil where that is right
	patience time.Duration    // of await; 0 for two minutes
}

// newTablet makes a tablet that knows the small station already. Its uplink runs
// until the test ends.
func newTablet(t testing.TB, w *stationtest.Proxy, device string) *tablet {
	t.Helper()
	return openTablet(t, w, device, stationtest.Small())
}

// newWitness is newTablet for one that holds the station to its record.
func newWitness(t testing.TB, w *stationtest.Proxy, device string) *tablet {
	t.Helper()
	return openTablet(t, w, device, stationtest.Small(), func(b *tablet) { b.witness = true })
}

// openTablet makes a tablet that knows what stands in files.
func openTablet(t testing.TB, w *stationtest.Proxy, device string, files []catalogue.File, with ...func(*tablet)) *tablet {
	t.Helper()
	b := &tablet{Kit: openSmall(t, files), device: device, dir: t.TempDir(), photos: t.TempDir()}
	conn, err := rpc.Dial(w.Address())
	if err != nil {
		t.Fatal(err)
	}
	b.conn = conn
	t.Cleanup(func() { _ = conn.Close() })
	for _, f := range with {
		f(b)
	}
	b.start()
	t.Cleanup(b.stop)
	return b
}

// start opens the uplink and lets it run.
func (b *tablet) start() {
	b.T.Helper()
	up, err := round.OpenUplink(round.Config{Twin: b.Station, Conn: b.conn, Device: b.device, Dir: b.dir, Photos: openPhotos(b.T, b.photos), Clock: b.wall, Right: b.right, Witness: b.witness})
	b.must(err)
	ended := make(chan error, 1) // the field belongs to the test; by the close it may be another's
	b.up, b.ended = up, ended
	go func() {
		ended <- up.Run(context.Background())
		close(ended)
	}()
}

// stop ends the uplink.
func (b *tablet) stop() {
	b.T.Helper()
	if err := b.up.Close(); err != nil {
		b.T.Errorf("closing the uplink: %v", err)
	}
	if err := <-b.ended; err != nil {
		b.T.Errorf("the uplink ended with %v", err)
	}
}

// restart ends the uplink and starts another one on the same twin.
func (b *tablet) restart() {
	b.T.Helper()
	b.stop()
	b.start()
}

// begin opens a round on the tablet.
func (b *tablet) begin(vehicle string) (name string) {
	b.T.Helper()
	defer b.up.Turn()()
	name = "rounds/" + uuid.NewString()
	_, err := b.Station.OpenRound(context.Background(), &pb.OpenRoundRequest{
		Round: name, Vehicle: vehicle, Routine: shiftCheck, Driver: "people/driver", Device: b.device, DeviceTime: timestamppb.Now(),
	})
	b.must(err)
	return name
}

// answer records a result on the tablet.
func (b *tablet) answer(round string, r *pb.Result) *pb.RecordResultResponse {
	b.T.Helper()
	defer b.up.Turn()()
	r = proto.CloneOf(r)
	r.ResultId, r.Person, r.Device, r.DeviceTime = uuid.NewString(), "people/driver", b.device, timestamppb.Now()
	resp, err := b.RecordResult(context.Background(), &pb.RecordResultRequest{Round: round, Result: r})
	b.must(err)
	return resp
}

// answerAll answers every step of a round soundly.
func (b *tablet) answerAll(vehicle, round string) {
	b.T.Helper()
	for _, step := range b.Plan(vehicle, shiftCheck).GetSteps() {
		b.answer(round, stationtest.Sound(step))
	}
}

// command carries out any command of a driver's on the tablet.
func (b *tablet) command(request proto.Message) {
	b.T.Helper()
	defer b.up.Turn()()
	b.must(carry(b.Station, request))
}

func (b *tablet) finish(round string) {
	b.T.Helper()
	defer b.up.Turn()()
	_, err := b.FinishRound(context.Background(), &pb.FinishRoundRequest{
		RequestId: uuid.NewString(), Round: round, Note: "all done", DeviceTime: timestamppb.Now(), ShownVerdict: pb.Verdict_VERDICT_FIT,
	})
	b.must(err)
}

func (b *tablet) must(err error) {
	b.T.Helper()
	if err != nil {
		b.T.Fatal(err)
	}
}

// await waits until something is so, looking whenever the uplink has changed.
func (b *tablet) await(what string, so func() bool) {
	b.T.Helper()
	stuck := time.NewTimer(max(b.patience, 2*time.Minute)) // only so that a failure says what it waited for
	defer stuck.Stop()
	for {
		changed, bay := b.up.Changed(), b.up.BayChanged()
		if so() {
			return
		}
		select {
		case <-changed:
		case <-bay:
		case <-stuck.C:
			b.T.Fatalf("%s: waited in vain for %s; %+v", b.device, what, b.up.Link())
		}
	}
}

// awaitTwin waits until a vehicle on the tablet itself differs no more from what
// it should be. Whatever is recorded or taken over makes the twin's watch speak.
func (b *tablet) awaitTwin(vehicle string, difference func() string) {
	b.T.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute) // only so that a failure says what it waited for
	defer cancel()
	left := ""
	err := b.Watch(ctx, nil, func(*pb.WatchReadinessResponse) error {
		if left = difference(); left == "" {
			return errSo
		}
		return nil
	})
	if !errors.Is(err, errSo) {
		b.T.Fatalf("%s says of %s something else than the station, %v (-station +twin):\n%s", b.device, vehicle, err, left)
	}
}

// errSo ends a watch.
var errSo = errors.New("it is so")

// sent waits until the twin's whole record has reached the station.
func (b *tablet) sent() {
	b.T.Helper()
	var newest int64
	err := b.Events(context.Background(), 1, func(ev *pb.JournalEvent) error {
		if _, request := round.CommandOf(ev); request != nil {
			newest = ev.GetSequence()
		}
		return nil
	})
	b.must(err)
	b.await("everything to be sent", func() bool { return b.up.Acknowledged() >= newest })
}

// driven lists a station's driver's commands in the order of its journal.
func driven(t testing.TB, st *station.Station) (commands []proto.Message) {
	t.Helper()
	err := st.Events(context.Background(), 1, func(ev *pb.JournalEvent) error {
		if _, request := round.CommandOf(ev); request != nil {
			commands = append(commands, request)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return commands
}

// sameRecord holds the station's record against the tablet's: the same commands,
// each once, in the same order, under the same ids and device times.
func sameRecord(t testing.TB, tabletsOwn, ofRecord *station.Station) {
	t.Helper()
	want, got := driven(t, tabletsOwn), driven(t, ofRecord)
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Errorf("the station's record is not the tablet's (-tablet +station):\n%s", diff)
	}
}
