package screen

import (
	"testing"

	"github.com/chromedp/chromedp"
)

// legible finds each visible text of the tablet with its colour, what it lies on and
// the contrast it must have: 7 for what is acted on, 4.5 for the rest (WCAG 2.2,
// 1.4.6 and 1.4.3). The call sign on the drawn roof is part of the drawing; it is
// read in the bar.
const legible = `(() => {
  const hex = c => '#' + c.match(/[0-9.]+/g).slice(0, 3).map(n => Math.round(n).toString(16).padStart(2, '0')).join('');
  const solid = c => !/^rgba\(.*, 0\)$/.test(c);
  const under = e => { while (e.parentElement && !solid(getComputedStyle(e).backgroundColor)) e = e.parentElement; return hex(getComputedStyle(e).backgroundColor); };
  const found = [];
  for (const e of document.querySelectorAll("body *")) {
    if (!e.checkVisibility({visibilityProperty: true, opacityProperty: true}) || e.closest(".vh, #said, .pv-roof, [disabled]")) continue;
    const s = getComputedStyle(e);
    if (e.placeholder && !e.value) found.push([e.placeholder, hex(getComputedStyle(e, "::placeholder").color), under(e), "7"]);
    if (![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
    const matters = e.matches("h1, h2, h3, .number, .command, .do, .word, strong, b, button, summary, label, label span, .bar-stop, #cut, .notice p, .panel p") && !e.closest(".quiet");
    found.push([e.textContent.trim().slice(0, 40), hex(e instanceof SVGElement ? s.fill : s.color), under(e), matters ? "7" : "4.5"]);
  }
  return found;
})()`

// Every text of every screen of the tablet has its contrast as the browser draws it,
// and every control has its edge (1.4.11): by day, by night and, as to the edges, in
// colours that a person forces on it. The grooves of a tread are a drawing, as the
// plan is.
func TestTabletPage_EveryTextAndEdgeIsSeen(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	for setting, ground := range map[string]string{
		"prefers-color-scheme: light": "rgb(250, 248, 243)", "prefers-color-scheme: dark": "rgb(11, 15, 19)", "forced-colors: active": "rgb(255, 255, 255)",
	} {
		prefers(t, b, setting)
		eachSample(t, b, 1280, 800, func(t *testing.T, _ string) {
			if on := value[string](t, b, "getComputedStyle(document.body).backgroundColor"); on != ground {
				t.Fatalf("%s: the ground is %s", setting, on)
			}
			if found := value[[]string](t, b, borderless); len(found) > 0 {
				t.Errorf("%s: %q", setting, found)
			}
			if setting != "forced-colors: active" { // there the colours are the person's own
				allLegible(t, b)
			}
		})
	}
}

// allLegible holds what is shown, and what is folded away, to its contrast.
func allLegible(t *testing.T, b *browser) {
	t.Helper()
	value[bool](t, b, "document.querySelectorAll('details').forEach(d => { d.was = d.getAttribute('name'); d.removeAttribute('name'); d.open = true; }) || true")
	texts := value[[][4]string](t, b, legible)
	value[bool](t, b, "document.querySelectorAll('details').forEach(d => { if (d.was) d.name = d.was; }) || true")
	if len(texts) < 3 {
		t.Fatalf("%d texts were found", len(texts))
	}
	for _, text := range texts {
		least := map[string]float64{"7": 7, "4.5": 4.5}[text[3]]
		if got := contrast(t, text[1], text[2]); got < least {
			t.Errorf("%q is %s on %s, %.2f:1, want %v", text[0], text[1], text[2], got, least)
		}
	}
}

// moving are the elements that move, or would at a touch. What covers the display
// when nobody winds it up again is hidden until then, and then there at once.
const moving = `[...document.querySelectorAll("*")].flatMap(e => [e, "::before", "::after"].map(p => [e, getComputedStyle(e, p === e ? null : p)]))
  .filter(([e, s]) => e.id !== "cover" && [s.transitionDuration, s.animationDuration].some(d => d.split(",").some(x => parseFloat(x) > 0)) || s.scrollBehavior === "smooth")
  .map(([e]) => e.tagName + "#" + e.id + "." + (e.getAttribute("class") || ""))`

// Whoever wants no motion sees none.
func TestPages_NothingMovesForWhoWantsNoMotion(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	desk := newDesk(wholeBay(t))
	k := serve(t, desk, defaultLimits())
	showView(desk, sampleViews(t)["condition-fault"])
	for path, ready := range map[string]string{"/": "document.querySelector('.tiles')", "/bay": "!document.body.classList.contains('notlive')"} {
		b.do(t, chromedp.Navigate(k.inside.URL+path))
		b.until(t, ready)
		prefers(t, b, "prefers-reduced-motion: no-preference")
		if len(value[[]string](t, b, moving)) == 0 {
			t.Errorf("%s: nothing moves for anybody", path)
		}
		prefers(t, b, "prefers-reduced-motion: reduce")
		if found := value[[]string](t, b, moving); len(found) > 0 {
			t.Errorf("%s: these move: %q", path, found)
		}
		if covered := value[string](t, b, "document.getElementById('cover') ? getComputedStyle(document.getElementById('cover')).animationTimingFunction : 'step-end'"); covered != "step-end" && covered != "steps(1)" {
			t.Errorf("the cover comes by %q", covered)
		}
	}
}

// borderless are the controls whose edge cannot be told from the ground that they
// are on, nor their own ground from it.
const borderless = `(() => {
  const rgb = c => c.match(/[0-9.]+/g).map(Number);
  const lum = c => { const [r, g, b] = rgb(c).slice(0, 3).map(v => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const apart = (a, b) => { const [x, y] = [lum(a), lum(b)].sort((p, q) => q - p); return (x + 0.05) / (y + 0.05); };
  const solid = c => !/^rgba\(.*, 0\)$/.test(c);
  const under = e => { for (e = e.parentElement; e.parentElement && !solid(getComputedStyle(e).backgroundColor); e = e.parentElement); return getComputedStyle(e).backgroundColor; };
  return [...document.querySelectorAll("button, summary, input:not([type=hidden]), textarea, .pick > span")]
    .filter(e => e.checkVisibility({opacityProperty: true}) && e.type !== "radio" && !e.matches(".spot") && !e.closest(".grooves"))
    .filter(e => { const s = getComputedStyle(e), g = under(e);
      const edge = ["Left", "Bottom"].every(w => parseFloat(s["border" + w + "Width"]) >= 1 && s["border" + w + "Style"] !== "none" && apart(s["border" + w + "Color"], g) >= 3);
      return !edge && !(solid(s.backgroundColor) && apart(s.backgroundColor, g) >= 3); })
    .map(e => e.outerHTML.slice(0, 90));
})()`
