package round

import (
	"bytes"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"bayround/internal/catalogue"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// wayItems stand beside those of the small station: two for which one is not enough, one of
// them with a way alone; one that is done with the engine running, after the oil; one that closes. The pump
// comes after the windscreen.
const wayItems = `
    - id: ASS-010
      title: Brake lamps
      stop: side
      family: Lamps
      prompt: Look at them.
      answer_kind: ANSWER_KIND_CONDITION
      conditions: [{id: sound, text: both burn, sound: true}, {id: "01", text: one is dark, fault: ASS-010-01}]
      faults: [{id: ASS-010-01, text: Lamp dark, driver_does: Tell the workshop., source: common practice}]
      state: {engine: ENGINE_STATE_OFF, assistant: true}
      assistant_command: Press the brake pedal.
      alone_prompt: Look at the wall behind.
      position: POSITION_OUTSIDE
      anchor: rear
      fits_any: [powered]
      repeat_over: REPEAT_OVER_ONCE
      triggers: [TRIGGER_SHIFT]
      good_for: 14h
      source: common practice
    - id: ASS-020
      title: Steering joints
      stop: engine
      family: Steering
      prompt: Look at them while the wheel is turned.
      answer_kind: ANSWER_KIND_CONDITION
      conditions: [{id: sound, text: no play, sound: true}, {id: "01", text: play, fault: ASS-020-01}]
      faults: [{id: ASS-020-01, text: Play, driver_does: Tell the workshop., source: common practice}]
      state: {engine: ENGINE_STATE_OFF, assistant: true}
      assistant_command: Turn the wheel.
      position: POSITION_OUTSIDE
      anchor: front
      fits_any: [powered]
      repeat_over: REPEAT_OVER_ONCE
      triggers: [TRIGGER_SHIFT]
      good_for: 14h
      source: common practice
    - id: RUN-010
      title: Engine runs evenly
      stop: engine
      family: Engine
      prompt: Start it and listen.
      answer_kind: ANSWER_KIND_CONDITION
      conditions: [{id: sound, text: runs evenly, sound: true}, {id: "01", text: misses, fault: RUN-010-01}]
      faults: [{id: RUN-010-01, text: Engine misses, driver_does: Tell the workshop., source: common practice}]
      state: {engine: ENGINE_STATE_COLD_START, ignition_on: true}
      after: [OIL-010, TYR-010]
      position: POSITION_INSIDE_CAB
      anchor: driver-seat
      fits_any: [powered]
      repeat_over: REPEAT_OVER_ONCE
      triggers: [TRIGGER_SHIFT]
      good_for: 14h
      source: common practice
    - id: CLO-010
      title: Doors shut
      stop: close
      family: Close-down
      prompt: Look along both sides.
      answer_kind: ANSWER_KIND_CONDITION
      conditions: [{id: sound, text: all shut, sound: true}, {id: "01", text: one open, fault: CLO-010-01}]
      faults: [{id: CLO-010-01, text: Door open, driver_does: Shut it., put_right_now: true, source: common practice}]
      state: {engine: ENGINE_STATE_OFF}
      position: POSITION_OUTSIDE
      anchor: front
      fits_any: [powered]
      repeat_over: REPEAT_OVER_ONCE
      triggers: [TRIGGER_SHIFT]
      good_for: 14h
      source: common practice
`

// wayStation is a small station with more to walk for.
func wayStation(t testing.TB) *stationtest.Kit {
	files := stationtest.Small()
	for _, change := range [][2]string{
		{"    - {id: side, order: 2, title: side}\n", "    - {id: side, order: 2, title: side}\n    - {id: close, order: 3, title: closing}\n"},
		{"      anchor: pump\n", "      anchor: pump\n      after: [GLA-010]\n"},
		{"\nroutines:\n", wayItems + "routines:\n"},
	} {
		if !bytes.Contains(files[0].Content, []byte(change[0])) {
			t.Fatalf("the small station has no %q", change[0])
		}
		files[0].Content = bytes.Replace(files[0].Content, []byte(change[0]), []byte(change[1]), 1)
	}
	clock := stationtest.NewClock()
	return stationtest.OpenWith(t, clock, station.Options{Dir: t.TempDir(), Now: clock.Now, Defaults: append([]catalogue.File(nil), files...)})
}

// walker walks a round by what the desk lights. Nothing is recorded: an answer is only
// noted as given, so that many rounds can be walked.
type walker struct {
	*Desk
	t     *rapid.T
	now   time.Time
	asked map[string]int // how often a step was lit because it was its turn, and answered then
}

func newWalker(t *rapid.T, kit *stationtest.Kit, plan *pb.Plan, lib *pb.StationFile) *walker {
	w := &walker{t: t, now: stationtest.Morning, asked: map[string]int{}}
	sc := &scene{plan: proto.CloneOf(plan), round: &pb.Round{Name: "rounds/way"}}
	sc.takeLibrary("", lib, "")
	w.Desk = &Desk{twin: kit.Station, session: newSession(), scene: sc, log: slog.New(slog.DiscardHandler), wall: func() time.Time { return w.now }}
	s := w.session
	s.Vehicle, s.Routine, s.Round = plan.GetVehicle(), plan.GetRoutine(), "rounds/way"
	s.Assistant = rapid.SampledFrom([]string{"", "people/other"}).Draw(t, "assistant")
	s.Engine = engine{Said: saidStopped, Stopped: w.now.Add(-time.Duration(rapid.SampledFrom([]int{10, 170, 600}).Draw(t, "minutes")) * time.Minute)}
	if rapid.Bool().Draw(t, "short") {
		s.Minutes, s.LeftOut = 5, []string{"PMP-010/pump", "ASS-010/rear"}
	}
	w.must(w.goOn(t.Context(), "", undisturbed))
	w.turn()
	return w
}

func (w *walker) must(err error) {
	if err != nil {
		w.t.Fatal(err)
	}
}

func (w *walker) marks() []Mark { return w.scene.walk(w.session, w.wall()).marks() }

// turn looks at the step that was lit because it was its turn.
func (w *walker) turn() {
	s := w.session
	if s.Phase != PhaseStep {
		return
	}
	marks := w.marks()
	if i := placeOf(marks, s.Step); i < 0 || !marks[i].State.toDo() {
		w.t.Fatalf("%q is lit and does not wait", s.Step)
	} else if marks[i].NoTime {
		w.t.Fatalf("%q is asked, for which there is no time", s.Step)
	}
	for _, m := range marks {
		first := w.scene.stepOf(m.StepID)
		impossible := s.Assistant == "" && notAlone(first)
		if m.State.toDo() && !impossible && w.scene.comesAfter(w.scene.stepOf(s.Step), first) {
			w.t.Fatalf("%s is lit and comes after %s, which waits: %q", s.Step, m.StepID, ahead(marks, "", ""))
		}
	}
}

// answer gives the step in the light an answer.
func (w *walker) answer() {
	s := w.session
	step := w.scene.stepOf(s.Step)
	if i := placeOf(w.marks(), step.GetStepId()); w.marks()[i].State == MarkCold {
		w.must(w.goNext(w.t.Context(), Act{}))
		return
	}
	why := undisturbed
	if w.astray(s.Step) {
		why = whyAstray
	}
	if !s.Correct {
		w.asked[s.Step]++
		w.scene.round.AnsweredSteps = append(w.scene.round.AnsweredSteps, s.Step)
	}
	step.Last = &pb.Result{StepId: s.Step, Round: s.Round}
	if ranBy(step) {
		s.Engine.Ran = w.now
	}
	s.Again, s.Passed, s.LeftOut = without(s.Again, s.Step), without(s.Passed, s.Step), without(s.LeftOut, s.Step)
	s.At, s.Step = s.Step, ""
	w.must(w.goOn(w.t.Context(), s.At, why))
	w.turn()
}

// disturb does anything but answer.
func (w *walker) disturb() {
	s, ctx := w.session, w.t.Context()
	lit := s.Step
	switch rapid.SampledFrom([]string{"next", "back", "go", "assistant", "engine", "wait", "run", "stood down"}).Draw(w.t, "disturbance") {
	case "next":
		w.must(w.goNext(ctx, Act{}))
		w.turn()
	case "back":
		_ = w.goBack(ctx, Act{}) // there may be none
	case "go":
		w.open(rapid.SampledFrom(w.scene.plan.GetSteps()).Draw(w.t, "go to"))
	case "assistant":
		s.Assistant = rapid.SampledFrom([]string{"", "people/other"}).Draw(w.t, "assistant")
		w.must(w.plotHere(ctx))
		w.stays(lit)
	case "engine":
		s.Engine = engine{Said: saidStopped, Stopped: w.now.Add(-10 * time.Minute)}
		w.must(w.plotHere(ctx))
		w.stays(lit)
	case "wait":
		w.now = w.now.Add(2 * time.Hour)
	case "run", "stood down":
		w.interrupt()
	}
}

func (w *walker) stays(lit string) {
	if w.session.Step != lit {
		w.t.Fatalf("%q was lit, and now %q is", lit, w.session.Step)
	}
}

// interrupt is a turnout: the vehicle leaves and comes back, or does not leave.
func (w *walker) interrupt() {
	s := w.session
	s.BrokeOff = w.brokeOff()
	s.Step, s.Resuming = "", true
	ran := rapid.Bool().Draw(w.t, "ran")
	w.scene.round.State, w.scene.round.LastActivity = pb.RoundState_ROUND_STATE_PAUSED, timestamp(w.now)
	w.now = w.now.Add(20 * time.Minute)
	if ran {
		s.Engine = engine{Said: saidStopped, Stopped: w.now}
	}
	s.Pending = w.resumption()
	w.must(w.resumed(w.t.Context(), nil, nil))
	s.Pending = nil
	for _, id := range s.Again {
		w.asked[id] = 0
	}
	w.scene.round.AnsweredSteps = slices.DeleteFunc(w.scene.round.AnsweredSteps, func(id string) bool { return slices.Contains(s.Again, id) })
	s.Again = nil // what is asked again waits like what was never answered
	w.turn()
}

// Whatever happens on the way, every step that is due is asked and answered once in the end, but for
// what waits for a cold engine; nothing is asked before what must come first; and a tablet that is
// started anew asks in the same order.
func TestWay_ComesToEveryStepOnce(t *testing.T) {
	kit := wayStation(t)
	plan := kit.Plan("vehicles/p2", "routines/shift")
	lib, err := kit.GetLibrary(t.Context(), &pb.GetLibraryRequest{})
	if err != nil {
		t.Fatal(err)
	}
	told, dir := map[whyNewWay]int{}, t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		w := newWalker(rt, kit, plan, lib.GetLibrary())
		for range rapid.IntRange(0, 15).Draw(rt, "acts") {
			if w.session.Phase == PhaseStep && rapid.IntRange(0, 2).Draw(rt, "answers") > 0 {
				w.answer()
			} else if w.session.Phase == PhaseStep {
				w.disturb()
			}
			if w.session.Way != nil {
				told[w.session.Way.Why]++
			}
			if err := w.session.write(dir); err != nil {
				rt.Fatal(err)
			}
			kept, err := readSession(dir, w.log)
			if err != nil {
				rt.Fatal(err)
			}
			if got, want := ahead(w.scene.walk(kept, w.now).marks(), "", ""), ahead(w.marks(), "", ""); !slices.Equal(got, want) {
				rt.Fatalf("started anew it asks %v, before %v", got, want)
			}
		}
		for range 2 * len(plan.GetSteps()) {
			if w.session.Phase != PhaseStep {
				_ = w.toWalk(rt.Context(), Act{}) // where nothing is left it says so
			}
			if w.session.Phase != PhaseStep {
				break
			}
			w.answer()
		}
		for _, m := range w.marks() {
			if n := w.asked[m.StepID]; n != 1 && m.State != MarkCold || n > 1 {
				rt.Fatalf("%s was asked %d times", m.StepID, n)
			}
		}
	})
	for _, why := range []whyNewWay{whyRun, whyAlone, whyAssisted, whyWarm, whyCold, whyAstray} {
		if told[why] == 0 {
			t.Errorf("no way was made because %s", why.said())
		}
	}
}

// Where the planner refuses, the round goes on in the plan's order, and nobody is alarmed.
func TestWay_WithoutThePlannerThePlanHolds(t *testing.T) {
	kit := wayStation(t)
	plan := kit.Plan("vehicles/p2", "routines/shift")
	lib, err := kit.GetLibrary(t.Context(), &pb.GetLibraryRequest{})
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(rt *rapid.T) {
		w := newWalker(rt, kit, plan, lib.GetLibrary())
		w.session.Vehicle = "vehicles/none" // the planner does not know it
		w.session.Way = nil
		for range len(plan.GetSteps()) / 2 {
			if w.session.Phase == PhaseStep {
				w.answer()
			}
		}
		w.session.Assistant = rapid.SampledFrom([]string{"", "people/other"}).Draw(rt, "who")
		w.must(w.plotHere(rt.Context()))
		var want []string
		for _, step := range plan.GetSteps() {
			want = append(want, step.GetStepId())
		}
		for i, m := range w.marks() {
			if m.StepID != want[i] {
				rt.Fatalf("%s stands in place of %s", m.StepID, want[i])
			}
		}
		if w.session.Notice != nil || w.session.Way != nil && w.session.Way.Why != undisturbed {
			rt.Fatalf("notice %v, way %v", w.session.Notice, w.session.Way)
		}
	})
}

// What was passed by comes as late as it may: before what must come after it, and before the
// engine is started or the assistant asked.
func TestWay_PutsOffWhatWasPassedBy(t *testing.T) {
	step := func(id string, state *pb.StepState) *pb.CheckStep {
		return &pb.CheckStep{StepId: id, Item: id, State: state}
	}
	off := &pb.StepState{Engine: pb.EngineState_ENGINE_STATE_OFF}
	sc := &scene{after: map[string][]string{"D": {"B"}}, plan: &pb.Plan{Steps: []*pb.CheckStep{
		step("A", off), step("B", &pb.StepState{Engine: pb.EngineState_ENGINE_STATE_COLD}), step("C", off), step("D", off),
		step("H", &pb.StepState{Engine: pb.EngineState_ENGINE_STATE_OFF, Assistant: true}),
		step("R", &pb.StepState{Engine: pb.EngineState_ENGINE_STATE_RUNNING, IgnitionOn: true}),
	}}}
	for _, tc := range []struct {
		why, walked, passed, want string
	}{
		{"nothing was", "ABCDHR", "", "ABCDHR"},
		{"before the assistant is asked", "ABCDHR", "A", "BCDAHR"},
		{"before what comes after it", "ABCDHR", "B", "ACBDHR"},
		{"in their turn", "ABCDHR", "AB", "CABDHR"},
		{"before the engine is started", "HACR", "A", "HCAR"},
		{"at the end where nothing is in the way", "ACD", "A", "CDA"},
	} {
		if got := strings.Join(sc.putOff(strings.Split(tc.walked, ""), strings.Split(tc.passed, "")), ""); got != tc.want {
			t.Errorf("%s: %s, want %s", tc.why, got, tc.want)
		}
	}
}

// wayDesk is a desk in a round of four steps; C comes after B, and D after H, for which it
// takes two.
func wayDesk(answered string) *Desk {
	d := &Desk{session: newSession(), wall: func() time.Time { return stationtest.Morning }, scene: &scene{
		after: map[string][]string{"C": {"B"}, "D": {"H"}}, plan: &pb.Plan{}, round: &pb.Round{AnsweredSteps: strings.Split(answered, "")},
	}}
	for _, id := range strings.Split("ACBHD", "") {
		d.scene.plan.Steps = append(d.scene.plan.Steps, &pb.CheckStep{StepId: id, Item: id, State: &pb.StepState{Assistant: id == "H"}})
	}
	return d
}

// What comes after a step that waits is not asked before it, whatever the order says; what
// nobody can do alone keeps nothing waiting, unless it was passed by.
func TestFollowing_HoldsBackWhatComesAfterWhatWaits(t *testing.T) {
	for _, tc := range []struct{ why, answered, assistant, passed, after, want string }{
		{"C waits for B", "A", "people/other", "", "A", "B"},
		{"B is answered", "AB", "people/other", "", "A", "C"},
		{"D waits for H", "ABC", "people/other", "", "H", "H"},
		{"alone it does not", "ABC", "", "", "H", "D"},
		{"but where H was passed by", "ABC", "", "H", "H", "H"},
		{"nothing else is left", "ABCH", "", "", "H", "D"},
	} {
		d := wayDesk(tc.answered)
		d.session.Assistant = tc.assistant
		if tc.passed != "" {
			d.session.Passed = []string{tc.passed}
		}
		marks := d.scene.walk(d.session, d.now()).marks()
		got := ""
		if i := d.following(marks, tc.after); i >= 0 {
			got = marks[i].StepID
		}
		if got != tc.want {
			t.Errorf("%s: after %s comes %q, want %q", tc.why, tc.after, got, tc.want)
		}
	}
}

// Whoever goes back from the step that was lit when the way was made, and answers another,
// has left that way.
func TestAstray_FromTheStepAtWhichTheWayBegins(t *testing.T) {
	for _, tc := range []struct {
		why, answered, asked, at, step string
		want                           bool
	}{
		{"the step that was asked", "A", "B", "A", "B", false},
		{"another", "A", "B", "A", "C", true},
		{"the one that was asked, from a way that begins at one that waits", "", "A", "B", "A", true},
		{"the one at which it begins", "", "B", "B", "B", false},
		{"that one has its answer", "B", "A", "B", "A", false},
	} {
		d := wayDesk(tc.answered)
		d.session.Asked, d.session.Way = tc.asked, &way{At: tc.at}
		if got := d.astray(tc.step); got != tc.want {
			t.Errorf("%s: astray %t, want %t", tc.why, got, tc.want)
		}
	}
}
