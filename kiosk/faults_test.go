package main

import (
	"fmt"
	"maps"
	"slices"
	"syscall"
	"testing"

	"github.com/chromedp/chromedp"

	pb "bayround/proto/bayround/v1"
)

// liveBay waits until a bay page shows vehicles as current.
func (p *page) liveBay() {
	p.t.Helper()
	p.until(`!document.body.classList.contains("notlive") && document.querySelectorAll(".row").length === 10`)
}

// deadBay waits until a bay page says that nothing on it is current, and makes sure
// that no mark of a verdict is to be seen. Both are asked at one instant: a page that is
// only late says so for a moment and is live again.
func (p *page) deadBay() {
	p.t.Helper()
	dead, err := ask(p, patience, chromedp.Poll[struct {
		Shown []string `json:"shown"`
		Words string   `json:"words"`
	}](`document.body.classList.contains("notlive") && {
		shown: [...document.querySelectorAll(".truth")].filter(e => e.checkVisibility({visibilityProperty: true, opacityProperty: true})).map(e => e.innerText || e.innerHTML),
		words: document.body.innerText,
	}`, patiently))
	if err != nil {
		p.fail("waiting for a display that is not live", err)
	}
	if len(dead.Shown) > 0 {
		p.t.Errorf("the display is not live and still shows %q", dead.Shown)
	}
	if !containsFold(dead.Words, "not live") {
		p.t.Errorf("the display does not say that it is not live:\n%s", dead.Words)
	}
}

func TestBay_TellsTheTruthWhateverBreaks(t *testing.T) {
	t.Parallel() // it waits more than it works
	b := openBrowser(t)
	s := startStation(t)
	s.play("05-wn21-shift.yaml")
	k := startTablet(t, s.address, "tablet-1")
	bay := b.open(k.bay, 1920, 1080)
	bay.liveBay()
	bay.shot("bay-live")

	t.Log("the station is killed")
	s.kill()
	bay.deadBay()
	bay.shot("bay-not-live")
	s.restart()
	bay.liveBay()

	t.Log("the kiosk is frozen")
	k.signal(syscall.SIGSTOP)
	bay.deadBay()
	k.signal(syscall.SIGCONT)
	bay.liveBay()

	t.Log("the kiosk is killed")
	k.kill()
	bay.deadBay()
	k.restart()
	bay.liveBay()

	t.Log("the station is frozen")
	s.signal(syscall.SIGSTOP)
	bay.deadBay()
	s.signal(syscall.SIGCONT)
	bay.liveBay()

	t.Log("something is found meanwhile")
	s.play("04-wn13-shift.yaml")
	bay.until(`[...document.querySelectorAll(".row")].some(e => e.innerText.includes("WN13") && e.innerText.includes("MOVE ONLY"))`)
}

func TestKill_TheTabletGoesOnWhereItWas(t *testing.T) {
	t.Parallel() // it waits more than it works
	b := openBrowser(t)
	s := startStation(t)
	s.play("09-t1-before-tow.yaml")
	k := startTablet(t, s.address, "tablet-1")
	r := newRobot(b.open(k.pages, 1280, 800), nil, s.address, "vehicles/t1", "routines/before-tow")
	r.begin("routines/before-tow", "people/arkwith", "")
	answered := 0
	r.walk(func(string) bool { answered++; return answered > 3 })
	for cycle := range 5 {
		at := r.at()
		if cycle%2 == 1 {
			s.kill()
		}
		k.kill()
		k.restart()
		r.page = b.open(k.pages, 1280, 800)
		if now := r.at(); now != at {
			t.Fatalf("cycle %d: the tablet was at %s and is now at %s", cycle, at, now)
		}
		r.answer(r.steps[at])
		answered++
		if cycle%2 == 1 {
			s.restart()
		}
	}
	r.until(`/all sent/.test(document.body.innerText)`)
	rounds := s.readiness("vehicles/t1").GetRounds()
	if len(rounds) != 1 || int(rounds[0].GetAnswered()) != answered-1 {
		t.Errorf("the station knows of %v, the driver gave %d answers", rounds, answered-1)
	}
	s.verify()
}

func TestOffline_ARoundIsBegunJudgedSignedAndSentLater(t *testing.T) {
	t.Parallel() // it waits more than it works
	b := openBrowser(t)
	s := startStation(t)
	s.play("09-t1-before-tow.yaml")
	k := startLeaping(t, s.address)
	p := b.open(k.Tablet, 1280, 800)
	r := newRobot(p, k.clock, s.address, "vehicles/t1", "routines/before-tow")
	r.until(`/all sent/.test(document.body.innerText)`)
	r.until(`!!document.querySelector('input[name="vehicle"][value="vehicles/t1"]')`) // the tablet has taken it over
	s.kill()
	p.until(`/not live|offline|no station/i.test(document.body.innerText)`)
	for _, id := range slices.Sorted(maps.Keys(r.steps)) { // one fault, wherever one can be seen
		if step := r.steps[id]; len(r.faults) == 0 && step.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_CONDITION && !step.GetMustNotMiss() {
			r.faults[id] = faultOf(step)
		}
	}
	r.begin("routines/before-tow", "people/arkwith", "people/venholt")
	r.walk(nil)
	p.shot("offline-overview")
	words := r.sign()
	if !containsFold(words, "provisional") {
		t.Errorf("the verdict was not called provisional:\n%s", words)
	}
	s.restart()
	p.until(`/all sent/.test(document.body.innerText)`)
	got := s.readiness("vehicles/t1")
	if len(got.GetRounds()) != 0 || len(got.GetOpenDefects()) == 0 {
		t.Errorf("rounds %v, defects %v", got.GetRounds(), got.GetOpenDefects())
	}
	s.verify()
}

// faultOf is the first condition of a step that is a fault.
func faultOf(s *pb.CheckStep) string {
	for _, c := range s.GetConditions() {
		if c.GetFault() != "" {
			return c.GetId()
		}
	}
	return ""
}

func TestTurnout_InTheMiddleAndBack(t *testing.T) {
	t.Parallel() // it waits more than it works
	b := openBrowser(t)
	s := startStation(t)
	s.play("01-wn11-shift.yaml")
	k := startLeaping(t, s.address)
	bay := b.open(k.Bay, 1920, 1080)
	r := newRobot(b.open(k.Tablet, 1280, 800), k.clock, s.address, "vehicles/wn11", "routines/shift")
	r.begin("routines/shift", "people/arkwith", "people/venholt")
	answered := 0
	r.walk(func(string) bool { answered++; return answered > 12 })
	r.tap(only("turnout"))
	r.arrive("turnout")
	r.shot("turnout")
	bay.until(`/WN11/.test(document.querySelector("#far").innerText)`)
	for r.has(`form:has(input[value="safe"]) button`) {
		r.tap(`form:has(input[value="safe"]) button`)
	}
	r.tap(only("away"))
	r.until(`/away since/i.test(document.body.innerText)`)
	rounds := s.readiness("vehicles/wn11").GetRounds()
	if len(rounds) != 1 || rounds[0].GetState() != pb.RoundState_ROUND_STATE_PAUSED {
		t.Errorf("the station has the round as %v", rounds)
	}
	r.tap(only("back"))
	r.arrive("before")
	r.do("the engine has just stopped", openAll())
	r.tap(`form:has(input[value="engine"]) button[name="running"]`)
	r.tap(only("begin"))
	r.until(`!["before",""].includes(document.querySelector("main[data-at]")?.dataset.at ?? "")`)
	r.shot("after-return")
	if r.steps[r.at()] == nil {
		t.Errorf("after the return the tablet is at %q", r.at())
	}
}

func TestTwoTablets_OneGoesOnWhereTheOtherStopped(t *testing.T) {
	t.Parallel() // it waits more than it works
	b := openBrowser(t)
	s := startStation(t)
	s.play("09-t1-before-tow.yaml")
	first := startTablet(t, s.address, "tablet-1")
	r := newRobot(b.open(first.pages, 1280, 800), nil, s.address, "vehicles/t1", "routines/before-tow")
	r.begin("routines/before-tow", "people/arkwith", "")
	answered := 0
	r.walk(func(string) bool { answered++; return answered > 4 })
	r.until(`/all sent/.test(document.body.innerText)`)
	first.kill() // it fell into the pit

	second := startTablet(t, s.address, "tablet-2")
	r.page = b.open(second.pages, 800, 1280)
	goOn := `form:has(input[value="resume-round"]) button[name="round"]`
	r.until(fmt.Sprintf("!!document.querySelector(%q)", goOn))
	r.tap(goOn)
	r.arrive("sign-in")
	r.tap(`main label:has(input[name="person"][value="people/quellmere"])`)
	r.pin(only("sign-in"))
	r.readsAnswers(button("assistant", "person", ""))
	r.tap(button("assistant", "person", ""))
	r.until(`!["sign-in",""].includes((document.querySelector("main[data-at]")?.dataset.at ?? "").split(" ")[0])`)
	if r.at() == "before" {
		r.tap(only("begin"))
	}
	r.until(fmt.Sprintf(`%s.includes(document.querySelector("main[data-at]")?.dataset.at)`, r.stepIDs()))
	r.shot("second-tablet")
	r.answer(r.steps[r.at()])
	r.until(`/all sent/.test(document.body.innerText)`)
	rounds := s.readiness("vehicles/t1").GetRounds()
	if len(rounds) != 1 || rounds[0].GetAnswered() != 5 {
		t.Errorf("the station has %v", rounds)
	}
}
