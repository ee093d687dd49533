package round_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"

	"bayround/internal/round"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// idle is after how long a session ends by itself (ours: 3 minutes).
const idle = 3 * time.Minute

// ends are two ways in which the tablet learns that the time is over: by itself, and by the
// act of somebody who finds it.
var ends = map[string]func(tab *hands){
	"by itself": func(tab *hands) { tab.elapse(0) },
	"by an act": func(tab *hands) { tab.act("dismiss-notice") },
}

// Who leaves the tablet while a round is open is signed out; nothing is signed or recorded in
// that name any more, and whoever signs in goes on where it was left.
func TestDesk_AnIdleSessionEndsAndTheWalkIsKept(t *testing.T) {
	for name, end := range ends {
		t.Run(name, func(t *testing.T) {
			tab := newHands(t)
			tab.begin(wn11, shift, "people/quellmere")
			tab.sound()
			tab.sound()
			tab.act("skip", "reason", "not_reachable")
			before := tab.View().Round
			tab.act("home")
			recorded := len(tab.results())

			tab.clock.Advance(idle - time.Second)
			if v := tab.elapse(0); v.Session == nil {
				t.Fatal("signed out before the time is over")
			}
			tab.clock.Advance(time.Second)
			end(tab)
			v := tab.View()
			if v.Session != nil || v.Phase != round.PhaseVehicles {
				t.Fatalf("after the time: phase %v, signed in %v", v.Phase, v.Session)
			}
			for _, act := range [][]string{
				{"record"},
				{"enter"},
				{"confirm"},
				{"skip", "reason", "no_time"},
				{"sign-page"},
				{"sign", "pin", "2468"},
				{"hand-over", "pin", "2468"},
				{"begin"},
				{"assistant", "person", ""},
			} {
				tab.refused("ACT_OUT_OF_PLACE", act[0], act[1:]...)
			}
			if got := len(tab.results()); got != recorded {
				t.Errorf("%d results were recorded after the session had ended", got-recorded)
			}
			resp, err := tab.kit.GetRound(ctx, &pb.GetRoundRequest{Name: before.Name})
			must(t, err)
			if r := resp.GetRound(); r.GetState() != pb.RoundState_ROUND_STATE_OPEN || len(r.GetSignatures()) != 0 {
				t.Errorf("the round is %v, signed by %v", r.GetState(), r.GetSignatures())
			}

			tab.act("resume-round", "round", before.Name)
			tab.refused("NOBODY_SIGNED_IN", "assistant", "person", "people/quellmere")
			tab.act("sign-in", "person", "people/arkwith", "pin", "2468")
			tab.act("assistant", "person", "people/quellmere")
			tab.act("engine", "minutes", "603")
			v = tab.act("begin")
			if diff := cmp.Diff(statesOf(before.Marks), statesOf(v.Round.Marks)); diff != "" {
				t.Errorf("what was answered before (-) and after (+) the session ended:\n%s", diff)
			}
		})
	}
}

// statesOf are the marks by step.
func statesOf(marks []round.Mark) map[string]round.MarkState {
	states := map[string]round.MarkState{}
	for _, m := range marks {
		states[m.StepID] = m.State
	}
	return states
}

// Where a signature or a word is waited for, the page does not stay open for whoever comes by.
func TestDesk_AnIdlePageToSignIsClosed(t *testing.T) {
	for name, end := range ends {
		t.Run(name, func(t *testing.T) {
			clock := stationtest.NewClock()
			tab := handsOn(t, stationtest.OpenWith(t, clock, station.Options{Dir: t.TempDir(), Now: clock.Now, Defaults: altered(t, withOfficers()...)}), clock)
			tab.finish()
			tab.act("second")
			seen := tab.View().Closing.Seen
			tab.clock.Advance(idle)
			end(tab)
			if v := tab.View(); v.Session != nil || v.Phase != round.PhaseVehicles || len(v.Awaiting) != 1 {
				t.Fatalf("after the time: phase %v, signed in %v, %d rounds wait", v.Phase, v.Session, len(v.Awaiting))
			}
			tab.refused("ACT_OUT_OF_PLACE", "sign-second", "person", "people/officer", "pin", "2468", "seen", seen)
			tab.refused("ACT_OUT_OF_PLACE", "hand-over", "pin", "2468")
		})
	}
}

// A round that lies about is nobody's: nothing is answered or signed until the driver has
// given the PIN again, and then it goes on where it stood. TURNOUT and STOP wait for nobody.
func TestDesk_ARoundInHandAsksWhoItIs(t *testing.T) {
	for name, end := range ends {
		t.Run(name, func(t *testing.T) {
			tab := newHands(t)
			tab.begin(wn11, shift, "people/quellmere")
			lit, recorded := tab.View().Step.StepId, len(tab.results())
			tab.clock.Advance(idle - time.Second)
			if v := tab.elapse(0); v.Phase != round.PhaseStep {
				t.Fatalf("before the time is over: phase %d", v.Phase)
			}
			tab.clock.Advance(time.Second)
			end(tab)
			if v := tab.View(); v.Phase != round.PhaseAsleep || v.Step != nil || v.Session.Driver.GetName() != "people/arkwith" {
				t.Fatalf("after the time: phase %d, step %v, session %v", v.Phase, v.Step, v.Session)
			}
			for _, act := range [][]string{
				{"record"}, {"enter"}, {"skip", "reason", "no_time"}, {"overview"}, {"sign", "pin", "2468"}, {"home"}, {"give-up"},
			} {
				tab.refused("ACT_OUT_OF_PLACE", act[0], act[1:]...)
			}
			tab.refused("PIN_WRONG", "wake", "pin", "1357")
			v := tab.act("wake", "pin", "2468")
			if v.Phase != round.PhaseStep || v.Step.StepId != lit || len(tab.results()) != recorded {
				t.Errorf("awake: phase %d at %v, %d results more", v.Phase, v.Step, len(tab.results())-recorded)
			}

			tab.elapse(idle)
			if v = tab.act("turnout"); v.Phase != round.PhaseTurnout {
				t.Fatalf("turnout: phase %d", v.Phase)
			}
			tab.act("away")
			if v = tab.act("back"); v.Phase != round.PhaseSignIn || v.Session != nil {
				t.Errorf("back: phase %d, signed in %v", v.Phase, v.Session)
			}
		})
	}
}

// Whose roles are changed at the station is signed out, and does what the new ones allow
// after signing in again.
func TestDesk_AChangeOfRolesEndsTheSession(t *testing.T) {
	t.Parallel()
	tab, record, _ := openLinked(t)
	tab.await(func(v *round.View) bool { return settled(v) && len(v.Gauges) > 0 })
	tab.begin(wn11, shift, "people/quellmere")
	tab.sound()
	name, recorded := tab.View().Round.Name, len(tab.results())
	people := proto.CloneOf(record.Library()).GetPeople()
	for _, who := range people {
		if who.GetName() == "people/arkwith" {
			who.Roles = []pb.Role{pb.Role_ROLE_WORKSHOP}
		}
	}
	if _, err := record.Station.AdoptLibrary(ctx, record.ID(), &pb.StationFile{People: people}); err != nil {
		t.Fatal(err)
	}
	v := tab.await(func(v *round.View) bool { return v.Session == nil })
	if v.Phase != round.PhaseVehicles || v.Notice == nil || v.Notice.Reason != "ROLES_CHANGED" || len(tab.results()) != recorded {
		t.Fatalf("phase %d, notice %+v, %d results more", v.Phase, v.Notice, len(tab.results())-recorded)
	}
	tab.act("resume-round", "round", name)
	tab.refused("NOT_A_DRIVER", "sign-in", "person", "people/arkwith", "pin", "2468")
}
