package access

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"bayround/internal/fault"
)

// cheap is a hash of a PIN at the least cost there is.
func cheap(pin string) string {
	h := phc{cost: cost{8, 1, 1}, salt: []byte("somesalt"), hash: make([]byte, hashLength)}
	h.hash = h.of(pin)
	return h.String()
}

// hand is a clock that the test moves.
type hand struct {
	mu  sync.Mutex
	now time.Time // guarded by mu
}

func (h *hand) read() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.now
}

func (h *hand) move(d time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.now = h.now.Add(d)
}

type bench struct {
	*Guard
	t     *testing.T
	clock *hand
	file  string
}

func newBench(t *testing.T) *bench {
	b := &bench{t: t, clock: &hand{now: time.Date(2026, time.March, 2, 7, 30, 0, 0, time.UTC)}, file: filepath.Join(t.TempDir(), "pins.json")}
	b.reopen()
	return b
}

// reopen is what a restart does.
func (b *bench) reopen() {
	b.t.Helper()
	g, err := OpenGuard(b.file, b.clock.read)
	if err != nil {
		b.t.Fatal(err)
	}
	b.Guard = g
}

// try tries a PIN and returns what is said; empty when it passes.
func (b *bench) try(person, pin string) string {
	return b.tryAt("tablet-1", person, pin)
}

func (b *bench) tryAt(device, person, pin string) string {
	b.t.Helper()
	err := b.Check(context.Background(), Attempt{Person: person, Device: device, PIN: pin, Hash: b.hashOf(person)})
	if err == nil {
		return ""
	}
	var f *fault.Fault
	if !errors.As(err, &f) {
		b.t.Fatalf("%s: %v", person, err)
	}
	return f.Reason + ": " + f.Message
}

func (b *bench) hashOf(person string) string {
	if person == "people/nobody" {
		return ""
	}
	return cheap("2468")
}

func (b *bench) want(got, want string) {
	b.t.Helper()
	if got != want {
		b.t.Errorf("got %q, want %q", got, want)
	}
}

func TestGuard_LimitsAPerson(t *testing.T) {
	b := newBench(t)
	const person = "people/arkwith"
	for i, step := range []struct {
		after time.Duration // the wait before
		pin   string
		want  string
	}{
		{0, "24", "PIN_MALFORMED: a PIN is 4 to 8 digits"}, // counts for nothing
		{0, "1111", "PIN_WRONG: wrong PIN; 2 more tries before a wait"},
		{0, "1111", "PIN_WRONG: wrong PIN; 1 more try before a wait"},
		{0, "1111", "PIN_WRONG: wrong PIN; wait 1 s, then try again"},
		{0, "2468", "PIN_WAIT: wait 1 s, then try again"}, // the right one does not help
		{time.Second - 1, "2468", "PIN_WAIT: wait 1 s, then try again"},
		{1, "1111", "PIN_WRONG: wrong PIN; wait 2 s, then try again"},
		{2 * time.Second, "1111", "PIN_WRONG: wrong PIN; wait 5 min, then try again"},
		{time.Minute, "2468", "PIN_WAIT: wait 4 min, then try again"},
		{4 * time.Minute, "1111", "PIN_WRONG: wrong PIN; wait 5 min, then try again"},
		{5 * time.Minute, "1111", "PIN_WRONG: wrong PIN; wait 5 min, then try again"},
		{5 * time.Minute, "1111", "PIN_WRONG: wrong PIN; wait 5 min, then try again"},
		{5 * time.Minute, "1111", "PIN_WRONG: wrong PIN; wait 5 min, then try again"},
		{5 * time.Minute, "1111", "PIN_LOCKED: locked after 10 wrong PINs; an officer must unlock it, on the page to sign in"},
		{24 * time.Hour, "2468", "PIN_LOCKED: locked after 10 wrong PINs; an officer must unlock it, on the page to sign in"},
	} {
		b.clock.move(step.after)
		b.reopen() // before each: a restart forgets nothing
		if got := b.try(person, step.pin); got != step.want {
			t.Fatalf("attempt %d: %q, want %q", i, got, step.want)
		}
	}
	if got := b.Locked(); len(got) != 1 || got[0].Person != person || got[0].Failures != 10 {
		t.Errorf("locked: %v", got)
	}
	if err := b.Unlock(person); err != nil {
		t.Fatal(err)
	}
	b.want(b.try(person, "2468"), "")
	b.want(b.try(person, "1111"), "PIN_WRONG: wrong PIN; 2 more tries before a wait")
}

// kiosk unlock is another process than the one that serves.
func TestGuard_IsUnlockedFromOutsideWhileItServes(t *testing.T) {
	b := newBench(t)
	const person, other = "people/arkwith", "people/venholt"
	for range 10 {
		b.try(person, "1111")
		b.clock.move(5 * time.Minute)
	}
	b.want(b.try(other, "1111"), "PIN_WRONG: wrong PIN; 2 more tries before a wait")
	b.clock.move(time.Minute)
	b.want(b.try(person, "2468"), "PIN_LOCKED: locked after 10 wrong PINs; an officer must unlock it, on the page to sign in")
	outside, err := OpenGuard(b.file, b.clock.read)
	if err != nil {
		t.Fatal(err)
	}
	if locked := outside.Locked(); len(locked) != 1 || locked[0].Person != person {
		t.Errorf("locked: %v", locked)
	}
	when := b.clock.read()
	if err := outside.Pardon(person); err != nil {
		t.Fatal(err)
	}
	b.want(b.try(other, "1111"), "PIN_WRONG: wrong PIN; 1 more try before a wait") // another's try does not undo it
	b.clock.move(time.Minute)
	b.want(b.try(person, "2468"), "")
	pardons := b.Pardons()
	if len(pardons) != 1 || pardons[0].Person != person || !pardons[0].At.Equal(when) {
		t.Fatalf("pardoned: %v", pardons)
	}
	b.reopen()
	if err := b.Told(pardons[0]); err != nil {
		t.Fatal(err)
	}
	b.reopen()
	if again := b.Pardons(); len(again) != 0 {
		t.Errorf("the record was told, and yet: %v", again)
	}
}

func TestGuard_PassingForgetsOnesOwnFailuresAlone(t *testing.T) {
	b := newBench(t)
	b.try("people/arkwith", "1111")
	b.try("people/arkwith", "1111")
	b.want(b.try("people/arkwith", "2468"), "")
	b.want(b.try("people/arkwith", "1111"), "PIN_WRONG: wrong PIN; 2 more tries before a wait")

	// Somebody guesses at others, and signs in with the own PIN in between: the
	// tablet still counts.
	b = newBench(t)
	for _, person := range []string{"people/a", "people/b", "people/c"} {
		b.try(person, "1111")
		b.clock.move(time.Second)
		b.want(b.try("people/own", "2468"), "")
	}
	b.try("people/d", "1111")
	b.want(b.try("people/e", "2468"), "PIN_WAIT: wait 2 s, then try again")
}

func TestGuard_LimitsATabletWithoutShuttingOutTheCrew(t *testing.T) {
	b := newBench(t)
	names := []string{"people/a", "people/b", "people/c", "people/d", "people/e", "people/f", "people/g", "people/h", "people/i"}
	for i, wait := range []time.Duration{0, 0, 1, 2, 4, 8, 16, 30, 30} {
		b.want(b.try(names[i], "1111"), "PIN_WRONG: wrong PIN; 2 more tries before a wait")
		if wait == 0 {
			continue
		}
		b.clock.move(wait*time.Second - 1)
		b.want(b.try("people/waiting", "2468"), "PIN_WAIT: wait 1 s, then try again")
		b.clock.move(1)
	}
	b.want(b.try("people/waiting", "2468"), "") // never locked
	b.want(b.tryAt("tablet-2", "people/other", "2468"), "")
	b.clock.move(time.Hour + 1)
	b.try("people/a", "1111")
	b.want(b.try("people/waiting", "2468"), "") // an old row of failures is forgotten
}

func TestGuard_SaysTheSameOfNobodyAndOfAWrongPIN(t *testing.T) {
	b := newBench(t)
	for range 12 {
		nobody, somebody := b.tryAt("tablet-1", "people/nobody", "2468"), b.tryAt("tablet-2", "people/arkwith", "1111")
		if nobody != somebody {
			t.Fatalf("nobody is told %q, somebody %q", nobody, somebody)
		}
		b.clock.move(5 * time.Minute)
	}
}

func TestGuard_AClockSetBackProlongsNoWait(t *testing.T) {
	b := newBench(t)
	for range 3 {
		b.try("people/arkwith", "1111")
	}
	b.clock.move(-365 * 24 * time.Hour)
	b.want(b.try("people/arkwith", "2468"), "PIN_WAIT: wait 1 s, then try again")
}

func TestGuard_CountsBeforeItTries(t *testing.T) {
	b := newBench(t)
	// The caller goes away while the hash waits for its turn: nothing is counted.
	gone, cancel := context.WithCancel(context.Background())
	cancel()
	b.slot <- struct{}{}
	b.slot <- struct{}{}
	if err := b.Check(gone, Attempt{Person: "people/arkwith", Device: "tablet-1", PIN: "1111", Hash: cheap("2468")}); !errors.Is(err, context.Canceled) {
		t.Errorf("with both places taken: %v", err)
	}
	<-b.slot
	<-b.slot
	b.want(b.try("people/arkwith", "1111"), "PIN_WRONG: wrong PIN; 2 more tries before a wait")

	// What the file says after charging and before the answer: a failure more.
	if _, err := b.charge(Attempt{Person: "people/arkwith", Device: "tablet-1"}); err != nil {
		t.Fatal(err)
	}
	b.reopen() // the process was killed while it hashed
	b.want(b.try("people/arkwith", "1111"), "PIN_WRONG: wrong PIN; wait 1 s, then try again")
}

func TestGuard_WithoutADiskNobodySignsIn(t *testing.T) {
	b := newBench(t)
	if err := os.RemoveAll(filepath.Dir(b.file)); err != nil {
		t.Fatal(err)
	}
	if got := b.try("people/arkwith", "2468"); !strings.HasPrefix(got, "PIN_COUNTERS_LOST") {
		t.Errorf("got %q", got)
	}
}

func TestGuard_CountsMadeUpNamesTogether(t *testing.T) {
	b := newBench(t)
	for i := range mostNames {
		b.count.People["people/x"+strings.Repeat("x", i)] = counter{Failures: 1, Last: b.clock.read()}
	}
	b.want(b.try("people/new", "1111"), "PIN_WRONG: wrong PIN; 2 more tries before a wait")
	b.want(b.try("people/newer", "1111"), "PIN_WRONG: wrong PIN; 1 more try before a wait")
	if n := len(b.count.People); n != mostNames+1 {
		t.Errorf("%d names are counted", n)
	}
}

func TestOpenGuard_RefusesASpoiltFile(t *testing.T) {
	for _, content := range []string{"", "{", `{"people":{},"devices":{}}`, `{"version":1,"people":{}, "devices":null}`} {
		file := filepath.Join(t.TempDir(), "pins.json")
		if err := os.WriteFile(file, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := OpenGuard(file, time.Now); !fault.Is(err, fault.Lost) {
			t.Errorf("%q: %v", content, err)
		}
	}
}

func TestGuard_ManyAtOnceAreAllCounted(t *testing.T) {
	b := newBench(t)
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() { b.try("people/arkwith", "1111") })
	}
	wg.Wait()
	b.mu.Lock()
	defer b.mu.Unlock()
	if n := b.count.People["people/arkwith"].Failures; n != firstWait {
		t.Errorf("%d failures were counted of 8 at once; the wait begins after %d", n, firstWait)
	}
}
