package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"time"

	"google.golang.org/grpc"

	"bayround/internal/access"
	"bayround/internal/command"
	"bayround/internal/fault"
	"bayround/internal/journal"
	"bayround/internal/photo"
	"bayround/internal/round"
	"bayround/internal/screen"
	"bayround/internal/station"
)

// running is a kiosk that serves. What start opened, stop closes, last opened first.
type running struct {
	log     *slog.Logger
	device  func() time.Time // the device's clock
	clock   func() time.Time // the same, put right
	right   *round.Clock     // puts it right; nil when it counts as it is
	twin    *station.Station
	uplink  *round.Uplink
	desk    *round.Desk
	archive *round.Archive
	photos  *photo.Store
	badges  *access.Badges
	ready   ready
	close   []func() error
	ended   chan error // what serving ended with, once for each listener and the uplink
}

// attemptsFile counts wrong PINs, in the tablet's folder.
const attemptsFile = "attempts"

// badgeKeyFile is the station's key by which badges are hashed, in the tablet's folder.
const badgeKeyFile = "badge.key"

// ready is what --ready-file holds.
type ready struct {
	Tablet string `json:"tablet"`
	Bay    string `json:"bay"`
	Data   string `json:"data"`
	PID    int    `json:"pid"`
}

// deviceName is how the contract writes a device.
var deviceName = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

// check refuses what cannot be meant before anything is opened.
func (f *serveFlags) check() error {
	if !deviceName.MatchString(f.device) {
		return command.Misuse("--device %q: say lower-case letters, digits and single hyphens, for instance tablet-1", f.device)
	}
	if err := command.MayListen(f.listen, false); err != nil {
		return command.Misuse("--listen: %w; the driver's pages act, so they are for this tablet alone", err)
	}
	return command.MayListen(f.bay, f.anywhere)
}

// clocks is what a tablet goes by.
type clocks struct {
	device func() time.Time
	asItIs bool // it counts, whatever the station's clock shows
}

// start opens everything, from the record up to the pages.
func start(ctx context.Context, f *serveFlags, log *slog.Logger, by clocks) (r *running, err error) {
	r = &running{log: log, device: by.device, clock: by.device, ended: make(chan error, 3)}
	defer func() {
		if err != nil {
			err = errors.Join(err, r.stop())
		}
	}()
	display, err := f.display.display()
	if err != nil {
		return r, err
	}
	if !by.asItIs {
		if r.right, err = round.OpenClock(round.ClockConfig{Device: by.device, Dir: f.data, Log: log}); err != nil {
			return r, err
		}
		r.clock = r.right.Now
	}
	if err := closeKeys(f.data, log); err != nil {
		return r, err
	}
	if err := closeRecord(f.data, log); err != nil {
		return r, err
	}
	if err := r.openRecord(ctx, f); err != nil {
		return r, err
	}
	if err := r.openDesk(ctx, f); err != nil {
		return r, err
	}
	if err := r.serve(f, display); err != nil {
		return r, err
	}
	r.ready.Data, r.ready.PID = f.data, os.Getpid()
	return r, command.WriteReady(f.readyFile, r.ready)
}

// later remembers what stop must close.
func (r *running) later(closes func() error) { r.close = append(r.close, closes) }

// ballastBytes is small, as a tablet's storage and its record are.
const ballastBytes = 16 << 20

// openRecord opens the tablet's own station, which works without the other.
func (r *running) openRecord(ctx context.Context, f *serveFlags) (err error) {
	twin := station.Options{Dir: filepath.Join(f.data, "record"), Origin: "bayround/" + f.device, Now: r.device, Logger: r.log, Space: journal.Space{BallastBytes: ballastBytes}}
	if r.right != nil {
		twin.Right = r.right
	}
	r.twin, err = station.Open(ctx, twin)
	if err != nil {
		return fmt.Errorf("opening the tablet's record in %s: %w", f.data, err)
	}
	r.later(r.twin.Close)
	return nil
}

// openDesk opens what leads the driver and what talks to the station.
func (r *running) openDesk(ctx context.Context, f *serveFlags) (err error) {
	r.photos, err = photo.Open(photo.Options{Dir: filepath.Join(f.data, "photos")})
	if err != nil {
		return fmt.Errorf("opening the tablet's photos in %s: %w", f.data, err)
	}
	guard, err := access.OpenGuard(filepath.Join(f.data, attemptsFile), r.clock)
	if err != nil {
		return err
	}
	if r.badges, err = access.OpenBadges(filepath.Join(f.data, badgeKeyFile)); err != nil {
		return err
	}
	conn, err := r.dial(ctx, f)
	if err != nil {
		return command.MisusedBy(err)
	}
	r.archive = round.NewArchive(round.ArchiveConfig{Twin: r.twin, Conn: conn})
	if err := r.openUplink(f, conn); err != nil {
		return err
	}
	r.desk, err = round.OpenDesk(ctx, round.DeskConfig{
		Twin: r.twin, Uplink: r.uplink, Guard: guard, Badges: r.badges, Photos: photo.Camera{Store: r.photos}, Device: f.device, Dir: f.data, Clock: r.device, Right: r.right, Log: r.log,
	})
	if err != nil {
		return err
	}
	r.later(r.desk.Close)
	// Only now that nothing has refused what lies on the disk may anything write there.
	go func() {
		if err := r.uplink.Run(context.WithoutCancel(ctx)); err != nil {
			r.ended <- err
		}
	}()
	return nil
}

func (r *running) openUplink(f *serveFlags, conn grpc.ClientConnInterface) (err error) {
	r.uplink, err = round.OpenUplink(round.Config{
		Twin: r.twin, Conn: conn, Device: f.device, Dir: f.data, Badges: r.badges, Photos: r.photos, Clock: r.device, Right: r.right, Witness: true, Log: r.log,
	})
	if err != nil {
		return err
	}
	r.later(r.uplink.Close)
	return nil
}

// pages is what both pages rest on: the driver's side and the bay's.
type pages struct {
	*round.Desk
	uplink *round.Uplink
}

// Bay is what the display shows.
func (p pages) Bay() *round.Bay { return p.uplink.Bay() }

// BayChanged is closed when the display must show something else.
func (p pages) BayChanged() <-chan struct{} { return p.uplink.BayChanged() }

// serve opens both listeners, and serves on them when both are there.
func (r *running) serve(f *serveFlags, display screen.Display) error {
	tablet, err := net.Listen("tcp", f.listen)
	if err != nil {
		return inUse("the driver's pages", "--listen", err)
	}
	bay, err := net.Listen("tcp", f.bay)
	if err != nil {
		return errors.Join(inUse("the bay display", "--bay", err), tablet.Close())
	}
	r.ready.Tablet, r.ready.Bay = "http://"+tablet.Addr().String()+"/", "http://"+bay.Addr().String()+"/bay"
	server, err := screen.New(screen.Config{
		Desk: pages{r.desk, r.uplink}, Photos: r.uplink.Pictures(), Archive: r.archive, TabletHosts: names(tablet), BayHosts: append(names(bay), f.bayHosts...),
		Log: r.log, Display: display, Clock: r.clock,
	})
	if err != nil {
		return errors.Join(err, tablet.Close(), bay.Close())
	}
	r.later(func() error { server.Close(); return nil })
	r.listen(tablet, server.Handler())
	r.listen(bay, server.BayHandler())
	return nil
}

// listen serves pages until stop. Sockets outlive a shutdown, so it is the pages'
// own Close that ends them.
func (r *running) listen(on net.Listener, handler http.Handler) {
	server := &http.Server{
		Handler: handler, ReadHeaderTimeout: 5 * time.Second, IdleTimeout: time.Minute, MaxHeaderBytes: 16 << 10,
		ErrorLog: slog.NewLogLogger(r.log.Handler(), slog.LevelDebug),
	}
	r.later(server.Close)
	go func() { r.ended <- server.Serve(on) }()
}

// names are the Host values of a listener on this machine.
func names(l net.Listener) []string {
	host, port, err := net.SplitHostPort(l.Addr().String())
	if err != nil {
		return nil
	}
	return []string{net.JoinHostPort(host, port), net.JoinHostPort("localhost", port)}
}

// wait serves until ctx ends, the record stops itself or a listener breaks, and
// then ends everything in order.
func (r *running) wait(ctx context.Context) error {
	var why error
	select {
	case <-ctx.Done():
		r.log.Info("stopping")
	case <-r.twin.Failed():
		why = errStopped
	case why = <-r.ended:
	}
	return errors.Join(why, r.stop())
}

// errStopped is why serve ended when the record stopped itself.
var errStopped = command.StoppedBy(errors.New("the tablet's record stopped itself because a write failed; the log says why. " +
	"Start it again: it finds out what reached the disk. Nothing that was shown as recorded is lost"))

// stop closes everything, last opened first.
func (r *running) stop() error {
	var err error
	for len(r.close) > 0 {
		last := len(r.close) - 1
		err = errors.Join(err, r.close[last]())
		r.close = r.close[:last]
	}
	return err
}

// readyLine is the one line that says where the pages are.
func (r *running) readyLine() string {
	return fmt.Sprintf("ready: tablet %s, bay display %s, record in %s", r.ready.Tablet, r.ready.Bay, r.ready.Data)
}

// inUse says which address could not be had, and what to do.
func inUse(what, flag string, err error) error {
	return fault.New(fault.Unavailable, "ADDRESS_NOT_FREE",
		"%s cannot be served: %v; end what runs there, or name another address with %s", what, err, flag).Because(err)
}
