package station

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"bayround/internal/catalogue"
	"bayround/internal/fault"
	"bayround/internal/journal"
)

// Options says which station to open.
type Options struct {
	// Dir is the directory of its journal, on a local disk.
	Dir string
	// Origin names the journal in its checkpoints; "" for "bayround/station".
	Origin string
	// Now is the station's clock; nil for time.Now.
	Now func() time.Time
	// Right puts right what Now shows, for a twin whose tablet's clock may be off; nil
	// = Now is right, and its monotonic readings tell how long it has run. Device times
	// stay as they are given.
	Right Right
	// Logger hears what people who run the station should know; nil = discard.
	Logger *slog.Logger
	// Defaults are the files a station starts with. They are applied at Open
	// where nothing is in force yet, and where what is in force came from
	// older defaults; what a person applied stays.
	Defaults []catalogue.File
	// Space says how much of the journal's disk must stay free; the zero value suits a station.
	Space journal.Space
	// Like is a station, open or closed, of whose record this one's is a copy: what is
	// in force at both is compiled and planned once for both. Nil = none. It is for
	// tests, which open many copies of one record of true size.
	Like *Station
}

// defaultOrigin names the journal of a station that was given no name.
const defaultOrigin = "bayround/station"

// Station is an open station. Its methods may be called from any goroutine.
type Station struct {
	journal *journal.Journal
	dir     string // of the journal
	log     *slog.Logger
	now     func() time.Time
	right   Right
	work    *state // owned by the journal's committer goroutine, by Open before the first command

	clockBehind bool // owned like work: the log was told

	current atomic.Pointer[published] // what readers see; replaced by the committer
	board   board                     // what watchers wait at
	past    pastLibraries             // libraries of former times
	turns   turns                     // of those who go through the whole record
	losses  losses
	refill  refill
	doubts  doubts // in the record
	scrubs  scrubs // whole readings of the record

	read func(context.Context) (journal.Report, error) // reads the whole record; tests wrap it

	mendable  chan struct{} // closed when copies of devices are enough for a repair
	closing   chan struct{} // closed by Close
	told      chan struct{} // closed when the teller has ended
	failed    chan struct{} // closed when no more is taken; by fail alone
	failOnce  sync.Once
	closeOnce sync.Once
	closeErr  error // set within closeOnce
}

// Open opens the station whose journal lies in o.Dir, and makes a new one where
// there is none.
func Open(ctx context.Context, o Options) (*Station, error) {
	s := &Station{
		dir: o.Dir, log: o.Logger, now: o.Now, right: o.Right,
		turns: newTurns(), mendable: make(chan struct{}), closing: make(chan struct{}), told: make(chan struct{}), failed: make(chan struct{}),
	}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	if s.now == nil {
		s.now = time.Now
	}
	if s.right == nil {
		s.right = asShown{s.now()}
	}
	s.work = newState(liveArchive{s})
	s.board.init()
	var err error
	if s.journal, err = journal.Open(ctx, o.journal(s)); err != nil {
		return nil, err
	}
	s.read = s.journal.Scrub
	if o.Like != nil && o.Like.journal.ID() == s.journal.ID() {
		s.work.lib = o.Like.current.Load().lib
	}
	if err := s.start(ctx, o.Defaults); err != nil {
		return nil, errors.Join(err, s.journal.Close())
	}
	go s.tell()
	return s, nil
}

func (o Options) journal(s *Station) journal.Options {
	origin := o.Origin
	if origin == "" {
		origin = defaultOrigin
	}
	return journal.Options{
		Dir: o.Dir, Origin: origin, RowsVersion: rowsVersion, Logger: o.Logger, Space: o.Space,
		Committed: s.committed, FellBehind: s.fellBehind,
	}
}

// start takes up the journal's state and applies the defaults.
func (s *Station) start(ctx context.Context, defaults []catalogue.File) error {
	if err := s.recover(ctx); err != nil {
		return err
	}
	raw := s.now()
	s.work.ran = s.right.Ran(raw)
	s.noteClock(s.work.station.Sub(s.right.Right(raw)))
	s.publish()
	if s.Behind() {
		s.log.Error("the record has lost its newest entries: nothing is taken until it is repaired, and no vehicle is proved fit")
		s.fellBehind()
		return nil // nothing can be applied either
	}
	if err := s.settle(ctx); err != nil {
		return fmt.Errorf("finish the pruning of the record: %w", err)
	}
	if err := s.journalRepairs(ctx); err != nil {
		return err
	}
	if err := s.applyDefaults(ctx, defaults); err != nil {
		return fmt.Errorf("apply the default files: %w", err)
	}
	return nil
}

// Close ends the station: watches and follows end with fault.Unavailable, and
// commands already taken are finished. Calling it again returns the same.
func (s *Station) Close() error {
	s.closeOnce.Do(func() {
		close(s.closing)
		<-s.told
		s.closeErr = s.journal.Close()
	})
	return s.closeErr
}

// Failed is closed when the station takes no more because a write failed.
// Readers still get what was durable before; only a new Open finds out more.
func (s *Station) Failed() <-chan struct{} { return s.failed }

// Mendable is closed when the record is behind and devices have offered copies that are
// enough to repair it: at its next start, see Mend.
func (s *Station) Mendable() <-chan struct{} { return s.mendable }

// fail ends the station's writing life.
func (s *Station) fail(why string, cause error) {
	s.failOnce.Do(func() {
		s.log.Error("station stopped: "+why, "cause", cause)
		close(s.failed)
	})
}

// stopped is the answer of a station that has failed.
func stopped() error {
	return fault.New(fault.Unavailable, "STATION_FAILED",
		"the station has stopped because a write failed; it must be started anew, then repeat with the same id")
}

// stopping is the answer of a station that is being closed.
func stopping() error {
	return fault.New(fault.Unavailable, "STATION_STOPPING", "the station stops; try again when it is back")
}

// published is what readers see: the newest durable state. It never changes.
type published struct {
	sequence   int64
	checkpoint []byte // the journal's, of exactly these events; nil when there are none
	anchor     anchor // of the newest event
	lib        *library
	vehicles   map[string]*snapshot
	names      []string          // of the vehicles, in order
	frames     map[string]*frame // of rounds that are open or paused, by name
	opened     []roundRef        // every round, in the order of opening
	stock      accounts
	unsigned   []roundRef // those that wait for an officer's signature, in the order of opening
}

// committed is called by the journal on its committer goroutine when what was
// decided is durable, before anybody is answered.
func (s *Station) committed(last uint64) {
	if int64(last) != s.work.sequence {
		s.fail("the journal and the working state do not agree",
			fmt.Errorf("journal at event %d, working state at %d", last, s.work.sequence))
		return
	}
	s.publish()
	s.work.forget()
}

// publish shows readers the working state, which must be durable.
func (s *Station) publish() {
	st, before := s.work, s.current.Load()
	if before == nil {
		before = &published{}
	}
	p := &published{
		sequence: st.sequence, checkpoint: s.journal.Checkpoint(), anchor: st.anchor, lib: st.lib, opened: st.opened, stock: st.stock,
		vehicles: make(map[string]*snapshot, len(st.vehicles)), names: before.names,
	}
	maps.Copy(p.vehicles, before.vehicles)
	for name, v := range st.changed {
		snap := v.snapshot()
		snap.doubts = &s.doubts
		p.vehicles[name] = snap
	}
	if len(p.vehicles) != len(p.names) {
		p.names = sortedKeys(p.vehicles)
	}
	if p.frames, p.unsigned = before.frames, before.unsigned; st.reframed {
		p.frames, p.unsigned = st.liveFrames(), slices.SortedFunc(maps.Values(st.unsigned), roundRef.compare)
	}
	clear(st.changed)
	st.reframed = false
	s.current.Store(p)
	s.board.signal()
}

// vehicle returns the newest durable snapshot of a vehicle.
func (p *published) vehicle(name string) (*snapshot, error) {
	if snap := p.vehicles[name]; snap != nil {
		return snap, nil
	}
	return nil, unknown("vehicle", name)
}

// unknown is the fault of a name that nothing bears.
func unknown(what, name string) *fault.Fault {
	return fault.New(fault.NotFound, strings.ToUpper(strings.ReplaceAll(what, " ", "_"))+"_UNKNOWN", "there is no %s %q at this station", what, name)
}

// unknownStation is the fault of a station's name that none bears; it says which there are.
func (l *library) unknownStation(name string) *fault.Fault {
	return fault.New(fault.NotFound, "STATION_UNKNOWN", "there is no %q here; there is %s", name, orNone(sortedKeys(l.set.Stations)))
}
