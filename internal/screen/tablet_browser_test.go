package screen

import (
	"fmt"
	"maps"
	"slices"
	"testing"

	"bayround/internal/round"

	"github.com/chromedp/chromedp"
)

// showView makes the desk show another view, as if something had been done.
func showView(d *trivialDesk, v *round.View) {
	d.mu.Lock()
	defer d.mu.Unlock()
	next := *v
	next.Version = d.view.Version + 1
	d.view = &next
	close(d.changed)
	d.changed = make(chan struct{})
}

// tooSmall measures what can be touched, in millimetres on the glass; whatever is
// scrolled out of sight counts too, what is folded away does not.
const tooSmall = `(() => {
  const mm = parseFloat(getComputedStyle(document.documentElement).getPropertyValue("--mm"));
  return [...document.querySelectorAll("button, summary, input:not([type=hidden]), textarea, .pick > span")]
    .filter(e => e.checkVisibility() && e.type !== "radio")
    .map(e => [e, e.getBoundingClientRect()])
    .filter(([e, box]) => { const least = (e.classList.contains("t25") ? 25 : 15) * mm - 0.6; return Math.min(box.width, box.height) < least; })
    .map(([e, box]) => (e.getAttribute("aria-label") || e.textContent.trim() || e.name) + ": " + (box.width / mm).toFixed(1) + " by " + (box.height / mm).toFixed(1) + " mm");
})()`

// spilt finds what leaves its place sideways: text out of a button, the page or its
// parts wider than the glass.
const spilt = `[...document.querySelectorAll("html, body, .body, .answer, .head, .bar, .given, .notice, button, summary, a.key")]
  .filter(e => e.checkVisibility() && !e.classList.contains("spot"))
  .filter(e => e.scrollWidth > e.clientWidth + 3 || (e.matches("button, summary, a.key") && e.scrollHeight > e.clientHeight + 3) || e.getBoundingClientRect().right > innerWidth + 1)
  .map(e => e.tagName + "." + e.className + ": " + e.textContent.trim().slice(0, 60) + " " + e.scrollWidth + ">" + e.clientWidth + " " + e.scrollHeight + ">" + e.clientHeight)`

// wrapped finds a question that is broken into lines beside what leads elsewhere.
const wrapped = `[...document.querySelectorAll("#main:has(#vehicles) h1")].filter(e => e.clientHeight > 1.5 * parseFloat(getComputedStyle(e).lineHeight)).map(e => e.textContent)`

// covered finds controls whose middle lies under something else.
const covered = `[...document.querySelectorAll("button, summary, input:not([type=hidden]), textarea")]
  .filter(e => e.checkVisibility() && e.type !== "radio")
  .map(e => [e, e.getBoundingClientRect()])
  .filter(([e, b]) => {
    const scroller = e.closest(".body, .tells, .drawer > div");
    const view = scroller ? scroller.getBoundingClientRect() : { top: 0, bottom: innerHeight };
    const x = b.left + b.width / 2, y = b.top + b.height / 2;
    if (y < view.top || y > view.bottom || y > innerHeight) return false; // scrolled away
    const top = document.elementFromPoint(x, y);
    return !top || !(e.contains(top) || top.contains(e) || top.closest(".found, .notice"));
  })
  .map(([e]) => (e.getAttribute("aria-label") || e.textContent.trim() || e.name))`

// Every sample on the smallest glass, both ways up: nothing is cut off sideways,
// nothing is too small to touch or lies under something else, no policy is broken.
func TestTabletPage_FitsTheGlass(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	views := sampleViews(t)
	for _, glass := range []struct {
		name          string
		width, height int
	}{{"landscape", 1280, 800}, {"portrait", 800, 1280}} {
		desk := newDesk(wholeBay(t))
		k := serve(t, desk, defaultLimits())
		b.size(t, glass.width, glass.height)
		b.do(t, chromedp.Navigate(k.inside.URL+"/"))
		for _, name := range slices.Sorted(maps.Keys(views)) {
			t.Run(glass.name+"/"+name, func(t *testing.T) {
				showSample(t, b, desk, views[name])
				b.shoot(t, "tablet-"+name+"-"+glass.name)
				for what, question := range map[string]string{"too small": tooSmall, "cut off": spilt, "wrapped": wrapped, "covered": covered} {
					if found := value[[]string](t, b, question); len(found) > 0 {
						t.Errorf("%s: %q", what, found)
					}
				}
			})
		}
	}
	if wrong := b.complaints(); wrong != "" {
		t.Errorf("the console says: %s", wrong)
	}
}

// seenWhole counts the vehicles of the list that are seen whole without scrolling, above
// where the list fades out.
const seenWhole = `(() => {
  const mm = parseFloat(getComputedStyle(document.documentElement).getPropertyValue("--mm"));
  const list = document.getElementById("vehicles").getBoundingClientRect();
  return [...document.querySelectorAll(".vehicles > li")].map(e => e.getBoundingClientRect())
    .filter(b => b.top >= list.top - 1 && b.bottom <= Math.min(list.bottom, innerHeight) - 3 * mm + 1).length;
})()`

// A crew with six vehicles sees at least four of them without scrolling, whatever is said of
// them: one is stopped, one may only be moved, one has a round to go on with, one can
// be released, one answers to another call sign, one has a deferral about to end; and there
// are answers to be read.
func TestTabletPage_FourOfSixVehiclesAreSeen(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	desk := newDesk(wholeBay(t))
	k := serve(t, desk, defaultLimits())
	b.do(t, chromedp.Navigate(k.inside.URL+"/"))
	v := *sampleViews(t)["vehicles"]
	v.Vehicles = slices.Concat(v.Vehicles[:5], v.Vehicles[6:7])
	for _, glass := range [][2]int{{1280, 800}, {800, 1280}, {1920, 1080}} {
		b.size(t, glass[0], glass[1])
		showSample(t, b, desk, &v)
		b.shoot(t, fmt.Sprintf("tablet-six-vehicles-%dx%d", glass[0], glass[1]))
		if n := value[int](t, b, "document.querySelectorAll('.vehicles > li').length"); n != 6 {
			t.Fatalf("%d vehicles are listed", n)
		}
		if n := value[int](t, b, seenWhole); n < 4 {
			t.Errorf("on %d by %d, %d of six are seen", glass[0], glass[1], n)
		}
	}
}

// The plan is a way to go: touching a place of it sends the step that is open there.
func TestTabletPage_APlaceOnThePlanIsTouched(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	v := sampleViews(t)["condition"]
	desk := newDesk(wholeBay(t))
	showView(desk, v)
	k := serve(t, desk, defaultLimits())
	b.do(t, chromedp.Navigate(k.inside.URL+"/"))
	b.until(t, "document.querySelector('.spot')")
	steps := value[[]string](t, b, "[...document.querySelectorAll('.spot')].map(e => e.value)")
	for i, step := range steps {
		// The page loads itself anew when its socket was slow to answer.
		b.until(t, fmt.Sprintf("document.querySelectorAll('.spot').length === %d", len(steps)))
		at := value[[]float64](t, b, fmt.Sprintf("(r => [r.left + r.width / 2, r.top + r.height / 2])(document.querySelectorAll('.spot')[%d].getBoundingClientRect())", i))
		b.do(t, chromedp.MouseClickXY(at[0], at[1]))
		for len(desk.taken()) <= i {
			b.until(t, "true") // a way to the browser and back, until the act has come
		}
		if act := desk.taken()[i]; act.Name != "go" || act.Values["step"] != step {
			t.Errorf("touching target %d sent %+v, want go to %s", i, act, step)
		}
	}
	if len(steps) < 5 {
		t.Errorf("the plan has %d targets", len(steps))
	}
}

// Signing by touch alone: the keys come with the field, and what they typed is sent.
func TestTabletPage_APINIsTouched(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	desk := newDesk(wholeBay(t))
	showView(desk, sampleViews(t)["sign"])
	k := serve(t, desk, defaultLimits())
	openTablet(t, b, k) // the first frame replaces what came with the page
	b.do(t, chromedp.Click(chromedp.CSS("#pin")))
	for _, digit := range []string{"2", "4", "9", "", "6", "8"} { // one of them taken back
		b.do(t, chromedp.Click(chromedp.CSS(fmt.Sprintf("[data-put=%q]", digit))))
	}
	b.shoot(t, "tablet-sign-keys-landscape")
	b.do(t, chromedp.Click(chromedp.CSS("#do-sign")))
	for len(desk.taken()) == 0 {
		b.until(t, "true") // as above
	}
	if act := desk.taken()[0]; act.Name != "sign" || act.Values["pin"] != "2468" {
		t.Errorf("the desk was handed %+v", act)
	}
}
