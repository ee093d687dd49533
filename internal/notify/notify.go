// Package notify tells those who depend on a station, over HTTP, when a vehicle comes
// to stand otherwise.
//
// # What it promises
//
//   - Every notice that a subscription wants is delivered at least once, with the
//     same id each time, whatever is killed in between; those of one vehicle in order.
//     A receiver drops ids that it has, and is told the whole state in each notice.
//   - A new subscription is told first how every vehicle stands; so is one whose
//     place is not in the record any more.
//   - The record is the outbox: a subscription keeps its place in it and nothing
//     else. So a receiver that hangs, fails or is gone holds up nobody, and costs no
//     memory but its own goroutine.
//   - An attempt that fails is made again, at growing distances, for ever. 410 Gone
//     ends a subscription until its address is another.
//   - A notice that is refused for a day by a receiver that is there is set aside: it
//     stays on disk, those behind it are told, and it is tried again when the receiver
//     has come round, at each start, and when somebody says so.
//
// # Who owns what
//
// Each subscription has one goroutine, which owns its state but for what outside
// readers see; that is behind its mutex. Close ends them and waits.
package notify

import (
	"context"
	"errors"
	"io/fs"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"time"

	"bayround/internal/fault"
	"bayround/internal/notice"
	"bayround/internal/station"
)

// Options says who is told, and by what clock.
type Options struct {
	// Data is the folder of the record; the states lie in Folder in it.
	Data string
	// Subscriptions are who is told.
	Subscriptions []Subscription
	// Logger hears of receivers that fail; nil = discard.
	Logger *slog.Logger
	// Now is the computer's clock; nil for time.Now.
	Now func() time.Time
	// Wait waits between attempts, until ctx ends; nil for real time.
	Wait func(ctx context.Context, d time.Duration)
	// Dice throws a number from 0 to 1 that spreads attempts; nil for none.
	Dice func() float64
}

// Notifier tells all subscriptions.
type Notifier struct {
	branches []*branch
	cancel   context.CancelFunc
	parts    sync.WaitGroup
}

// branch is one subscription under way.
type branch struct {
	Subscription
	station *station.Station
	o       Options
	dir     string
	log     *slog.Logger
	client  *http.Client
	source  string

	saved time.Time // when the state was written last
	owes  bool      // what was set aside is to be tried again after the next success

	mu    sync.Mutex
	state State // guarded by mu for readers; written by the branch's goroutine alone
}

// Open begins to tell. A state that cannot be read is an error.
func Open(st *station.Station, o Options) (*Notifier, error) {
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Wait == nil {
		o.Wait = wait
	}
	if o.Dice == nil {
		o.Dice = func() float64 { return 0 }
	}
	n := &Notifier{}
	for _, s := range o.Subscriptions {
		b := &branch{Subscription: s, station: st, o: o, dir: filepath.Join(o.Data, Folder), log: o.Logger.With("subscription", s.Name), client: client()}
		if err := b.takeUp(); err != nil {
			return nil, err
		}
		n.branches = append(n.branches, b)
	}
	ctx, cancel := context.WithCancel(context.Background())
	n.cancel = cancel
	for _, b := range n.branches {
		n.parts.Go(func() { b.run(ctx) })
	}
	return n, nil
}

// Close ends the telling and waits. What is under way is told again at the next start.
func (n *Notifier) Close() {
	n.cancel()
	n.parts.Wait()
	for _, b := range n.branches {
		b.client.CloseIdleConnections()
	}
}

// States is how the subscriptions stand now, in the order of the file.
func (n *Notifier) States() []State {
	all := make([]State, len(n.branches))
	for i, b := range n.branches {
		b.mu.Lock()
		all[i] = b.state
		b.mu.Unlock()
	}
	return all
}

func wait(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
	}
}

// takeUp reads how the subscription stood.
func (b *branch) takeUp() error {
	if err := os.MkdirAll(b.dir, 0o700); err != nil {
		return err
	}
	s, err := readState(filepath.Join(b.dir, b.Name+".json"))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if s.URL != b.URL.String() { // another receiver, or one that has moved: only the place is still good
		s = State{Place: s.Place, Delivered: s.Delivered, Success: s.Success}
	}
	s.Version, s.Name, s.URL = stateVersion, b.Name, b.URL.String()
	b.state, b.owes = s, true
	return nil
}

// change changes the state.
func (b *branch) change(how func(*State)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	how(&b.state)
}

// save makes the state durable. When it cannot, more will be told twice, and nothing
// is lost.
func (b *branch) save() {
	b.saved = b.o.Now()
	b.change(func(s *State) { s.Written = b.saved })
	if err := b.state.write(b.dir); err != nil {
		b.log.Error("how far a subscription was told could not be kept; after a restart it is told some of it again", "cause", err)
	}
}

// run tells until ctx ends, the station stops or the receiver wants no more.
func (b *branch) run(ctx context.Context) {
	for !b.over(ctx) {
		t, err := b.station.Tell(ctx, b.state.Place)
		if err == nil {
			b.source = "/bayround/journals/" + t.JournalID()
			err = b.follow(ctx, t)
		}
		switch {
		case b.over(ctx) || fault.Is(err, fault.Unavailable): // the station stops
			return
		case fault.Is(err, fault.Precondition) || fault.Is(err, fault.Invalid):
			b.log.Error("the place of a subscription is not in this record; it is told anew how every vehicle stands", "cause", err)
			b.change(func(s *State) { s.Place = station.Place{Doubts: s.Place.Doubts} })
		default:
			b.log.Error("the record cannot be read on for a subscription; it is tried again", "cause", err)
			b.o.Wait(ctx, longestPause)
		}
	}
}

func (b *branch) over(ctx context.Context) bool { return ctx.Err() != nil || !b.state.Ended.IsZero() }

// keepEvery is how often a place is kept though nothing was wanted since.
const keepEvery = 5 * time.Second

// follow delivers step after step.
func (b *branch) follow(ctx context.Context, t *station.Telling) error {
	for {
		moments, place, err := t.Next(ctx)
		if err != nil {
			return err
		}
		before := b.state.Delivered
		for _, m := range moments {
			for _, n := range notice.Of(notice.Change(m)) {
				if !b.Filter.Wants(n) {
					continue
				}
				if b.deliver(ctx, n); b.over(ctx) {
					return nil
				}
			}
		}
		fresh := b.state.Place.Token == ""
		b.change(func(s *State) { s.Place, s.Behind = place, t.Behind() })
		if fresh || b.state.Delivered > before || b.o.Now().Sub(b.saved) >= keepEvery {
			b.save()
		}
	}
}
