package round_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/access"
	"bayround/internal/fault"
	"bayround/internal/round"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

func TestDesk_ShowsTheVehiclesAndWhatIsDue(t *testing.T) {
	tab := newHands(t)
	v := tab.View()
	if v.Phase != round.PhaseVehicles || v.Station != "" || v.TimeZone.String() != "Europe/London" || len(v.Vehicles) != 10 {
		t.Fatalf("phase %d, station %q, zone %v, %d vehicles", v.Phase, v.Station, v.TimeZone, len(v.Vehicles))
	}
	for i, vehicle := range v.Vehicles {
		if !vehicle.Provisional || vehicle.Readiness.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN || len(vehicle.Routines) == 0 {
			t.Errorf("%s: %+v", vehicle.Configuration.GetCallSign(), vehicle)
		}
		if i > 0 && v.Vehicles[i-1].Configuration.GetCallSign() > vehicle.Configuration.GetCallSign() {
			t.Errorf("%s stands before %s", v.Vehicles[i-1].Configuration.GetCallSign(), vehicle.Configuration.GetCallSign())
		}
	}
	for _, p := range v.People {
		if p.GetPinArgon2Id() != "" {
			t.Errorf("the view tells the PIN of %s", p.GetTitle())
		}
	}
	for _, r := range dueOn(v, wn11) {
		if r.Steps == 0 || r.Unproven != r.Steps {
			t.Errorf("%s: %d of %d unproven on a vehicle that nobody has checked", r.Routine.GetName(), r.Unproven, r.Steps)
		}
	}
	tab.begin(wn11, shift, "people/quellmere")
	for range 5 {
		tab.sound()
	}
	v = tab.act("home")
	for _, r := range dueOn(v, wn11) {
		if r.Routine.GetName() == shift && r.Unproven != r.Steps-5 {
			t.Errorf("after five answers %d of %d are unproven", r.Unproven, r.Steps)
		}
	}
	if len(resumable(v, wn11)) != 1 {
		t.Errorf("to be gone on with: %v", resumable(v, wn11))
	}
}

func dueOn(v *round.View, name string) []round.RoutineDue {
	for _, vehicle := range v.Vehicles {
		if vehicle.Configuration.GetName() == name {
			return vehicle.Routines
		}
	}
	return nil
}

func resumable(v *round.View, name string) []*pb.Round {
	for _, vehicle := range v.Vehicles {
		if vehicle.Configuration.GetName() == name {
			return vehicle.Resumable
		}
	}
	return nil
}

// What was found moves no vehicle in the list: nobody's finger lands on another.
func TestDesk_TheListStaysAsItIs(t *testing.T) {
	tab := newHands(t)
	before := callSigns(tab.View())
	tab.begin("vehicles/wn90", shift, "people/quellmere")
	tab.goTo("FLU-150/engine-flap")
	for _, id := range faultsOf(tab.View().Step) {
		if choiceOf(tab.act("see", "condition", id).Step, id).Verdict == pb.Verdict_VERDICT_UNFIT {
			break
		}
		tab.act("see", "condition", id)
	}
	tab.look()
	if v := tab.record(); v.Chosen.Readiness.GetVerdict() != pb.Verdict_VERDICT_UNFIT {
		t.Fatalf("a leak makes it %v", v.Chosen.Readiness.GetVerdict())
	}
	if after := callSigns(tab.act("home")); !slices.Equal(before, after) || !slices.IsSorted(after) {
		t.Errorf("the list was %v and is %v", before, after)
	}
}

func callSigns(v *round.View) (all []string) {
	for _, vehicle := range v.Vehicles {
		all = append(all, vehicle.Configuration.GetCallSign())
	}
	return all
}

func TestDesk_SigningIn(t *testing.T) {
	tab := newHands(t)
	tab.refused("CHOICE_UNKNOWN", "choose", "vehicle", "vehicles/none", "routine", shift)
	tab.refused("CHOICE_UNKNOWN", "choose", "vehicle", wn11, "routine", "routines/none")
	tab.refused("PLAN_EMPTY", "choose", "vehicle", "vehicles/t1", "routine", "routines/winter")
	if v := tab.act("choose", "vehicle", wn11, "routine", shift); v.Phase != round.PhaseSignIn || v.Chosen.Configuration.GetName() != wn11 || v.Notice != nil || v.Station != "Skarholm Quay" {
		t.Fatalf("phase %d, chosen %v, notice %v", v.Phase, v.Chosen, v.Notice)
	}
	tab.refused("NOBODY_SIGNED_IN", "assistant", "person", "")
	tab.refused("PIN_MALFORMED", "sign-in", "person", "people/arkwith", "pin", "24")
	for range 5 { // whoever forgot to choose a name has tried nothing
		tab.refused("NOBODY_NAMED", "sign-in", "pin", "2468")
	}
	if got := tab.refused("PIN_WRONG", "sign-in", "person", "people/arkwith", "pin", "1111"); got != "wrong PIN; 2 more tries before a wait" {
		t.Errorf("said %q", got)
	}
	nobody := tab.refused("PIN_WRONG", "sign-in", "person", "people/nobody", "pin", "2468")
	if without := tab.refused("PIN_WRONG", "sign-in", "person", "people/steddow", "pin", "2468"); nobody != without {
		t.Errorf("nobody is told %q, somebody without a PIN %q", nobody, without)
	}
	tab.clock.Advance(time.Minute)
	v := tab.act("sign-in", "person", "people/arkwith", "pin", "2468")
	if v.Session.Driver.GetTitle() != "Tamsel Arkwith" || !v.Session.Offline || !v.Session.Since.Equal(tab.clock.Now()) || v.Session.Assistant != nil {
		t.Errorf("session %+v", v.Session)
	}
	tab.refused("ASSISTANT_IS_DRIVER", "assistant", "person", "people/arkwith")
	tab.refused("PERSON_UNKNOWN", "assistant", "person", "people/nobody")
	if v = tab.act("assistant", "person", "people/quellmere"); v.Phase != round.PhaseBefore || v.Session.Assistant.GetTitle() != "Borin Quellmere" {
		t.Errorf("phase %d, session %+v", v.Phase, v.Session)
	}
	tab.refused("MINUTES_WRONG", "engine", "minutes", "-1")
	tab.refused("MINUTES_WRONG", "engine", "minutes", "soon")
	tab.refused("TEMPERATURE_WRONG", "ambient", "text", "80")
	tab.refused("TEMPERATURE_WRONG", "ambient", "text", "mild")
	tab.act("ambient", "text", "-2.5")
	stopped := tab.clock.Now().Add(-90 * time.Minute)
	v = tab.act("engine", "minutes", "90")
	if v.Before.AmbientText != "-2.5" || !v.Before.EngineStopped.Equal(stopped) {
		t.Errorf("before %+v", v.Before)
	}
	v = tab.act("begin")
	r := tab.roundOf(v.Round.Name)
	if r.GetDriver() != "people/arkwith" || r.GetAssistant() != "people/quellmere" || r.GetDevice() != "tablet-1" ||
		r.GetConditions().GetAmbientCelsius() != -2.5 || !r.GetConditions().GetEngineStopped().AsTime().Equal(stopped) {
		t.Errorf("opened %v", r)
	}
}

func TestDesk_AnIdleSessionEndsOutsideARound(t *testing.T) {
	tab := newHands(t)
	tab.act("choose", "vehicle", wn11, "routine", shift)
	tab.act("sign-in", "person", "people/arkwith", "pin", "2468")
	if v := tab.elapse(3*time.Minute - 1); v.Session == nil {
		t.Error("it ended before three minutes")
	}
	if v := tab.elapse(1); v.Session != nil || v.Phase != round.PhaseVehicles || v.Chosen != nil {
		t.Errorf("after three minutes: session %v, phase %d", v.Session, v.Phase)
	}
	tab.begin(wn11, shift, "")
	tab.later(time.Hour)
	tab.act("overview")
	tab.sign()
	if v := tab.elapse(3 * time.Minute); v.Session != nil || v.Phase != round.PhaseVehicles {
		t.Errorf("after the hand-over: session %v, phase %d", v.Session, v.Phase)
	}
}

func TestDesk_SigningTakesThePINOfTheDriver(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "")
	tab.act("overview")
	tab.act("sign-page")
	tab.refused("PIN_WRONG", "sign", "pin", "1357")
	if len(tab.finishEvents()) != 0 {
		t.Fatal("the round has ended")
	}
	v := tab.act("sign", "pin", "2468")
	if v.Phase != round.PhaseHandover || !strings.Contains(v.Closing.Handover, "Left open:\n- ") {
		t.Errorf("phase %d, hand-over\n%s", v.Phase, v.Closing.Handover)
	}
	if v = tab.act("done"); v.Phase != round.PhaseVehicles || v.Session == nil || v.Round != nil {
		t.Errorf("phase %d, session %v", v.Phase, v.Session)
	}
	tab.begin(wn11, shift, "")
	tab.refused("NOTE_MISSING", "give-up", "note", " ")
	v = tab.act("give-up", "note", "called to stand by")
	if v.Phase != round.PhaseHandover || !strings.Contains(v.Closing.Handover, "From the driver: Given up: called to stand by") {
		t.Errorf("phase %d, hand-over\n%s", v.Phase, v.Closing.Handover)
	}
	tab.act("done")
	if v = tab.act("sign-out"); v.Session != nil {
		t.Errorf("session %v", v.Session)
	}
}

func TestDesk_RefusesWhatIsOutOfPlace(t *testing.T) {
	tab := newHands(t)
	tab.refused("ACT_UNKNOWN", "explode")
	for _, name := range []string{"begin", "record", "enter", "confirm", "skip", "undo", "next", "overview", "sign", "away", "engine", "gauge"} {
		tab.refused("ACT_OUT_OF_PLACE", name)
	}
	if v := tab.act("dismiss-notice"); v.Notice != nil {
		t.Errorf("notice %v", v.Notice)
	}
	tab.refused("ROUND_UNKNOWN", "resume-round", "round", "rounds/none")
	tab.begin(wn11, shift, "")
	tab.refused("STEP_UNKNOWN", "go", "step", "GLS-999/front")
	tab.refused("FIRST_STEP", "previous")
	tab.act("next")
	tab.act("previous")
	if v := tab.View(); v.Round.Current != 0 || !v.Step.FirstOfStop {
		t.Errorf("step %d of the walk", v.Round.Current)
	}
}

// The tablet's disk fails in the middle of an answer: nothing is shown as done.
// Started anew, the answer is recorded once.
func TestDesk_ATwinThatCannotAnswer(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	tab.act("go", "step", atWindscreen)
	tab.act("see", "condition", "sound")
	tab.kit.Close()
	if err := tab.try("record"); !fault.Is(err, fault.Unavailable) {
		t.Fatalf("on a twin that has stopped: %v", err)
	}
	v := tab.View()
	if v.Notice == nil || v.Step == nil || v.Step.StepId != atWindscreen || !choiceOf(v.Step, "sound").Chosen {
		t.Fatalf("the view goes on as if it were recorded: %v", v.Notice)
	}
	if err := tab.try("record"); !fault.Is(err, fault.Unavailable) {
		t.Fatalf("again: %v", err)
	}
	if err := tab.Close(); err != nil {
		t.Fatal(err)
	}
	tab.kit.Reopen()
	tab.open()
	v = tab.View()
	if v.Notice != nil || v.Given == nil || v.Given.StepID != atWindscreen || len(tab.results()) != 1 {
		t.Errorf("started anew: notice %v, given %+v, %d results", v.Notice, v.Given, len(tab.results()))
	}
}

func TestDesk_ASessionFileOfANewerProgramIsRefused(t *testing.T) {
	t.Parallel()
	clock := stationtest.NewClock()
	kit := stationtest.OpenWith(t, clock, station.Options{Dir: t.TempDir(), Now: clock.Now, Defaults: stationtest.Small()})
	dir := t.TempDir()
	guard, err := access.OpenGuard(filepath.Join(dir, "pins.json"), clock.Now)
	must(t, err)
	for content, refused := range map[string]bool{`{"version":2,"phase":1}`: true, `{"version":1,"phase":1}`: false, ``: false, `{"ver`: false} {
		if err := os.WriteFile(filepath.Join(dir, "session.json"), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		d, err := round.OpenDesk(ctx, round.DeskConfig{Twin: kit.Station, Guard: guard, Device: "tablet-1", Dir: dir, Clock: clock.Now})
		if refused != fault.Is(err, fault.Precondition) || !refused && err != nil {
			t.Errorf("%q: %v", content, err)
		}
		if d != nil {
			if err := d.Close(); err != nil {
				t.Error(err)
			}
		}
	}
}

// Anybody who reads the session file learns no PIN from it.
func TestDesk_TheSessionFileHoldsNoPIN(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "")
	tab.act("overview")
	tab.act("sign-page")
	tab.refused("PIN_WRONG", "sign", "pin", "8642")
	b, err := os.ReadFile(filepath.Join(tab.dir, "session.json"))
	if err != nil || !json.Valid(b) {
		t.Fatalf("%v: %s", err, b)
	}
	// Ids are drawn and may hold any four digits.
	told := regexp.MustCompile(`[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}`).ReplaceAllString(string(b), "")
	if slices.ContainsFunc([]string{"2468", "8642", "argon2id"}, func(s string) bool { return strings.Contains(told, s) }) {
		t.Errorf("the file holds a PIN: %s", b)
	}
}
