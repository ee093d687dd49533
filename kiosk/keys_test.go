package main

import (
	"fmt"
	"strconv"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	pb "bayround/proto/bayround/v1"
)

// typist is a driver who cannot use the glass: there are a Tab key, Enter and Space,
// and a reader that types what stands on a badge.
type typist struct{ *robot }

func (k typist) press(keys string) {
	k.t.Helper()
	k.do("pressing a key", chromedp.KeyEvent(keys))
}

// settled waits until the page has turned to what it shows, and takes keys.
const settled = `(() => {
	const at = document.querySelector("main[data-at]")?.dataset.at;
	if (at !== window.seenAt) [window.seenAt, window.seenSince] = [at, performance.now()];
	return performance.now() - window.seenSince >= 350;
})()`

// tabTo goes on with Tab until what a selector names has the focus.
func (k typist) tabTo(selector string) {
	k.t.Helper()
	k.until(fmt.Sprintf(`%s && !!document.querySelector(%q)`, settled, selector))
	if !k.tabWhile("true", selector) {
		k.fail("going to "+selector, fmt.Errorf("Tab does not lead there"))
	}
}

// tabWhile does the same for as long as a script gives true, and tells whether it
// got there.
func (k typist) tabWhile(script, selector string) bool {
	k.t.Helper()
	for range 200 {
		if evaluate[bool](k.page, fmt.Sprintf(`(%s) && document.activeElement.matches(%q)`, script, selector)) {
			return true
		}
		if !evaluate[bool](k.page, script) {
			return false
		}
		k.press(kb.Tab)
	}
	return false
}

// choose chooses an answer and waits until it shows that it is chosen.
func (k typist) choose(selector string) {
	k.t.Helper()
	k.tabTo(selector)
	k.press(" ")
	k.until(fmt.Sprintf(`document.querySelector(%q)?.getAttribute("aria-pressed") === "true"`, selector))
}

// badge types as a reader does: all at once, and Enter.
func (k typist) badge() {
	k.t.Helper()
	k.tabTo("#pin")
	k.press(demoPIN + kb.Enter)
}

func (k typist) begin(routine, assistant string) {
	k.t.Helper()
	choose := fmt.Sprintf(`form:has(input[name="vehicle"][value=%q]) button[name="routine"][value=%q]`, k.vehicle, routine)
	k.until(fmt.Sprintf("!!document.querySelector(%q)", choose))
	if k.has("details " + choose) {
		k.tabTo(fmt.Sprintf(`li:has(input[value=%q]) summary`, k.vehicle))
		k.press(kb.Enter)
	}
	k.tabTo(choose)
	k.press(kb.Enter)
	k.arrive("sign-in")
	k.tabTo(`input[name="person"]`)
	k.press(" ")
	k.badge()
	then, read := button("assistant", "person", assistant), "#do-answers-read"
	k.until(fmt.Sprintf("!!document.querySelector(%q) || !!document.querySelector(%q)", then, read))
	if k.has(read) {
		k.tabTo(read)
		k.press(kb.Enter)
	}
	k.tabTo(button("assistant", "person", assistant))
	k.press(kb.Enter)
	k.arrive("before")
	k.tabTo(`button[name="minutes"][value="360"]`)
	k.press(" ")
	k.until(`/Stopped/.test(document.querySelector("main").innerText)`)
	for n := range evaluate[int](k.page, `document.querySelectorAll('form:has(input[value="gauge"])').length`) {
		gauge := evaluate[string](k.page, fmt.Sprintf(`document.querySelectorAll('form:has(input[value="gauge"])')[%d].querySelector("button").value`, n))
		k.choose(button("gauge", "gauge", gauge))
	}
	k.tabTo("#do-begin")
	k.press(kb.Enter)
	k.until(`!["before",""].includes(document.querySelector("main[data-at]")?.dataset.at ?? "")`)
}

// answer answers a step as it was answered last, and records it.
func (k typist) answer(s *pb.CheckStep) {
	k.t.Helper()
	if k.has("#do-control") {
		k.tabTo("#do-control")
		k.press(kb.Enter)
		k.until(`!document.querySelector("#do-control")`)
	}
	if field := `form:has(input[value="proof"]) input[name="text"]`; k.has(field) {
		k.tabTo(field)
		k.press("A417" + kb.Enter)
		k.until(fmt.Sprintf(`document.querySelector(%q)?.getAttribute("value") === "A417"`, field))
	}
	if seen := s.GetLast().GetSeen().GetConditions(); len(seen) > 0 {
		k.choose(button("see", "condition", seen[0].GetCondition()))
	}
	for i, v := range s.GetLast().GetReading().GetValues() {
		if i > 0 {
			k.tabTo("#do-enter")
			k.press(" ")
		}
		typed := ""
		for _, digit := range strconv.FormatFloat(v.GetAsTyped(), 'f', -1, 64) {
			typed += string(digit)
			k.tabTo(button("key", "key", string(digit)))
			k.press(" ")
			k.until(fmt.Sprintf(`document.querySelector("#shown")?.innerText === %q`, typed))
		}
	}
	k.untilSo(fmt.Sprintf(`document.querySelector("main[data-at]")?.dataset.at !== %q`, s.GetStepId()), func() {
		k.clock.look(lookOf(s))
		if enter := k.enters(s); enter != "" && k.tabWhile(atStep(s), enter) {
			k.press(kb.Enter)
		}
	})
}

// A whole round without a finger on the glass: every screen is gone through with
// Tab, Enter and Space, and the PIN is typed as a badge reader types it.
func TestKeys_AWholeRound(t *testing.T) {
	t.Parallel() // it waits more than it works
	b := openBrowser(t)
	s := startStation(t)
	s.play("09-t1-before-tow.yaml")
	served := startLeaping(t, s.address)
	k := typist{newRobot(b.open(served.Tablet, 1280, 800), served.clock, s.address, "vehicles/t1", "routines/before-tow")}
	k.begin("routines/before-tow", "people/venholt")
	answered := 0
	for step := k.steps[k.at()]; step != nil; step = k.steps[k.at()] {
		k.answer(step)
		answered++
	}
	if answered != len(k.steps) {
		t.Errorf("%d steps were answered, the plan has %d", answered, len(k.steps))
	}
	k.tabTo("#do-sign-page")
	k.press(kb.Enter)
	k.arrive("sign")
	k.badge()
	k.arrive("handover")
	k.tabTo("#do-done")
	k.press(kb.Enter)
	k.arrive("vehicles")
	k.until(`/all sent/.test(document.body.innerText)`)
	if got := s.readiness("vehicles/t1"); got.GetVerdict() != pb.Verdict_VERDICT_FIT || len(got.GetRounds()) != 0 {
		t.Errorf("%v, rounds %v: %v", got.GetVerdict(), got.GetRounds(), got.GetReasons())
	}
}
