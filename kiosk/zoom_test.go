package main

import (
	"context"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	pb "bayround/proto/bayround/v1"
)

// lost scrolls to every control in turn and says what cannot be seen whole or lies
// under something else, and where the page is wider than the glass.
const lost = `(() => {
  const wrong = [], wide = document.documentElement.scrollWidth;
  const free = e => {
    const b = e.getBoundingClientRect(), top = document.elementFromPoint(b.x + b.width / 2, b.y + b.height / 2);
    return b.left >= -1 && b.right <= innerWidth + 1 && b.top >= -1 && (b.bottom <= innerHeight + 1 || b.height > innerHeight) &&
      !!top && (e.contains(top) || top.contains(e) || !!e.closest("label")?.contains(top) || e.matches(".spot") && !!top.closest(".found, .spot"));
  };
  const turnout = document.getElementById("do-turnout");
  if (wide > innerWidth) wrong.push("the page is " + wide + " wide");
  for (const e of document.querySelectorAll("button, summary, input:not([type=hidden]), textarea")) {
    if (!e.checkVisibility({visibilityProperty: true})) continue;
    e.scrollIntoView({block: "center", inline: "center", behavior: "instant"});
    if (!free(e)) wrong.push(e.getAttribute("aria-label") || e.textContent || e.name);
    if (turnout && !free(turnout)) wrong.push("TURNOUT, at " + e.textContent);
  }
  scrollTo(0, 0);
  return wrong;
})()`

// zooms are how a tablet of 1280 by 800 has the page at 200 %, both ways up, and a phone.
var zooms = [...][2]int64{{640, 400}, {400, 640}, {360, 740}}

// zoomed looks at the screen as it is at every zoom, and leaves it at the whole size.
func (r *robot) zoomed(what string) {
	r.t.Helper()
	for _, size := range zooms {
		r.size(size)
		if wrong := evaluate[[]string](r.page, lost); len(wrong) > 0 {
			r.t.Errorf("%s on %v: %q", what, size, wrong)
		}
	}
	r.size([2]int64{1280, 800})
}

func (r *robot) size(px [2]int64) {
	r.t.Helper()
	r.do("resizing", chromedp.EmulateViewport(px[0], px[1], chromedp.EmulateTouch))
	r.until(fmt.Sprintf("innerWidth === %d && innerHeight === %d", px[0], px[1]))
}

// photograph hands over a photo, as a camera does, and waits until it is shown.
func (r *robot) photograph() {
	r.t.Helper()
	name := filepath.Join(r.t.TempDir(), "photo.png")
	f, err := os.Create(name)
	if err != nil {
		r.t.Fatal(err)
	}
	if err := errors.Join(png.Encode(f, image.NewGray(image.Rect(0, 0, 40, 30))), f.Close()); err != nil {
		r.t.Fatal(err)
	}
	r.do("taking a photo", chromedp.SetUploadFiles(chromedp.CSS("input[name=photo]"), []string{name}))
	r.until(`[...document.querySelectorAll("main .thumbs img")].some(e => e.naturalWidth === 40 && /^Photo 1 of Fuel level.*, not yet recorded$/.test(e.alt))`)
}

// goTo opens a step from the overview.
func (r *robot) goTo(step string) {
	r.t.Helper()
	r.toOverview()
	r.do("opening what is folded", openAll())
	r.tap(`main button[name="step"][value="` + step + `"]`)
	r.arrive(step)
}

// cure says what was done about what was just found, and reads it again.
func (r *robot) cure(step, done, amount, unit string) {
	r.t.Helper()
	r.tap(".found summary")
	r.typeIn(`.found input[name="done"]`, done)
	if amount != "" {
		r.typeIn(`.found input[name="amount"]`, amount)
		r.typeIn(`.found input[name="unit"]`, unit)
	}
	r.tap("#do-cure")
	r.arrive(step)
	r.until(`/^Found: /.test(document.querySelector("#do-cure-cancel")?.form.innerText)`)
}

// closed tells that the answer given last ended a defect.
const closed = `/Closed: /.test(document.querySelector("#given").innerText)`

// stepOf is the step of an item that the vehicle has once.
func (r *robot) stepOf(item string) string {
	r.t.Helper()
	for id := range r.steps {
		if strings.HasPrefix(id, item+"/") {
			return id
		}
	}
	r.t.Fatalf("the plan has no %s", item)
	return ""
}

// What can be put right on the spot is: found, put right and read again, by touch.
// Both readings are in the record, and nothing stays open. On the way every screen
// is looked at zoomed, and the second fault is put right on half the breadth.
func TestZoom_WhatIsFoundIsPutRightAndReadAgain(t *testing.T) {
	t.Parallel() // it waits more than it works
	b := openBrowser(t)
	s := startStation(t)
	s.play("01-wn11-shift.yaml")
	k := startLeaping(t, s.address)
	r := newRobot(b.open(k.Tablet, 1280, 800), k.clock, s.address, "vehicles/wn11", "routines/shift")
	fuel, washer := r.stepOf("FLU-110"), r.stepOf("FLU-090")
	r.until(`/all sent/.test(document.body.innerText)`)
	r.zoomed("vehicles")
	r.begin("routines/shift", "people/arkwith", "people/venholt")
	r.zoomed("a condition")

	r.goTo(fuel)
	r.zoomed("the keys")
	r.photograph()
	r.values[fuel] = "20"
	r.answer(r.steps[fuel])
	r.zoomed("what was found")
	r.cure(fuel, "filled up", "180", "L")
	r.photograph()
	delete(r.values, fuel)
	r.answer(r.steps[fuel])
	r.until(closed)
	r.goTo(fuel) // it was answered; its photo stands there again, by the time of the answer
	r.until(`[...document.querySelectorAll("main .thumbs img")].filter(e => e.naturalWidth > 0 && /^Photo 1 of Fuel level.*, \d\d:\d\d$/.test(e.alt)).length === 1`)
	r.tap(only("next"))
	r.until(fmt.Sprintf(`document.querySelector("main[data-at]")?.dataset.at !== %q`, fuel))

	r.size(zooms[1])
	r.goTo(washer)
	r.choose(`form:has(input[name="mark"][value="below"]) button`)
	r.record(r.steps[washer])
	r.cure(washer, "topped up", "", "")
	r.answer(r.steps[washer])
	r.until(closed)
	r.tap(only("overview"))
	r.arrive("overview")
	r.zoomed("overview")
	r.tap(only("sign-page"))
	r.arrive("sign")
	r.zoomed("sign")

	r.until(`/all sent/.test(document.body.innerText)`)
	for step, done := range map[string]string{fuel: "filled up", washer: "topped up"} {
		results := s.resultsAt(step)
		if len(results) != 3 { // the one that was there before, and two of this round
			t.Fatalf("%s has %d results", step, len(results))
		}
		found, again := results[1], results[2]
		if len(found.GetFindings()) == 0 || len(again.GetFindings()) != 0 {
			t.Errorf("%s: first %v, then %v", step, found.GetFindings(), again.GetFindings())
		}
		if c := again.GetResult().GetCure(); c.GetFoundResultId() != found.GetResult().GetResultId() || c.GetDone() != done {
			t.Errorf("%s: the record says of the cure %v", step, c)
		}
	}
	if open := s.readiness("vehicles/wn11").GetOpenDefects(); len(open) != 0 {
		t.Errorf("still open: %v", open)
	}
}

// resultsAt are all results at a step, from the station's own journal.
func (s *ofRecord) resultsAt(step string) (results []*pb.ResultRecorded) {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(s.t.Context(), patience)
	defer cancel()
	events, err := pb.NewJournalServiceClient(s.dial()).Follow(ctx, &pb.FollowRequest{StopAtEnd: true})
	for err == nil {
		var next *pb.FollowResponse
		if next, err = events.Recv(); err == nil {
			for _, ev := range next.GetEvents().GetEvents() {
				if r := ev.GetResultRecorded(); r.GetResult().GetStepId() == step {
					results = append(results, r)
				}
			}
		}
	}
	if !errors.Is(err, io.EOF) {
		s.t.Fatal(err)
	}
	return results
}
