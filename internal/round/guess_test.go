package round_test

import (
	"errors"
	"testing"
	"time"

	"bayround/internal/fault"
	"bayround/internal/round"
	"bayround/internal/station"
	"bayround/internal/stationtest"
)

// Who has a PIN, who has none and a name that nobody bears are told the same, act by act,
// until they are locked out and after that.
func TestDesk_NoAnswerTellsWhoHasAPIN(t *testing.T) {
	t.Parallel()
	const withPIN, without, nobody = "people/driver", "people/other", "people/ghost"
	told := map[string][]string{}
	for _, person := range []string{withPIN, without, nobody} {
		clock := stationtest.NewClock()
		tab := handsOn(t, stationtest.OpenWith(t, clock, station.Options{Dir: t.TempDir(), Now: clock.Now, Defaults: altered(t, withOfficers()...)}), clock)
		tab.act("choose", "vehicle", firstPump, "routine", shiftCheck)
		for n := range 14 {
			err := tab.try("sign-in", "person", person, "pin", "1357")
			var f *fault.Fault
			if !errors.As(err, &f) {
				t.Fatalf("%s: %v", person, err)
			}
			v := tab.View()
			if v.Phase != round.PhaseSignIn || v.Session != nil || v.Notice.Message != f.Message {
				t.Fatalf("%s: phase %v, session %v, notice %v", person, v.Phase, v.Session, v.Notice)
			}
			told[person] = append(told[person], f.Reason+" "+f.Message)
			if n%3 == 2 {
				tab.clock.Advance(5 * time.Minute)
			}
		}
	}
	for n, want := range told[withPIN] {
		for _, person := range []string{without, nobody} {
			if got := told[person][n]; got != want {
				t.Errorf("try %d: who has a PIN is told %q, %s %q", n+1, want, person, got)
			}
		}
	}
}
