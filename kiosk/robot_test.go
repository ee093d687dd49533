package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// demoPIN is the PIN of every driver of the demo's county.
const demoPIN = "2468"

// leaping is a clock that goes on as usual and leaps while a robot looks at something, so
// that no test waits as long as a driver has to look.
type leaping struct {
	ahead atomic.Int64 // nanoseconds
}

func (l *leaping) now() time.Time { return time.Now().Add(time.Duration(l.ahead.Load())) }

// look lets so much time pass for the tablet, and none where it has a clock of its own.
func (l *leaping) look(d time.Duration) {
	if l != nil {
		l.ahead.Add(int64(d))
	}
}

// leapingKiosk is a kiosk within this process, by a clock that nobody puts right.
type leapingKiosk struct {
	ready
	clock *leaping
}

func startLeaping(t *testing.T, station string) leapingKiosk {
	t.Helper()
	var display displayFlags
	display.tabletInches, display.tabletPX = 10.1, 1509
	display.bayInches, display.bayWidthPX, display.bayHeightPX, display.bayFarM = 55, 1920, 1080, 15
	f := &serveFlags{station: station, data: t.TempDir(), device: "tablet-1", listen: "127.0.0.1:0", bay: "127.0.0.1:0", display: display}
	enrolTablet(t, station, f.data, f.device)
	clock := &leaping{}
	r, err := start(t.Context(), f, slog.New(slog.NewTextHandler(io.Discard, nil)), clocks{clock.now, true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := r.stop(); err != nil {
			t.Errorf("stopping the kiosk: %v", err)
		}
	})
	return leapingKiosk{r.ready, clock}
}

// robot is a driver who knows what a sound vehicle shows, and touches the tablet's
// glass and nothing else.
type robot struct {
	*page
	clock   *leaping // of the tablet; nil where it goes by the computer's
	vehicle string
	steps   map[string]*pb.CheckStep
	pad     string            // where the keys were first
	faults  map[string]string // condition to be seen at a step instead of the sound one
	values  map[string]string // what is read at a step instead of the usual
}

// newRobot reads from the station what is asked, and what was sound there last.
func newRobot(p *page, clock *leaping, station, vehicle, routine string) *robot {
	p.t.Helper()
	conn := dialStation(p.t, station)
	defer func() { _ = conn.Close() }()
	ctx, cancel := context.WithTimeout(p.t.Context(), patience)
	defer cancel()
	got, err := pb.NewVehicleServiceClient(conn).GetPlan(ctx, &pb.GetPlanRequest{Vehicle: vehicle, Routine: routine})
	if err != nil {
		p.t.Fatal(err)
	}
	r := &robot{page: p, clock: clock, vehicle: vehicle, steps: map[string]*pb.CheckStep{}, faults: map[string]string{}, values: map[string]string{}}
	for _, s := range got.GetPlan().GetSteps() {
		r.steps[s.GetStepId()] = s
	}
	return r
}

// button names a button of the form that does an act.
func button(act, name, value string) string {
	return fmt.Sprintf(`form:has(input[name="act"][value=%q]) button[name=%q][value=%q]`, act, name, value)
}

// only is the button of a form that has one, and does an act.
func only(act string) string {
	return fmt.Sprintf(`form:has(input[name="act"][value=%q]) button:not([type="button"])`, act)
}

// at is what the main part of the page is about, once it is there: a page that is just
// being loaded anew is about nothing.
func (r *robot) at() string {
	r.t.Helper()
	at, err := ask(r.page, patience, chromedp.Poll[string](`document.querySelector("main[data-at]")?.dataset.at`, patiently))
	if err != nil {
		r.fail("waiting for the main part", err)
	}
	return at
}

// arrive waits until the main part is about something.
func (r *robot) arrive(at string) {
	r.t.Helper()
	r.until(fmt.Sprintf(`document.querySelector("main[data-at]")?.dataset.at.split(" ")[0] === %q`, at))
}

// stepIDs is the steps as a list for a script.
func (r *robot) stepIDs() string {
	ids, err := json.Marshal(slices.Collect(maps.Keys(r.steps)))
	if err != nil {
		r.t.Fatal(err)
	}
	return string(ids)
}

// has reports whether something is on the page.
func (r *robot) has(selector string) bool {
	return evaluate[bool](r.page, fmt.Sprintf("!!document.querySelector(%q)", selector))
}

// readsAnswers waits for what comes after signing in, and reads first what became of the
// driver's reports if that is there.
func (r *robot) readsAnswers(then string) {
	r.t.Helper()
	const read = "#do-answers-read"
	r.until(fmt.Sprintf("!!document.querySelector(%q) || !!document.querySelector(%q)", then, read))
	if r.has(read) {
		r.tap(read)
		r.until(fmt.Sprintf("!!document.querySelector(%q)", then))
	}
}

// begin goes from the list of vehicles to the first step.
func (r *robot) begin(routine, driver, assistant string) {
	r.t.Helper()
	choose := fmt.Sprintf(`form:has(input[name="vehicle"][value=%q]) button[name="routine"][value=%q]`, r.vehicle, routine)
	r.until(fmt.Sprintf("!!document.querySelector(%q)", choose))
	r.do("opening what is folded", openAll())
	r.tap(choose)
	r.arrive("sign-in")
	if r.has(`main input[name="person"]`) {
		r.tap(fmt.Sprintf(`main label:has(input[name="person"][value=%q])`, driver))
		r.pin(only("sign-in"))
	}
	r.readsAnswers(button("assistant", "person", assistant))
	r.tap(button("assistant", "person", assistant))
	r.arrive("before")
	r.typeIn(`input[name="minutes"]`, "720")
	r.tap(`form:has(input[name="minutes"]) button`)
	r.until(`/Stopped/.test(document.querySelector("main").innerText)`)
	r.typeIn(`form:has(input[value="ambient"]) input[name="text"]`, "8")
	r.tap(only("ambient"))
	for n := range evaluate[int](r.page, `document.querySelectorAll('form:has(input[value="gauge"])').length`) {
		gauge := evaluate[string](r.page, fmt.Sprintf(`document.querySelectorAll('form:has(input[value="gauge"])')[%d].querySelector("button").value`, n))
		r.tap(button("gauge", "gauge", gauge))
	}
	r.tap(only("begin"))
	r.until(`!["before",""].includes(document.querySelector("main[data-at]")?.dataset.at ?? "")`)
}

// openAll unfolds what is folded, as a finger on each summary would, but for the sheet that stops
// a vehicle: it lies over the page.
func openAll() chromedp.Action[chromedp.Void] {
	return chromedp.Evaluate[chromedp.Void](`document.querySelectorAll("details:not(.stopping)").forEach(d => d.open = true)`)
}

// pin types the PIN on the page's own keys.
func (r *robot) pin(enter string) {
	r.t.Helper()
	r.tap("#pin")
	for _, digit := range demoPIN {
		r.tap(fmt.Sprintf(`button[data-put=%q]`, string(digit)))
	}
	r.tap(enter)
}

// walk answers step after step until the overview comes, or until stop says so.
func (r *robot) walk(stop func(step string) bool) (answered int) {
	r.t.Helper()
	for {
		at := r.at()
		step := r.steps[at]
		if step == nil || stop != nil && stop(at) {
			return answered
		}
		r.answer(step)
		answered++
	}
}

// compare says of what was open at a step before whether it is still there, where that
// is asked; both answers ask the step anew.
func (r *robot) compare(s *pb.CheckStep) {
	r.t.Helper()
	how := "gone"
	if r.faults[s.GetStepId()] != "" {
		how = "worse"
	}
	if choose := button("compare", "how", how); r.has(choose) {
		r.tap(choose)
		r.until(fmt.Sprintf(`!document.querySelector(%q)`, choose))
	}
}

// answer answers one step soundly, or as the robot was told, and waits for the next.
func (r *robot) answer(s *pb.CheckStep) {
	r.t.Helper()
	if r.has("#do-control") {
		r.tap("#do-control")
		r.until(`!document.querySelector("#do-control")`)
	}
	r.compare(s)
	r.prove()
	if condition := r.faults[s.GetStepId()]; condition != "" && s.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_CONDITION {
		r.choose(button("see", "condition", condition))
		if count := `form:has(input[name="act"][value="count"]) button:last-of-type`; r.has(count) {
			r.tap(count) // all of them
			r.until(fmt.Sprintf(`document.querySelector("main")?.innerText.includes("%[1]d of %[1]d")`, s.GetAlike()))
		}
	} else {
		r.sound(s)
	}
	r.record(s)
}

// prove answers the question that only somebody at the place can answer, if one is put.
func (r *robot) prove() {
	r.t.Helper()
	field := `form:has(input[value="proof"]) input[name="text"]`
	if !r.has(field) {
		return
	}
	r.typeIn(field, "A417")
	r.tap(only("proof"))
	r.until(fmt.Sprintf(`document.querySelector(%q)?.getAttribute("value") === "A417"`, field))
}

// sound gives what was seen at the step last time.
func (r *robot) sound(s *pb.CheckStep) {
	r.t.Helper()
	switch answer := s.GetLast().GetAnswer().(type) {
	case *pb.Result_Seen:
		r.choose(button("see", "condition", answer.Seen.GetConditions()[0].GetCondition()))
	case *pb.Result_Level:
		between := `form:has(input[name="mark"][value="between"]) button[name="fraction"]`
		nearest := evaluate[string](r.page, fmt.Sprintf(`[...document.querySelectorAll(%q)].map(b => b.value)
			.reduce((a, b) => Math.abs(b - %[2]v) < Math.abs(a - %[2]v) ? b : a)`, between, answer.Level.GetFraction()))
		r.choose(fmt.Sprintf(`%s[value=%q]`, between, nearest))
	case *pb.Result_Reading:
		if len(s.GetParts()) == 1 && s.GetParts()[0].GetHow() != pb.ReadingHow_READING_HOW_UNSPECIFIED {
			r.take(s)
			return
		}
		for i, v := range answer.Reading.GetValues() {
			if i > 0 {
				r.tap(only("enter"))
			}
			asked, err := measure.Convert(v.GetAsTyped(), v.GetUnit(), s.GetUnits()[i])
			if err != nil {
				r.t.Fatal(err)
			}
			r.key(asked, s)
		}
	case *pb.Result_Profile:
		fields := evaluate[int](r.page, `document.querySelectorAll("form.tread button[name=id]").length`)
		for i := range fields {
			if i > 0 {
				r.tap(only("enter"))
			}
			r.key(answer.Profile.GetSections()[0].GetPoints()[0].GetAsTyped(), s)
		}
	default:
		r.t.Fatalf("nobody has said what is sound at %s", s.GetStepId())
	}
}

// choose touches an answer and waits until it shows that it is chosen.
func (r *robot) choose(selector string) {
	r.t.Helper()
	r.tap(selector)
	r.until(fmt.Sprintf(`document.querySelector(%q)?.getAttribute("aria-pressed") === "true"`, selector))
}

// untilSo does something again and again until a script gives true.
func (r *robot) untilSo(script string, do func()) {
	r.t.Helper()
	for range 60 {
		do()
		if _, err := ask(r.page, 700*time.Millisecond, chromedp.Poll[bool](script)); err == nil {
			return
		}
	}
	r.fail("waiting for "+script, fmt.Errorf("it does not come about"))
}

// key types a number on the page's own keys.
func (r *robot) key(n float64, s *pb.CheckStep) {
	r.t.Helper()
	text := strconv.FormatFloat(n, 'f', -1, 64)
	if own := r.values[s.GetStepId()]; own != "" {
		text = own
	}
	for i, k := range text {
		r.still(s)
		r.tap(button("key", "key", string(k)))
		r.until(fmt.Sprintf(`document.querySelector("#shown")?.innerText === %q`, text[:i+len(string(k))]))
	}
	r.still(s)
}

// still makes sure that no key has moved since the first step that had keys: a
// finger that is on its way would meet another one.
func (r *robot) still(s *pb.CheckStep) {
	r.t.Helper()
	pad := evaluate[string](r.page, `JSON.stringify([...document.querySelectorAll("form.pad button")].map(b => {
		const box = b.getBoundingClientRect();
		return [b.value, Math.round(box.x), Math.round(box.y + scrollY), Math.round(box.width), Math.round(box.height)];
	}))`)
	if r.pad == "" {
		r.pad = pad
	}
	if pad != r.pad {
		r.t.Errorf("the keys have moved at %s:\n%s\nbefore:\n%s", s.GetStepId(), pad, r.pad)
		r.pad = pad
	}
}

// lookOf is how long a step is looked at before each try to record its answer; no longer than
// a minute, for a tablet that lies still for three asks who is there.
func lookOf(s *pb.CheckStep) time.Duration {
	return min(time.Duration(s.GetLeastLookS()+1)*time.Second, time.Minute)
}

// record enters the answer, as often as it takes: a step that must not be missed
// holds until it was looked at long enough.
func (r *robot) record(s *pb.CheckStep) {
	r.t.Helper()
	r.untilSo(fmt.Sprintf(`document.querySelector("main[data-at]")?.dataset.at !== %q`, s.GetStepId()), func() {
		enter := r.enters(s)
		if enter == "" {
			return
		}
		r.clock.look(lookOf(s))
		place, err := ask(r.page, patience, chromedp.Poll[[]float64](fmt.Sprintf(`%s ? `+spot+` : []`, atStep(s), enter), patiently))
		if err != nil {
			r.fail("waiting for "+enter, err)
		}
		if len(place) == 2 {
			r.do("touching "+enter, chromedp.TapXY(place[0], place[1]))
		}
	})
}

// atStep is whether the page is at a step: an answer that was taken late has turned it
// meanwhile to another one, which may have nothing to enter.
func atStep(s *pb.CheckStep) string {
	return fmt.Sprintf(`document.querySelector("main[data-at]")?.dataset.at === %q`, s.GetStepId())
}

// enters is the control that records the answer to a step as things stand; empty
// when there is none, or the page is at another step.
func (r *robot) enters(s *pb.CheckStep) string {
	r.t.Helper()
	return evaluate[string](r.page, fmt.Sprintf(`%s ? ["#do-confirm", "#do-put-back", "#do-enter"].find(e => document.querySelector(e)) ?? "" : ""`, atStep(s)))
}

// sign goes from the overview through signing to the hand-over and back to the
// list, and returns the words for the next watch.
func (r *robot) sign() string {
	r.t.Helper()
	r.arrive("overview")
	r.tap(only("sign-page"))
	r.arrive("sign")
	r.pin(only("sign"))
	r.arrive("handover")
	words := strings.TrimSpace(evaluate[string](r.page, `document.querySelector("main").innerText`))
	r.tap(only("done"))
	r.arrive("vehicles")
	return words
}
