package round

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"

	"github.com/google/uuid"

	pb "bayround/proto/bayround/v1"
)

// adoption knows how much of what the station knows the twin has taken over.
type adoption struct {
	turn sync.RWMutex // held by the desk for reading, for writing while the twin takes over

	mu      sync.Mutex
	era     int              // guarded by mu: counts how often all was forgotten
	known   map[string]int64 // guarded by mu: up to this event of the station the twin has everything about a vehicle
	library string           // guarded by mu: digest of the station's library that was taken over
	asked   asked            // guarded by mu: when the library was asked for
}

// asked is a moment of asking for what is in force: in which watch, and how far
// the station's journal had come.
type asked struct {
	watch int
	beat  int64
}

func (a *adoption) init() { a.known = map[string]int64{} }

func (a *adoption) forget() {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.era++
	a.library, a.asked = "", asked{}
	clear(a.known)
}

// own says that an event of the station came from the twin. Where it follows at
// once on what the twin has, there is nothing in between that it lacks.
func (a *adoption) own(vehicle string, sequence int64) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if known, ok := a.known[vehicle]; ok && sequence == known+1 {
		a.known[vehicle] = sequence
	}
}

// lacks tells whether there is something about a vehicle that the twin may not have.
func (a *adoption) lacks(vehicle string, sequence int64) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	known, ok := a.known[vehicle]
	return !ok || sequence > known
}

func (a *adoption) took(era int, vehicle string, sequence int64) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if era == a.era {
		a.known[vehicle] = max(a.known[vehicle], sequence)
	}
}

func (a *adoption) now() (era int, library string, when asked) {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.era, a.library, a.asked
}

func (a *adoption) tookLibrary(era int, digest string, when asked) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if era == a.era {
		a.library, a.asked = digest, when
	}
}

// Turn keeps the uplink from taking a vehicle over until done is called. Whoever
// commands the twin does so in a turn: a standing that was fetched before a
// command and taken over after it would hide what was just recorded.
func (u *Uplink) Turn() (done func()) {
	u.adopt.turn.RLock()
	return u.adopt.turn.RUnlock
}

// takeOver gives the twin what others did, for ever.
func (u *Uplink) takeOver(ctx context.Context) {
	var pauses backoff
	for ctx.Err() == nil {
		changed, arrived := u.changed.rung(), u.arrived.rung()
		if err := u.takeOverAll(ctx); err != nil {
			if ctx.Err() == nil {
				u.log.Debug("what the station knows cannot be taken over now; it will be tried again", "cause", err)
			}
			pauses.pause(ctx, arrived)
			continue
		}
		pauses.over()
		select {
		case <-changed:
		case <-ctx.Done():
		}
	}
}

// takeOverAll takes over everything that the twin may lack.
func (u *Uplink) takeOverAll(ctx context.Context) error {
	states, _, watch := u.heard.all()
	if !u.witness.cleared(watch) {
		return nil // what a record lacks that was set back would be given up here, too
	}
	if u.heard.behind() {
		return nil // the twin knows more
	}
	if watch == 0 || !u.Live() || !u.knowsTime() {
		return nil // at a time that is far ahead nothing must happen: the twin's never runs back
	}
	// Not everything that is put in force changes a vehicle, so it is asked for
	// whenever a heartbeat says that something has happened.
	now := asked{watch, u.heard.beats()}
	_, _, before := u.adopt.now()
	if before != now {
		if err := u.askAwaiting(ctx, watch); err != nil {
			return err
		}
		if err := u.takeLibrary(ctx, now); err != nil {
			return err
		}
	}
	err := u.takeVehicles(ctx, states, watch)
	if before != now { // also where a vehicle failed: the station is asked once for each thing that happens
		u.takeStock(ctx)
	}
	return err
}

// takeVehicles takes over what is newer of vehicles than what is known here, until one fails.
func (u *Uplink) takeVehicles(ctx context.Context, states map[string]*pb.Readiness, watch int) error {
	for _, vehicle := range slices.Sorted(maps.Keys(states)) {
		if !u.adopt.lacks(vehicle, states[vehicle].GetSequence()) {
			continue
		}
		if err := u.takeVehicle(ctx, vehicle, watch); err != nil {
			return fmt.Errorf("taking over %s: %w", vehicle, err)
		}
	}
	return nil
}

// takeLibrary takes over what is in force.
func (u *Uplink) takeLibrary(ctx context.Context, when asked) error {
	era, known, _ := u.adopt.now()
	calling, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	resp, err := u.standings.GetLibrary(calling, &pb.GetLibraryRequest{KnownDigest: known})
	if err != nil {
		return fmt.Errorf("asking for what is in force: %w", err)
	}
	if u.badges != nil {
		if err := u.badges.Take(resp.GetBadgeKey()); err != nil {
			return err
		}
	}
	if resp.GetLibrary() != nil {
		changed, err := u.twin.AdoptLibrary(ctx, uuid.NewString(), resp.GetLibrary())
		if err != nil {
			return fmt.Errorf("taking over what is in force: %w", err)
		}
		if changed {
			u.log.Info("what is in force was taken over from the station", "digest", resp.GetDigest())
			u.renew()
			u.changed.ring()
		}
	}
	u.adopt.tookLibrary(era, resp.GetDigest(), when)
	return nil
}

// takeVehicle takes over what a vehicle's verdict rests on, unless something
// about it is still to be sent: the station must have all of ours first.
func (u *Uplink) takeVehicle(ctx context.Context, vehicle string, watch int) error {
	era, library, when := u.adopt.now()
	waiting, newest := u.outbox.about(vehicle)
	if waiting > 0 {
		return nil
	}
	heard, err := u.fetch(ctx, vehicle, watch)
	if err != nil {
		return err
	}
	if heard.library != library {
		if err := u.takeLibrary(ctx, when); err != nil {
			return err
		}
	}
	u.adopt.turn.Lock()
	defer u.adopt.turn.Unlock()
	if err := u.outbox.catchUp(ctx); err != nil {
		return err
	}
	if waiting, now := u.outbox.about(vehicle); waiting > 0 || now != newest {
		return nil // something was recorded meanwhile; it is sent first
	}
	changed, err := u.twin.AdoptStanding(ctx, uuid.NewString(), heard.standing)
	if err != nil {
		return err
	}
	u.adopt.took(era, vehicle, heard.through)
	if changed {
		u.log.Debug("taken over from the station", "vehicle", vehicle, "through", heard.through)
		u.changed.ring()
	}
	return nil
}

// fetched is a standing on its way into the twin.
type fetched struct {
	standing *pb.Standing
	library  string // digest of what it was judged by
	through  int64  // everything about the vehicle up to this event of the station is in it
}

// fetch asks the station for a standing. One that does not know what the station
// has told before comes from a journal that has lost its end: the next watch
// finds out, and until then nothing is taken over.
func (u *Uplink) fetch(ctx context.Context, vehicle string, watch int) (f fetched, err error) {
	states, through, _ := u.heard.all() // whatever happened up to here is in the answer
	calling, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	resp, err := u.standings.GetStanding(calling, &pb.GetStandingRequest{Vehicle: vehicle})
	if err != nil {
		return f, err
	}
	f = fetched{resp.GetStanding(), resp.GetLibraryDigest(), max(through, resp.GetStanding().GetSequence())}
	switch _, _, now := u.heard.all(); {
	case now != watch:
		return f, errors.New("the watch ended meanwhile")
	case f.standing.GetSequence() < states[vehicle].GetSequence():
		return f, fmt.Errorf("the standing rests on event %d, but event %d was told of", f.standing.GetSequence(), states[vehicle].GetSequence())
	}
	return f, nil
}
