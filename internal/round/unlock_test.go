package round_test

import (
	"path/filepath"
	"testing"
	"time"

	"bayround/internal/access"
	"bayround/internal/round"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// lockOut tries ten wrong PINs of somebody, each after the longest wait.
func (tab *hands) lockOut(person string) {
	tab.t.Helper()
	for range 9 {
		tab.refused("PIN_WRONG", "sign-in", "person", person, "pin", "1357")
		tab.clock.Advance(5 * time.Minute)
	}
	tab.refused("PIN_LOCKED", "sign-in", "person", person, "pin", "1357")
}

// locksIn are the events of a record that tell of locks: who, by whom, on which device.
func locksIn(t *testing.T, k *stationtest.Kit) (all []string) {
	t.Helper()
	must(t, k.Events(ctx, 1, func(ev *pb.JournalEvent) error {
		switch {
		case ev.GetLockedOut().GetFailures() == 10:
			all = append(all, ev.GetDevice()+" locks out "+ev.GetLockedOut().GetLocked()+" "+ev.GetPerson())
		case ev.GetUnlocked() != nil:
			all = append(all, ev.GetDevice()+" lets in "+ev.GetUnlocked().GetUnlocked()+" "+ev.GetPerson())
		}
		return nil
	}))
	return all
}

func wantLocks(t *testing.T, when string, k *stationtest.Kit, want ...string) {
	t.Helper()
	got := locksIn(t, k)
	if len(got) != len(want) {
		t.Fatalf("%s: the record tells of %q, want %q", when, got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%s: event %d is %q, want %q", when, i, got[i], want[i])
		}
	}
}

// Who was locked out is named on the page to sign in, and let in by an officer's PIN, which
// is another person's. The record tells of both once, over restarts.
func TestDesk_AnOfficerUnlocks(t *testing.T) {
	t.Parallel()
	clock := stationtest.NewClock()
	tab := handsOn(t, stationtest.OpenWith(t, clock, station.Options{Dir: t.TempDir(), Now: clock.Now, Defaults: altered(t, withOfficers()...)}), clock)
	tab.act("choose", "vehicle", firstPump, "routine", shiftCheck)
	if v := tab.View(); len(v.Locked) != 0 {
		t.Fatalf("locked out: %v", v.Locked)
	}
	tab.refused("NOT_LOCKED", "unlock", "locked", "people/driver", "person", "people/officer", "pin", "2468")
	tab.lockOut("people/driver")
	locked := "tablet-1 locks out people/driver "
	wantLocks(t, "locked out", tab.kit, locked)
	tab.refused("PIN_LOCKED", "sign-in", "person", "people/driver", "pin", "2468") // the right one does not help
	tab.reopen()
	if v := tab.View(); len(v.Locked) != 1 || v.Locked[0].GetName() != "people/driver" {
		t.Fatalf("locked out: %v", v.Locked)
	}
	wantLocks(t, "tried again and started anew", tab.kit, locked)

	tab.clock.Advance(5 * time.Minute)
	tab.refused("SAME_PERSON", "unlock", "locked", "people/driver", "person", "people/driver", "pin", "2468")
	tab.refused("NOT_OFFICER", "unlock", "locked", "people/driver", "person", "people/mechanic", "pin", "2468")
	tab.refused("PERSON_UNKNOWN", "unlock", "locked", "people/driver", "pin", "2468")
	tab.refused("NOT_LOCKED", "unlock", "person", "people/officer", "pin", "2468")
	tab.refused("PIN_WRONG", "unlock", "locked", "people/driver", "person", "people/officer", "pin", "1357")
	tab.refused("PIN_LOCKED", "sign-in", "person", "people/driver", "pin", "2468")
	tab.clock.Advance(5 * time.Minute)
	if v := tab.act("unlock", "locked", "people/driver", "person", "people/officer", "pin", "2468"); len(v.Locked) != 0 || v.Phase != round.PhaseSignIn || v.Session != nil {
		t.Fatalf("locked out: %v; phase %v, signed in %v", v.Locked, v.Phase, v.Session)
	}
	tab.reopen()
	if v := tab.act("sign-in", "person", "people/driver", "pin", "2468"); v.Session == nil {
		t.Error("who was unlocked cannot sign in")
	}
	wantLocks(t, "unlocked", tab.kit, locked, "tablet-1 lets in people/driver people/officer")
}

// A name that nobody bears is counted like a name, and told to nobody.
func TestDesk_ALockOfNobodyIsNotTold(t *testing.T) {
	t.Parallel()
	clock := stationtest.NewClock()
	tab := handsOn(t, stationtest.OpenWith(t, clock, station.Options{Dir: t.TempDir(), Now: clock.Now, Defaults: altered(t, withOfficers()...)}), clock)
	tab.act("choose", "vehicle", firstPump, "routine", shiftCheck)
	tab.lockOut("people/ghost")
	if v := tab.View(); len(v.Locked) != 0 {
		t.Errorf("locked out: %v", v.Locked)
	}
	wantLocks(t, "nobody", tab.kit)
}

// kiosk unlock is another program: the record hears of it from the tablet.
func TestDesk_AnUnlockFromOutsideIsTold(t *testing.T) {
	t.Parallel()
	clock := stationtest.NewClock()
	tab := handsOn(t, stationtest.OpenWith(t, clock, station.Options{Dir: t.TempDir(), Now: clock.Now, Defaults: altered(t, withOfficers()...)}), clock)
	tab.act("choose", "vehicle", firstPump, "routine", shiftCheck)
	tab.lockOut("people/driver")
	outside, err := access.OpenGuard(filepath.Join(tab.dir, "pins.json"), clock.Now)
	must(t, err)
	must(t, outside.Pardon("people/driver"))
	tab.clock.Advance(time.Minute)
	tab.act("sign-in", "person", "people/driver", "pin", "2468")
	tab.act("sign-out")
	tab.reopen()
	wantLocks(t, "from outside", tab.kit, "tablet-1 locks out people/driver ", "tablet-1 lets in people/driver ")
}

// What happened without the network reaches the station once.
func TestDesk_LocksAreSent(t *testing.T) {
	t.Parallel()
	o := openOfRecord(t, withOfficers()...)
	b, tab := apart(t, o, time.Hour)
	tab.act("choose", "vehicle", firstPump, "routine", shiftCheck)
	tab.lockOut("people/driver")
	tab.clock.Advance(time.Minute)
	tab.act("unlock", "locked", "people/driver", "person", "people/officer", "pin", "2468")
	b.start()
	t.Cleanup(b.stop)
	tab.up = b.up
	tab.reopen()
	v := tab.await(func(v *round.View) bool { return v.Link.Live && v.Link.Pending == 0 })
	if len(v.Link.Refused) > 0 {
		t.Errorf("refused: %v", v.Link.Refused)
	}
	wantLocks(t, "at the station", o.Kit, "tablet-1 locks out people/driver ", "tablet-1 lets in people/driver people/officer")
}
