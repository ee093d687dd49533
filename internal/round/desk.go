package round

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"bayround/internal/access"
	"bayround/internal/fault"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// Upward is what the desk asks of the uplink to the station of record. One that
// can also keep the twin to itself for a turn, or tell the bay display what the
// tablet does, is asked to do so.
type Upward interface {
	// Link is how the tablet stands to the station now.
	Link() Link
	// Changed is closed when Link, Station or Pending may have changed.
	Changed() <-chan struct{}
	// Station is a vehicle's readiness as the station last told it; nil when it never did.
	Station(vehicle string) *pb.Readiness
	// Pending is how many commands about a vehicle the station has not acknowledged.
	Pending(vehicle string) int
	// Dismiss takes away a refusal that was read.
	Dismiss(id string)
}

// turns is an uplink that takes nothing over while somebody has a turn.
type turns interface{ Turn() (done func()) }

// walkTeller is an uplink that tells the bay display what the tablet does.
type walkTeller interface{ SetWalk(*BayWalk) }

// stopTeller is an uplink that tells the bay display what was stopped, without waiting
// for the station.
type stopTeller interface{ SetStopped(callSigns string) }

// PhotoKeeper keeps photos on the tablet.
type PhotoKeeper interface {
	// Put keeps a photo and returns its SHA-256, in hex. What is no photo, or too
	// large, is refused in a fault.
	Put(content []byte) (string, error)
}

// DeskConfig says what a desk works with.
type DeskConfig struct {
	// Twin is the tablet's own station. The desk does not close it.
	Twin *station.Station
	// Uplink is the way to the station of record; nil = never live.
	Uplink Upward
	// Guard checks PINs.
	Guard *access.Guard
	// Badges hashes badges that a reader types; nil = none are read.
	Badges *access.Badges
	// Photos keeps photos; nil = none are taken.
	Photos PhotoKeeper
	// Device is the tablet's name in the record, for instance "tablet-1".
	Device string
	// Station whose vehicles are shown, stations/{station}; empty for all.
	Station string
	// Dir holds the session file, on a local disk.
	Dir string
	// Clock is the tablet's clock, by which commands say when they were given; nil
	// for time.Now. Its monotonic reading measures looking.
	Clock func() time.Time
	// Right puts that clock right, for all that is shown and judged; nil where the
	// tablet's clock counts as it is.
	Right *Clock
	// Log hears what people who run the tablet should know; nil = discard.
	Log *slog.Logger
}

// Desk is what the driver works at: it takes acts, carries them out on the twin,
// and gives the view. Its methods may be called from any goroutine.
type Desk struct {
	twin    *station.Station
	uplink  Upward
	guard   *access.Guard
	badges  *access.Badges
	photos  PhotoKeeper
	device  string
	station string
	dir     string
	wall    func() time.Time
	right   *Clock // nil where the tablet's clock counts as it is
	log     *slog.Logger

	mu      sync.Mutex      // held for a whole act: acts come one after the other
	session *session        // guarded by mu
	scene   *scene          // guarded by mu; what was last read from the twin
	stale   bool            // guarded by mu: the twin has changed since
	dues    dues            // guarded by mu
	offer   *offer          // guarded by mu: what a round that has not begun takes
	awaited awaited         // guarded by mu
	locks   map[string]bool // guarded by mu: ids of the locks of which the record was told
	told    *BayWalk        // guarded by mu: what the bay display was told last
	stops   string          // guarded by mu: what it was told is stopped
	wakeAt  time.Time       // guarded by mu: when the view changes by itself; zero = it does not

	view    atomic.Pointer[View]
	telling sync.Mutex
	changed chan struct{} // guarded by telling: closed and replaced at every change

	news   chan struct{} // holds one: the twin has news
	cancel context.CancelFunc
	ended  sync.WaitGroup
}

// OpenDesk opens the desk as it was when it was closed or killed, and carries out
// the command whose answer it had not seen. Close ends it.
func OpenDesk(ctx context.Context, c DeskConfig) (*Desk, error) {
	d := &Desk{
		twin: c.Twin, uplink: c.Uplink, guard: c.Guard, badges: c.Badges, photos: c.Photos, device: c.Device, station: c.Station,
		dir: c.Dir, wall: c.Clock, right: c.Right, log: c.Log, changed: make(chan struct{}), news: make(chan struct{}, 1), stale: true, locks: map[string]bool{},
	}
	if d.log == nil {
		d.log = slog.New(slog.DiscardHandler)
	}
	if d.wall == nil {
		d.wall = time.Now
	}
	if d.uplink == nil {
		d.uplink = noUplink{}
	}
	var err error
	if d.session, err = readSession(d.dir, d.log); err != nil {
		return nil, err
	}
	if err := d.begin(ctx); err != nil {
		return nil, err
	}
	running, cancel := context.WithCancel(context.WithoutCancel(ctx))
	d.cancel = cancel
	d.ended.Go(func() { d.listen(running) })
	d.ended.Go(func() { d.attend(running) })
	return d, nil
}

// begin takes up where the session broke off.
func (d *Desk) begin(ctx context.Context) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.look(ctx); err != nil {
		return err
	}
	d.tellLocks(ctx)
	if d.session.Phase == PhaseStep {
		d.session.look(d.wall()) // the time it was dark does not count
		if step := d.scene.stepOf(d.session.Step); step != nil && d.session.Draft.running(step) {
			d.session.Draft.Cut = true
		}
	}
	if d.session.Pending != nil {
		d.session.Notice = nil
		if err := d.finish(ctx); err != nil {
			d.session.Notice = d.noticeOf(err)
		}
		if err := errors.Join(d.look(ctx), d.session.write(d.dir)); err != nil {
			return err
		}
	}
	return d.show(ctx)
}

// Close ends the desk; what was begun is finished. The twin stays open.
func (d *Desk) Close() error {
	d.cancel()
	d.ended.Wait()
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.session.write(d.dir)
}

// View is everything the tablet shows now.
func (d *Desk) View() *View { return d.view.Load() }

// Changed is closed when there is a newer view. Whoever takes it before View
// misses none.
func (d *Desk) Changed() <-chan struct{} {
	d.telling.Lock()
	defer d.telling.Unlock()
	return d.changed
}

// Do carries out an act. The view shows what it led to before Do returns; a
// refusal is in the view's notice, too.
func (d *Desk) Do(ctx context.Context, act Act) error {
	act, err := d.developed(act)
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.endIdle(d.now()) { // an act that comes before the timer does is nobody's either
		err = errors.Join(err, d.look(ctx))
	}
	d.session.LastAct = d.now()
	if !d.session.lit.IsZero() {
		d.session.look(d.wall())
	}
	if err == nil {
		err = d.act(ctx, act)
	}
	if err != nil {
		d.session.Notice = d.noticeOf(err)
	} else {
		d.session.Notice = nil
	}
	if failed := errors.Join(d.look(ctx), d.session.write(d.dir)); failed != nil {
		d.log.Error("the tablet's state could not be kept or read", "cause", failed)
		err = errors.Join(err, failed)
	}
	return errors.Join(err, d.show(ctx))
}

// Tick lets happen what time alone brings: an idle session ends, a step becomes
// cold, an answer can no longer be taken back. The desk does it by itself; tests
// that move the clock call it.
func (d *Desk) Tick(ctx context.Context) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	now := d.now()
	if !d.endIdle(now) {
		if d.wakeAt.IsZero() || now.Before(d.wakeAt) {
			return nil
		}
		return d.show(ctx)
	}
	if err := errors.Join(d.look(ctx), d.session.write(d.dir)); err != nil {
		return err
	}
	return d.show(ctx)
}

// look reads the twin when it has changed, or when there is somebody to be shown answers
// that were not read, as when a round goes on after a turnout.
func (d *Desk) look(ctx context.Context) error {
	to := d.answersTo()
	if !d.stale && d.scene != nil && (to == "" || to == d.scene.answersOf) {
		return nil
	}
	sc, err := d.lookAround(context.WithoutCancel(ctx), d.scene)
	if err != nil {
		return err
	}
	before := d.scene
	d.scene, d.stale = sc, false
	d.endedElsewhere()
	d.endChanged()
	d.changedMeanwhile(before)
	return nil
}

// show makes the view and tells that there is a new one.
func (d *Desk) show(ctx context.Context) error {
	v, err := d.newView(ctx)
	if err != nil {
		return err
	}
	if before := d.view.Load(); before != nil {
		v.Version = before.Version + 1
	}
	d.view.Store(v)
	d.tellBay(v)
	d.telling.Lock()
	defer d.telling.Unlock()
	close(d.changed)
	d.changed = make(chan struct{})
	return nil
}

// noticeOf turns an error into what the driver reads.
func (d *Desk) noticeOf(err error) *Notice {
	n := &Notice{Reason: "INTERNAL", Message: "this could not be done; the tablet's log says why", At: d.now().Round(0)}
	var f *fault.Fault
	if errors.As(err, &f) {
		n.Reason, n.Message = f.Reason, f.Message
		return n
	}
	d.log.Error("an act could not be carried out", "cause", err)
	return n
}

// noUplink is a tablet that never hears of a station.
type noUplink struct{}

func (noUplink) Link() Link                   { return Link{} }
func (noUplink) Changed() <-chan struct{}     { return nil }
func (noUplink) Station(string) *pb.Readiness { return nil }
func (noUplink) Pending(string) int           { return 0 }
func (noUplink) Dismiss(string)               {}
