package round

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"

	"google.golang.org/grpc"

	"bayround/internal/access"
	"bayround/internal/photo"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// Config says what an uplink stands between.
type Config struct {
	// Twin is the tablet's own station; the caller closes it, after the uplink.
	Twin *station.Station
	// Conn leads to the station of record. Its errors must be faults, as those
	// of rpc.Dial are; the caller closes it, after the uplink.
	Conn grpc.ClientConnInterface
	// Device is what the tablet is called, for the log.
	Device string
	// Dir is where the uplink keeps how far it has come.
	Dir string
	// Photos holds what the tablet's camera took; nil when it takes no photos.
	Photos *photo.Store
	// Badges is given the station's key by which badges are hashed; nil when none are read.
	Badges *access.Badges
	// Clock is the tablet's clock, for what is shown; nil for time.Now. How long
	// nothing was heard is not told by it.
	Clock func() time.Time
	// Right puts that clock right by what the station says, and is told of it; nil
	// where the tablet's clock counts as it is.
	Right *Clock
	// Witness has the tablet hold the station to what it saw of its record, and keep
	// a copy of that in Dir.
	Witness bool
	// Log hears what people who run the tablet should know; nil for silence.
	Log *slog.Logger
}

// Uplink keeps a tablet's twin and the station of record together: it sends what
// was recorded on the tablet, in order and under the same ids, hears what the
// station knows of every vehicle, and takes over what others did. Its methods
// may be called from any goroutine.
type Uplink struct {
	twin    *station.Station
	badges  *access.Badges // nil when none are read
	photos  *photo.Store   // nil when there are none
	log     *slog.Logger
	clock   func() time.Time
	right   *Clock // nil where the tablet's clock counts as it is
	outbox  *outbox
	heard   *hearing
	changed *bell // what Link returns may differ
	arrived *bell // the station can be reached again
	adopt   adoption
	bay     board
	shelves shelves
	witness *recordWitness // nil when it holds the station to nothing

	rounds    pb.RoundServiceClient
	schedules pb.ScheduleServiceClient
	people    pb.PeopleServiceClient
	readiness pb.ReadinessServiceClient
	journal   pb.JournalServiceClient
	standings pb.TwinServiceClient
	pictures  pb.PhotoServiceClient
	defects   pb.DefectServiceClient
	stock     pb.StockServiceClient

	mu       sync.Mutex
	cancel   context.CancelFunc // guarded by mu: ends Run; nil while it does not run
	closed   bool               // guarded by mu
	recovery string             // guarded by mu: why nothing can be recorded or sent
	barred   string             // guarded by mu: why the station does not let this tablet in
	awaiting awaitedThere       // guarded by mu
	running  sync.WaitGroup     // counts Run
}

var _ interface { // what the desk asks of an uplink
	Upward
	turns
	walkTeller
	stopTeller
	stockTeller
	awaiter
} = (*Uplink)(nil)

// OpenUplink makes an uplink; Run brings it to life. A file of a newer program in
// Dir is refused.
func OpenUplink(c Config) (*Uplink, error) {
	u := &Uplink{
		twin: c.Twin, badges: c.Badges, photos: c.Photos, log: c.Log, clock: c.Clock, right: c.Right, changed: newBell(), arrived: newBell(),
		rounds: pb.NewRoundServiceClient(c.Conn), schedules: pb.NewScheduleServiceClient(c.Conn), people: pb.NewPeopleServiceClient(c.Conn), readiness: pb.NewReadinessServiceClient(c.Conn),
		journal: pb.NewJournalServiceClient(c.Conn), standings: pb.NewTwinServiceClient(c.Conn),
		pictures: pb.NewPhotoServiceClient(c.Conn), defects: pb.NewDefectServiceClient(c.Conn), stock: pb.NewStockServiceClient(c.Conn),
	}
	if u.log == nil {
		u.log = slog.New(slog.DiscardHandler)
	}
	u.log = u.log.With("device", c.Device)
	if u.clock == nil {
		u.clock = time.Now
	}
	if err := os.MkdirAll(c.Dir, 0o700); err != nil {
		return nil, fmt.Errorf("making the uplink's directory: %w", err)
	}
	var err error
	if u.outbox, err = openOutbox(context.Background(), c, u.log, u.changed); err != nil {
		return nil, err
	}
	if err := u.outbox.catchUp(context.Background()); err != nil {
		return nil, err
	}
	u.heard = newHearing(u.clock, u.fellSilent)
	if u.right != nil {
		u.clock, u.heard.clock = u.right.Now, u.right.Now // heard.device stays: it is what is off
	}
	if c.Witness {
		if u.witness, err = newWitness(c, u); err != nil {
			return nil, err
		}
	}
	u.adopt.init()
	u.bay.init()
	u.renew()
	return u, nil
}

// Run sends, listens and takes over until ctx ends or Close is called, and
// returns when all of it has ended; at once when it was closed before. It runs once.
func (u *Uplink) Run(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	u.mu.Lock()
	switch {
	case u.closed:
		u.mu.Unlock()
		return nil
	case u.cancel != nil:
		u.mu.Unlock()
		return errors.New("this uplink runs already")
	}
	u.cancel = cancel
	u.running.Add(1)
	u.mu.Unlock()
	defer u.running.Done()
	var parts sync.WaitGroup
	for _, part := range []func(context.Context){u.count, u.mind, u.keepClock, u.send, u.sendPhotos, u.listen, u.takeOver, u.attest} {
		parts.Go(func() { part(ctx) })
	}
	parts.Wait()
	u.heard.stop()
	return u.outbox.save()
}

// Close ends Run and waits for it. Calling it again does nothing.
func (u *Uplink) Close() error {
	u.mu.Lock()
	u.closed = true
	if u.cancel != nil {
		u.cancel()
	}
	u.mu.Unlock()
	u.running.Wait()
	return nil
}

// count keeps count of what is recorded on the tablet.
func (u *Uplink) count(ctx context.Context) {
	if err := u.outbox.follow(ctx); ctx.Err() == nil {
		u.fail("The tablet's own record cannot be read; nothing more can be recorded here. Start the tablet anew.", err)
	}
}

// mind says so when the twin can record nothing more.
func (u *Uplink) mind(ctx context.Context) {
	select {
	case <-ctx.Done():
	case <-u.twin.Failed():
		u.fail("This tablet could not write to its disk, so nothing can be recorded on it. Start it anew; everything recorded before is kept.", nil)
	}
}

// keepClock keeps how far the tablet's clock is off, also when it is set while the
// station is not heard.
func (u *Uplink) keepClock(ctx context.Context) {
	if u.right == nil {
		return
	}
	every := time.NewTicker(silence)
	defer every.Stop()
	for {
		select {
		case <-every.C:
		case <-ctx.Done():
		}
		if err := u.right.Keep(); err != nil {
			u.log.Error("how far the clock is off cannot be kept", "cause", err)
		}
		if ctx.Err() != nil {
			return
		}
	}
}

// hearClock tells the clock what the station's shows, and whether that is news.
func (u *Uplink) hearClock(station time.Time) bool { return u.right != nil && u.right.Heard(station) }

// knowsTime tells that what happens on the twin can be given its right time.
func (u *Uplink) knowsTime() bool { return u.right == nil || u.right.Known() }

// Link returns how the tablet stands to the station now.
func (u *Uplink) Link() Link {
	l := u.heard.link()
	l.Pending, l.Photos, l.Refused = u.counted().counts()
	if u.heard.behind() {
		l.Record = behindWords
	}
	u.mu.Lock()
	l.Recovery, l.Barred = u.recovery, u.barred
	u.mu.Unlock()
	alarm, notice := u.witness.say()
	l.Alarm, l.Loss = alarm.shown(), notice.shown()
	return l
}

// Changed is closed when what Link, Station or Pending return has changed.
func (u *Uplink) Changed() <-chan struct{} { return u.changed.rung() }

// Live tells whether the station was heard within the last five seconds.
func (u *Uplink) Live() bool { return u.heard.live() }

// Station returns the readiness of a vehicle as last heard from the station of
// record; nil when it never was. It must not be changed.
func (u *Uplink) Station(vehicle string) *pb.Readiness { return u.heard.state(vehicle) }

// Pending returns how many commands about a vehicle the station has not yet
// acknowledged.
func (u *Uplink) Pending(vehicle string) int {
	n, _ := u.counted().about(vehicle)
	return n
}

// counted is the outbox once it has counted all that the twin holds by now: beside the
// act, what is recorded would count on the glass before it counts as to be sent. Where
// the twin cannot be read, count says so.
func (u *Uplink) counted() *outbox {
	_ = u.outbox.catchUp(context.Background())
	return u.outbox
}

// Dismiss forgets a refusal that was read.
func (u *Uplink) Dismiss(id string) {
	if id == LossID && u.witness != nil {
		u.witness.dismiss()
		u.changed.ring()
		return
	}
	if u.outbox.dismiss(id) {
		u.keep()
		u.changed.ring()
	}
}

// keep saves the place. A disk that takes no more is no reason to stop sending.
func (u *Uplink) keep() {
	if err := u.outbox.save(); err != nil {
		u.log.Error("the uplink's place cannot be kept; after a restart everything will be sent again", "cause", err)
	}
}

// fail says why nothing goes on.
func (u *Uplink) fail(why string, cause error) {
	u.log.Error("the uplink stands still", "cause", cause)
	u.mu.Lock()
	u.recovery = why
	u.mu.Unlock()
	u.changed.ring()
}
