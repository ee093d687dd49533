package round

import (
	"bytes"
	"context"
	"encoding/base64"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"golang.org/x/crypto/argon2"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"pgregory.net/rapid"

	"bayround/internal/access"
	"bayround/internal/catalogue"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// lawful is a desk on a small twin whose session file is looked at whenever the
// twin looks at its clock: in the middle of commands, too.
type lawful struct {
	t     testing.TB
	kit   *stationtest.Kit
	clock *stationtest.Clock
	dir   string
	desk  *Desk

	mu     sync.Mutex
	middle []byte // guarded by mu: the session file with a command that waits, as the twin last saw it
}

// smallWithPIN is the small station whose driver has PIN 2468, and whose
// windscreen must not be missed.
func smallWithPIN() []catalogue.File {
	b64 := base64.RawStdEncoding.EncodeToString
	hash := "$argon2id$v=19$m=8,t=1,p=1$" + b64([]byte("somesalt")) + "$" + b64(argon2.IDKey([]byte("2468"), []byte("somesalt"), 1, 8, 1, 32))
	files := stationtest.Small()
	for _, change := range [][2]string{
		{"{name: people/driver, title: Driver, roles: [ROLE_DRIVER]}", "{name: people/driver, title: Driver, roles: [ROLE_DRIVER], pin_argon2id: \"" + hash + "\"}"},
		{"      anchor: windscreen\n", "      anchor: windscreen\n      must_not_miss: true\n      least_look_s: 3\n"},
	} {
		files[0].Content = bytes.ReplaceAll(files[0].Content, []byte(change[0]), []byte(change[1]))
	}
	return files
}

func openLawful(t testing.TB, dir string) *lawful {
	l := &lawful{t: t, clock: stationtest.NewClock(), dir: filepath.Join(dir, "desk")}
	if err := os.MkdirAll(l.dir, 0o700); err != nil {
		t.Fatal(err)
	}
	twin := station.Options{Dir: filepath.Join(dir, "twin"), Now: l.peek, Defaults: smallWithPIN()}
	l.kit = stationtest.OpenWith(t, l.clock, twin)
	l.desk = l.open(l.dir)
	return l
}

// peek is the twin's clock.
func (l *lawful) peek() time.Time {
	l.mu.Lock()
	defer l.mu.Unlock()
	if b, err := os.ReadFile(filepath.Join(l.dir, sessionFile)); err == nil && bytes.Contains(b, []byte(`"pending":`)) {
		l.middle = b
	}
	return l.clock.Now()
}

// open opens a desk on the twin with what a directory holds. It does nothing by
// itself: only what the law does happens.
func (l *lawful) open(dir string) *Desk {
	guard, err := access.OpenGuard(filepath.Join(dir, "pins.json"), l.clock.Now)
	if err != nil {
		l.t.Fatal(err)
	}
	d, err := OpenDesk(context.Background(), DeskConfig{Twin: l.kit.Station, Guard: guard, Device: "tablet-1", Dir: dir, Clock: l.clock.Now})
	if err != nil {
		l.t.Fatalf("opening a desk: %v", err)
	}
	return d
}

// killed is the view of a desk that was killed and opened anew with a session file.
func (l *lawful) killed(session []byte) *View {
	dir, err := os.MkdirTemp(filepath.Dir(l.dir), "killed")
	if err != nil {
		l.t.Fatal(err)
	}
	if session != nil {
		if err := os.WriteFile(filepath.Join(dir, sessionFile), session, 0o600); err != nil {
			l.t.Fatal(err)
		}
	}
	d := l.open(dir)
	defer func() {
		if err := d.Close(); err != nil {
			l.t.Errorf("closing a desk: %v", err)
		}
	}()
	return d.View()
}

// difference says how two views differ, apart from version and time.
func difference(a, b *View) string {
	options := cmp.Options{
		cmpopts.IgnoreFields(View{}, "Version", "Now", "Step"), cmpopts.IgnoreFields(Notice{}, "At"), cmpopts.EquateEmpty(),
		cmp.Comparer(func(x, y *time.Location) bool { return x.String() == y.String() }),
	}
	quick := append(options, cmp.Comparer(sameMessage))
	if cmp.Equal(a, b, quick) && cmp.Equal(parts(a.Step), parts(b.Step), quick) {
		return ""
	}
	options = append(options, protocmp.Transform(), protocmp.IgnoreFields(&pb.Readiness{}, "as_of"))
	return "differs:\n" + cmp.Diff(a, b, options) + cmp.Diff(parts(a.Step), parts(b.Step), options)
}

// sameMessage compares messages; when a readiness was read is no part of it.
func sameMessage(a, b proto.Message) bool {
	if r, ok := a.(*pb.Readiness); ok && r != nil {
		r = proto.CloneOf(r)
		r.AsOf = b.(*pb.Readiness).GetAsOf()
		a = r
	}
	return proto.Equal(a, b)
}

// parts are everything that a step shows; a step as a whole passes for the message
// that it holds.
func parts(s *Step) []any {
	if s == nil {
		return nil
	}
	return []any{
		s.CheckStep, s.Entry, s.Gauge, s.NeedsGauge, s.Alone, s.AloneMethod, s.HeldUntil, s.ColdAt, s.Correcting, s.Cure, s.Known,
		s.Undoes, s.Confirm, s.FirstOfStop, s.NewWay,
	}
}

// results are the twin's results, oldest first.
func (l *lawful) results() (all []*pb.Result) {
	err := l.kit.Events(context.Background(), 0, func(ev *pb.JournalEvent) error {
		if r := ev.GetResultRecorded(); r != nil {
			all = append(all, r.GetResult())
		}
		return nil
	})
	if err != nil {
		l.t.Fatal(err)
	}
	return all
}

// anything is an act of the whole tablet, fitting more often than not.
func anything(t *rapid.T, v *View) Act {
	pick := func(label string, of ...string) string { return rapid.SampledFrom(of).Draw(t, label) }
	act := func(name string, values ...string) Act {
		a := Act{Name: name, Values: map[string]string{}}
		for i := 0; i < len(values); i += 2 {
			a.Values[values[i]] = values[i+1]
		}
		return a
	}
	if rapid.IntRange(0, 9).Draw(t, "out of place") == 0 {
		return act(pick("any", "begin", "record", "enter", "undo", "turnout", "home", "done", "sign-out", "dismiss-notice", "no-such-act", "walk", "back", "cure-cancel", "sign-page"))
	}
	switch v.Phase {
	case PhaseVehicles:
		if r := v.Vehicles[0].Resumable; len(r) > 0 && rapid.Bool().Draw(t, "resume") {
			return act("resume-round", "round", r[0].GetName())
		}
		return act("choose", "vehicle", "vehicles/p2", "routine", pick("routine", "routines/shift", "routines/weekly", "routines/none"))
	case PhaseSignIn:
		if v.Session == nil {
			return act("sign-in", "person", pick("person", "people/driver", "people/driver", "people/other"), "pin", pick("pin", "2468", "2468", "2468", "1111"))
		}
		return act("assistant", "person", pick("assistant", "", "people/other", "people/driver"))
	case PhaseBefore:
		switch pick("before", "engine", "begin", "gauge", "ambient") {
		case "engine":
			return act("engine", pick("engine", "minutes", "unknown", "running"), pick("minutes", "1", "600"))
		case "gauge":
			return act("gauge", "gauge", pick("gauge", "gauges/g-1", "gauges/d-1", "gauges/g-old"))
		case "ambient":
			return act("ambient", "text", pick("ambient", "8", "-2.5", "", "x"))
		}
		return act("begin")
	case PhaseTurnout:
		switch pick("turnout", "safe", "away", "back") {
		case "safe":
			if len(v.Turnout.Items) > 0 {
				return act("safe", "step", v.Turnout.Items[0].StepID)
			}
			return act("away")
		case "away":
			return act("away")
		}
		return act("back")
	case PhaseOverview, PhaseSign:
		return closingAct(t, v, act)
	case PhaseHandover:
		return act(pick("handover", "done", "turnout"))
	}
	return walkingAct(t, v, act)
}

func closingAct(t *rapid.T, v *View, act func(string, ...string) Act) Act {
	switch rapid.SampledFrom([]string{"sign-page", "sign", "walk", "hand-note", "safe", "go", "give-up"}).Draw(t, "closing") {
	case "sign":
		return act("sign", "pin", "2468")
	case "walk":
		return act("walk")
	case "hand-note":
		return act("hand-note", "text", "watch the oil")
	case "give-up":
		return act("give-up", "note", "called away")
	case "safe":
		if len(v.Closing.Undone) > 0 {
			return act("safe", "step", v.Closing.Undone[0].StepID)
		}
	case "go":
		return act("go", "step", rapid.SampledFrom(v.Round.Marks).Draw(t, "mark").StepID)
	}
	return act("sign-page")
}

func walkingAct(t *rapid.T, v *View, act func(string, ...string) Act) Act {
	pick := func(label string, of ...string) string { return rapid.SampledFrom(of).Draw(t, label) }
	switch rapid.SampledFrom([]string{
		"edit", "edit", "edit", "edit", "edit", "edit", "record", "record", "record", "enter", "confirm", "skip", "go", "next", "previous",
		"undo", "cure", "gauge", "overview", "turnout", "engine", "correct", "assistant", "control",
	}).Draw(t, "walking") {
	case "edit":
		return anyAct(t)
	case "record":
		return act("record", "left", pick("left", "", "shut", "open"))
	case "enter":
		return act("enter", "left", pick("left", "", "shut", "open"))
	case "control":
		return act("control")
	case "confirm":
		return act("confirm")
	case "skip":
		return act("skip", "reason", rapid.SampledFrom([]string{"no_time", "other", "engine_warm"}).Draw(t, "reason"))
	case "go":
		return act("go", "step", rapid.SampledFrom(v.Round.Marks).Draw(t, "mark").StepID)
	case "correct":
		return act("correct", "step", rapid.SampledFrom(v.Round.Marks).Draw(t, "mark").StepID)
	case "cure":
		if rapid.Bool().Draw(t, "of what was found last") {
			return act("cure", "done", "cleaned", "amount", "0.5", "unit", "L")
		}
		return act("cure", "step", rapid.SampledFrom(v.Round.Marks).Draw(t, "mark").StepID, "done", "cleaned")
	case "gauge":
		return act("gauge", "gauge", rapid.SampledFrom([]string{"gauges/g-1", "gauges/d-1"}).Draw(t, "gauge"))
	case "engine":
		return act("engine", "minutes", "600")
	case "assistant":
		return act("assistant", "person", pick("who", "", "people/other"))
	}
	return act(rapid.SampledFrom([]string{"next", "previous", "undo", "overview", "turnout"}).Draw(t, "simple"))
}

// Laws of the desk, whatever is done in whatever order:
//
//   - no result says anything that the driver did not give;
//   - the step in the light never shows the answer before, and begins empty;
//   - a desk that is killed after any act, or in the middle of its command, shows
//     the same when it is opened anew, and nothing is recorded twice.
func TestDesk_Laws(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp(t.TempDir(), "law")
		if err != nil {
			rt.Fatal(err)
		}
		l := openLawful(t, dir)
		defer func() {
			if err := l.desk.Close(); err != nil {
				rt.Errorf("closing the desk: %v", err)
			}
			l.kit.Close()
		}()
		w := &witness{lawful: l, rt: rt, given: newModel()}
		if rapid.IntRange(0, 3).Draw(rt, "begun") > 0 {
			w.begin()
		}
		for range rapid.IntRange(1, 15).Draw(rt, "acts") {
			l.clock.Advance(time.Duration(rapid.IntRange(0, 4).Draw(rt, "seconds")) * time.Second)
			w.act(anything(rt, l.desk.View()))
		}
	})
}

// witness watches one life of a desk.
type witness struct {
	*lawful
	rt    *rapid.T
	step  string
	given *model
	seen  int // results
}

// begin begins a round of both kinds of step.
func (w *witness) begin() {
	routine := rapid.SampledFrom([]string{"routines/shift", "routines/weekly"}).Draw(w.rt, "routine")
	for _, line := range []string{
		"choose vehicle=vehicles/p2 routine=" + routine, "sign-in person=people/driver pin=2468", "assistant person=people/other",
		"engine minutes=600", "gauge gauge=gauges/g-1", "gauge gauge=gauges/d-1", "begin",
	} {
		if err := w.desk.Do(context.Background(), actOf(line)); err != nil {
			w.rt.Fatalf("%s: %v", line, err)
		}
	}
	w.lit("begun", w.desk.View())
}

// events is how many events the twin's journal holds.
func (w *witness) events() (n int64) {
	err := w.kit.Events(context.Background(), 0, func(ev *pb.JournalEvent) error {
		n = ev.GetSequence()
		return nil
	})
	if err != nil {
		w.rt.Fatal(err)
	}
	return n
}

// resetting are the acts after which the answer being made is another.
func resetting() []string {
	return []string{"cure", "cure-cancel", "turnout", "home", "done", "sign-out", "choose", "resume-round", "begin", "give-up", "sign"}
}

func (w *witness) act(a Act) {
	before := w.desk.View()
	w.mu.Lock()
	w.middle = nil
	w.mu.Unlock()
	events := w.events()
	err := w.desk.Do(context.Background(), a)
	after := w.desk.View()
	what := fmt.Sprintf("%s %v (%v)", a.Name, a.Values, err)
	if (err == nil) != (after.Notice == nil) {
		w.rt.Fatalf("%s: the notice is %v", what, after.Notice)
	}
	if err == nil && before.Step != nil && slices.Contains([]string{"key", "field", "see", "count", "level", "section", "grooves", "note", "alone"}, a.Name) {
		w.given.follow(before.Step.CheckStep, a)
	}
	results := w.results()
	switch len(results) - w.seen {
	case 0:
	case 1:
		w.holds(what, before, a, results[len(results)-1])
		w.step = ""
	default:
		w.rt.Fatalf("%s: %d results", what, len(results)-w.seen)
	}
	w.seen = len(results)
	if err == nil && slices.Contains(resetting(), a.Name) {
		w.step = ""
	}
	w.lit(what, after)
	w.survives(what, events, before, after)
}

// holds compares a new result with what was given.
func (w *witness) holds(what string, before *View, a Act, r *pb.Result) {
	if before.Step == nil || r.GetStepId() != before.Step.GetStepId() {
		w.rt.Fatalf("%s: the result is of %s", what, r.GetStepId())
	}
	if a.Name == "skip" {
		if why, _ := reasonOf(a.Values["reason"]); r.GetNotChecked().GetReason() != why {
			w.rt.Fatalf("%s: the result says %v", what, r)
		}
		return
	}
	if why := w.given.compare(before.Step.CheckStep, r); why != "" {
		w.rt.Fatalf("%s: %s", what, why)
	}
	if r.GetConfirmed() != (a.Name == "confirm") {
		w.rt.Fatalf("%s: confirmed is %t", what, r.GetConfirmed())
	}
	if before.Step.HeldUntil.After(w.clock.Now()) {
		w.rt.Fatalf("%s: it was held until %v", what, before.Step.HeldUntil)
	}
}

// lit looks at the step in the light.
func (w *witness) lit(what string, v *View) {
	if v.Step == nil {
		return
	}
	if v.Step.Last != nil {
		w.rt.Fatalf("%s: the step shows the answer before", what)
	}
	if v.Step.GetStepId() == w.step {
		return
	}
	w.step, w.given = v.Step.GetStepId(), newModel()
	e := v.Step.Entry
	empty := e.Mark == 0 && e.Note == "" && !v.Step.AloneMethod && v.Step.Confirm == ""
	for _, f := range e.Fields {
		empty = empty && f.Text == ""
	}
	for _, c := range e.Choices {
		empty = empty && !c.Chosen
	}
	if !empty {
		w.rt.Fatalf("%s: %s begins with %+v", what, w.step, e)
	}
}

// survives kills the desk, after the act and in the middle of its command. Killed
// while the twin is told that a step is begun, it loses what the act would have
// typed, and no more.
func (w *witness) survives(what string, events int64, before, want *View) {
	session, err := os.ReadFile(filepath.Join(w.dir, sessionFile))
	if err != nil {
		w.rt.Fatal(err)
	}
	if diff := difference(want, w.killed(session)); diff != "" {
		w.rt.Fatalf("%s: killed after it, the desk shows something else\n%s", what, diff)
	}
	w.mu.Lock()
	middle := w.middle
	w.mu.Unlock()
	if w.events() > events && middle == nil {
		w.rt.Fatalf("%s: something was commanded that was not kept before", what)
	}
	if middle == nil {
		return
	}
	got := w.killed(middle)
	if bytes.Contains(middle, fmt.Appendf(nil, `"pending":{"kind":%d,`, commandBegin)) {
		kept := *want.Step
		kept.Entry, kept.Confirm = before.Step.Entry, before.Step.Confirm
		without := *want
		without.Step = &kept
		want = &without
	}
	if diff := difference(want, got); diff != "" {
		w.rt.Fatalf("%s: killed in the middle of it, the desk shows something else\n%s", what, diff)
	}
	if n := len(w.results()); n != w.seen {
		w.rt.Fatalf("%s: killed in the middle of it, %d results became %d", what, w.seen, n)
	}
}
