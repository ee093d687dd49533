package access

import (
	"context"
	"maps"
	"slices"
	"sync"
	"time"

	"bayround/internal/fault"
)

// atOnce is how many hashes are worked out at the same time.
const atOnce = 2

// mostNames bounds how many names are counted one by one; the others share a
// counter, so that made-up names cannot fill the disk.
const mostNames = 512

// sharedName is the counter of all who found no place of their own.
const sharedName = ""

// Attempt is somebody who says who they are, and a PIN.
type Attempt struct {
	Person string // people/{person}
	Device string // the tablet
	PIN    string
	Hash   string // the person's PHC string; empty when there is no such person, or no PIN
}

// Guard checks PINs and limits attempts. Its methods may be called from any
// goroutine.
type Guard struct {
	file string
	now  func() time.Time
	slot chan struct{} // holds one for every hash being worked out

	mu    sync.Mutex
	count counters // guarded by mu; what the file says
}

// OpenGuard opens the counters kept in a file; there need not be one yet. now is
// the tablet's clock.
func OpenGuard(file string, now func() time.Time) (*Guard, error) {
	count, err := readCounters(file)
	if err != nil {
		return nil, err
	}
	return &Guard{file: file, now: now, slot: make(chan struct{}, atOnce), count: count}, nil
}

// Check lets an attempt pass, or says in a fault why not: PIN_MALFORMED,
// PIN_WRONG, PIN_WAIT or PIN_LOCKED. A malformed PIN is not counted, for it
// tells nothing; any other attempt is, before it is tried. Another error means
// that nothing could be counted, and nothing was tried.
func (g *Guard) Check(ctx context.Context, a Attempt) error {
	if err := checkPIN(a.PIN); err != nil {
		return err
	}
	if err := g.enter(ctx); err != nil {
		return err
	}
	defer g.leave()
	c, err := g.charge(a)
	if err != nil {
		return err
	}
	same, unusable := matches(a.PIN, a.Hash)
	if !same {
		return wrong(c.failures).Because(unusable)
	}
	return g.acquit(a, c)
}

// enter waits for one of the places in which hashes are worked out.
func (g *Guard) enter(ctx context.Context) error {
	select {
	case g.slot <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (g *Guard) leave() { <-g.slot }

// charged is an attempt that was counted.
type charged struct {
	failures   int       // of the person, in a row, this one included
	at, before time.Time // when it was counted, and when the device's failure before it was
}

// charge counts an attempt as a failure, which it is until it has passed. It
// refuses who must wait.
func (g *Guard) charge(a Attempt) (charged, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	now := g.now()
	g.heedLocked()
	person, device := place(g.count.People, a.Person), place(g.count.Devices, a.Device)
	if ofPerson.isLocked(g.count.People[person]) {
		return charged{}, locked()
	}
	if left := max(ofPerson.left(g.count.People[person], now), ofDevice.left(g.count.Devices[device], now)); left > 0 {
		return charged{}, fault.New(fault.Exhausted, "PIN_WAIT", "wait %s, then try again", sayWait(left))
	}
	next := g.count.clone()
	next.People[person] = ofPerson.failed(next.People[person], now)
	next.Devices[device] = ofDevice.failed(next.Devices[device], now)
	c := charged{failures: next.People[person].Failures, at: now, before: g.count.Devices[device].Last}
	return c, g.keep(next)
}

// heedLocked takes over what the file says while somebody is locked out: kiosk unlock is
// another program, and writes it while a tablet serves.
func (g *Guard) heedLocked() {
	for _, c := range g.count.People {
		if !ofPerson.isLocked(c) {
			continue
		}
		if fresh, err := readCounters(g.file); err == nil {
			g.count = fresh
		}
		return
	}
}

// acquit forgets the failures of who has passed. The device keeps those of
// others: who knows one PIN must not be free to guess at the next.
func (g *Guard) acquit(a Attempt, c charged) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	next := g.count.clone()
	person, device := place(next.People, a.Person), place(next.Devices, a.Device)
	own := next.People[person].Failures
	delete(next.People, person)
	rest := next.Devices[device]
	if rest.Failures -= own; rest.Failures > 0 {
		if rest.Last.Equal(c.at) {
			rest.Last = c.before
		}
		next.Devices[device] = rest
	} else {
		delete(next.Devices, device)
	}
	return g.keep(next)
}

// Unlock forgets a person's failures. Whoever calls it has made sure that an officer asked
// for it, and has told the record.
func (g *Guard) Unlock(person string) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	next := g.count.clone()
	delete(next.People, place(next.People, person))
	return g.keep(next)
}

// Pardon is Unlock by who cannot tell the record: it is kept until it has been told. A
// guard of another process on the same file hears of it.
func (g *Guard) Pardon(person string) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	next := g.count.clone()
	delete(next.People, place(next.People, person))
	if next.Pardons == nil {
		next.Pardons = map[string]time.Time{}
	}
	next.Pardons[person] = g.now()
	return g.keep(next)
}

// Pardons are the people who were pardoned and of whom the record was not told yet, by
// name.
func (g *Guard) Pardons() []Lock {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.heedLocked()
	var all []Lock
	for _, name := range slices.Sorted(maps.Keys(g.count.Pardons)) {
		all = append(all, Lock{Person: name, At: g.count.Pardons[name]})
	}
	return all
}

// Told forgets a pardon of which the record was told.
func (g *Guard) Told(pardon Lock) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	next := g.count.clone()
	if next.Pardons[pardon.Person].Equal(pardon.At) {
		delete(next.Pardons, pardon.Person)
	}
	return g.keep(next)
}

// Lock is that somebody was locked out, or pardoned.
type Lock struct {
	Person   string
	Failures int       // wrong PINs in a row
	At       time.Time // when the last of them was tried, or the person was pardoned
}

// Locked are the people who wait for an officer, by name.
func (g *Guard) Locked() []Lock {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.heedLocked()
	var all []Lock
	for _, name := range slices.Sorted(maps.Keys(g.count.People)) {
		if c := g.count.People[name]; ofPerson.isLocked(c) {
			all = append(all, Lock{name, c.Failures, c.Last})
		}
	}
	return all
}

// keep writes counters, and believes them once they are on disk.
func (g *Guard) keep(next counters) error {
	if err := writeCounters(g.file, next); err != nil {
		return fault.New(fault.Unavailable, "PIN_COUNTERS_LOST",
			"attempts cannot be counted on this tablet, so nobody can sign in; see to its disk").Because(err)
	}
	g.count = next
	return nil
}

// place is the name under which somebody is counted.
func place(counted map[string]counter, name string) string {
	if _, known := counted[name]; known || len(counted) < mostNames {
		return name
	}
	return sharedName
}

// counters are all counters.
type counters struct {
	People  map[string]counter `json:"people"`
	Devices map[string]counter `json:"devices"`
	// Pardons say when kiosk unlock let somebody in, until the record was told.
	Pardons map[string]time.Time `json:"pardons,omitempty"`
}

func (c counters) clone() counters {
	return counters{People: maps.Clone(c.People), Devices: maps.Clone(c.Devices), Pardons: maps.Clone(c.Pardons)}
}

// wrong is the answer to a wrong PIN after a number of failures in a row.
func wrong(failures int) *fault.Fault {
	then := "2 more tries before a wait"
	switch wait := ofPerson.wait(failures); {
	case failures >= ofPerson.locked:
		return locked()
	case wait > 0:
		then = "wait " + sayWait(wait) + ", then try again"
	case failures == firstWait-1:
		then = "1 more try before a wait"
	}
	return fault.New(fault.Denied, "PIN_WRONG", "wrong PIN; %s", then)
}

func locked() *fault.Fault {
	return fault.New(fault.Denied, "PIN_LOCKED", "locked after %d wrong PINs; an officer must unlock it, on the page to sign in", ofPerson.locked)
}
