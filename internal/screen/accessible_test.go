package screen

import (
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// disorder finds what WCAG 2.2, A and AA, asks of a page's structure and is not so.
// The numbers are those of the success criteria; W3C Recommendation, 5 October 2023.
const disorder = `(() => {
  const wrong = [];
  const all = s => [...document.querySelectorAll(s)];
  const seen = e => e.checkVisibility({visibilityProperty: true});
  const say = e => e.tagName.toLowerCase() + "." + (e.getAttribute("class") || "") + " " + (e.getAttribute("aria-label") || e.textContent || e.name || "").replace(/\s+/g, " ").trim().slice(0, 40);
  if (!/^[a-z]{2}(-[A-Z]{2})?$/.test(document.documentElement.lang)) wrong.push("3.1.1 no language");
  if (!document.title.trim()) wrong.push("2.4.2 no title");
  const zoom = document.querySelector("meta[name=viewport]").content;
  if (/user-scalable\s*=\s*(no|0)|maximum-scale/.test(zoom)) wrong.push("1.4.4 zooming is forbidden: " + zoom);
  if (all("meta[http-equiv=refresh]").length) wrong.push("2.2.1 the page loads itself anew");
  if (all("h1").filter(seen).length !== 1) wrong.push("1.3.1 " + all("h1").filter(seen).length + " h1");
  let level = 0;
  for (const h of all("h1, h2, h3, h4, h5, h6").filter(seen)) {
    const now = +h.tagName[1];
    if (!h.textContent.trim()) wrong.push("2.4.6 an empty heading");
    if (now > level + 1) wrong.push("1.3.1 h" + now + " after h" + level + ": " + say(h));
    level = now;
  }
  if (all("main").length !== 1) wrong.push("1.3.1 " + all("main").length + " main");
  for (const s of all("nav, section, aside, form[aria-label]")) if (!s.getAttribute("aria-label") && !s.getAttribute("aria-labelledby") && !s.closest("main")) wrong.push("2.4.6 no label: " + say(s));
  const names = all("nav, body > div > section, body > div > div > section").filter(seen).map(e => e.getAttribute("aria-label"));
  if (new Set(names).size !== names.length) wrong.push("2.4.6 two landmarks of one name: " + names);
  const ids = all("[id]").map(e => e.id);
  for (const id of new Set(ids.filter((x, i) => ids.indexOf(x) !== i))) wrong.push("4.1.2 the id " + id + " twice");
  for (const e of all("[tabindex]")) if (e.tabIndex > 0) wrong.push("2.4.3 tabindex " + e.tabIndex + ": " + say(e));
  for (const a of ["aria-labelledby", "aria-describedby", "aria-controls", "aria-owns", "aria-activedescendant", "for", "form"])
    for (const e of all("[" + a + "]")) for (const id of e.getAttribute(a).split(/\s+/)) if (!document.getElementById(id)) wrong.push("1.3.1 " + a + " points at nothing: " + id);
  const aria = new Set(["label", "labelledby", "describedby", "hidden", "pressed", "current", "live", "expanded", "controls"].map(a => "aria-" + a));
  const roles = new Set(["status", "alert", "img", "group"]);
  for (const e of all("*")) for (const {name, value} of e.attributes) {
    if (name.startsWith("aria-") && !aria.has(name)) wrong.push("4.1.2 unknown " + name);
    if (name === "role" && !roles.has(value)) wrong.push("4.1.2 unknown role " + value);
    if (name === "aria-hidden" && value === "true" && e.querySelector("button, input, a, textarea, summary, select")) wrong.push("4.1.2 hidden, and can be focused: " + say(e));
  }
  for (const e of all("svg, img, canvas, video")) {
    const named = e.getAttribute("aria-label") || (e.tagName === "IMG" && e.hasAttribute("alt"));
    if (!named && !e.closest("[aria-hidden=true]") && !e.querySelector("button")) wrong.push("1.1.1 no name: " + say(e));
    if (e.tagName === "svg" && e.getAttribute("aria-label") && !/^(img|group)$/.test(e.getAttribute("role"))) wrong.push("1.1.1 a name without a role: " + say(e));
  }
  for (const e of all("input:not([type=hidden]), textarea, select")) if (!e.labels.length && !e.getAttribute("aria-label")) wrong.push("3.3.2 no label: " + say(e));
  for (const e of all("button, a, summary")) if (e.querySelector("button, a, input, summary")) wrong.push("4.1.2 a control within a control: " + say(e));
  for (const e of all("li")) if (!e.closest("ul, ol")) wrong.push("1.3.1 an item of no list: " + say(e));
  for (const e of all("ul, ol")) if ([...e.children].some(c => c.tagName !== "LI")) wrong.push("1.3.1 what is no item in a list: " + say(e));
  for (const e of all("th")) if (!e.scope) wrong.push("1.3.1 a heading of a table without scope: " + say(e));
  for (const e of all("fieldset")) if (!e.querySelector("legend")) wrong.push("1.3.1 a group without a legend");
  for (const g of new Set(all("input[type=radio]").map(e => e.name))) if (!all("input[name='" + g + "']").every(e => e.closest("fieldset"))) wrong.push("1.3.1 choices of no group: " + g);
  for (const e of all("button, summary, a")) { // 2.5.3: who says what he sees gets it
    const label = e.getAttribute("aria-label"), words = e.textContent.replace(/[^\p{L}\p{N}. ]/gu, "").replace(/\s+/g, " ").trim().toLowerCase();
    if (label && /[\p{L}\p{N}]/u.test(words) && !label.toLowerCase().includes(words)) wrong.push("2.5.3 “" + words + "” is called “" + label + "”");
  }
  for (const e of all("button, summary, a, input:not([type=hidden]), textarea, select").filter(seen)) {
    const b = (e.type === "radio" ? e.nextElementSibling : e).getBoundingClientRect();
    if (Math.min(b.width, b.height) < 24) wrong.push("2.5.8 " + [b.width, b.height].map(Math.round) + ": " + say(e));
    if (e.matches("a") && !e.href) wrong.push("2.1.1 a link to nowhere: " + say(e));
  }
  if (document.querySelector("form[data-act]") && !(document.querySelector("#said[role=status]") && document.querySelector("#cut[role=alert]"))) wrong.push("4.1.3 nothing says what happens");
  return wrong;
})()`

// unnamed are the controls of the browser's accessibility tree that have no name,
// and its text fields, buttons and pictures that have none.
func unnamed(t *testing.T, b *browser) (found []string, controls int) {
	t.Helper()
	tree, err := chromedp.Call(b.ctx, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
	if err != nil {
		t.Fatalf("asking for the accessibility tree: %v", err)
	}
	text := func(v *accessibility.Value) string {
		if v == nil {
			return ""
		}
		return strings.Trim(string(v.Value), `"`)
	}
	for _, n := range tree.Nodes {
		role := text(n.Role)
		if n.Ignored || !slices.Contains([]string{"button", "textbox", "radio", "combobox", "checkbox", "link", "DisclosureTriangle", "DisclosureTriangleGrouped", "spinbutton", "image", "img", "heading", "navigation", "region"}, role) {
			continue
		}
		controls++
		if strings.TrimSpace(text(n.Name)) == "" {
			found = append(found, "4.1.2 no name: "+role)
		}
	}
	return found, controls
}

// Every screen of the tablet, live in a browser, is in order for those who do not
// see it or touch it.
func TestTabletPage_IsAccessible(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	eachSample(t, b, 1280, 800, func(t *testing.T, _ string) {
		value[bool](t, b, "document.querySelectorAll('details:not([name])').forEach(d => { d.open = true; }) || true")
		for _, wrong := range value[[]string](t, b, disorder) {
			t.Error(wrong)
		}
		found, controls := unnamed(t, b)
		for _, wrong := range found {
			t.Error(wrong)
		}
		if controls < 2 {
			t.Errorf("the tree has %d controls", controls)
		}
	})
}

func TestBayPage_IsAccessible(t *testing.T) {
	b := openBrowser(t, 1920, 1080)
	for name, bay := range boards(t) {
		k := serve(t, newDesk(bay), defaultLimits())
		for _, path := range []string{"/bay", "/bay/setup", "/bay/setup?inches=900"} {
			t.Run(name+path, func(t *testing.T) {
				b.do(t, chromedp.Navigate(k.inside.URL+path))
				b.until(t, "document.body.classList.contains('setup') || !document.body.classList.contains('lost')")
				for _, wrong := range value[[]string](t, b, disorder) {
					t.Error(wrong)
				}
				found, named := unnamed(t, b)
				for _, wrong := range found {
					t.Error(wrong)
				}
				if named < 2 {
					t.Errorf("the tree has %d things with names", named)
				}
			})
		}
	}
}

// atFocus says where the focus is and how it is seen, once a key has moved it.
const atFocus = `(() => {
  const e = document.activeElement;
  if (!e || e === document.body) return {name: ""};
  const shown = e.type === "radio" ? e.nextElementSibling : e;
  const b = shown.getBoundingClientRect(), s = getComputedStyle(shown);
  let top = document.elementFromPoint(b.x + b.width / 2, b.y + b.height / 2);
  if (e.matches(".spot") && top && top.closest(".spot")) top = e; // places that lie close
  window.met ||= new Set(); const again = window.met.has(e); window.met.add(e);
  return {
    name: (e.getAttribute("aria-label") || e.textContent.trim() || e.name || e.id).replace(/\s+/g, " ").slice(0, 40), again,
    control: e.matches("button, summary, input, textarea"),
    whole: b.width > 0 && b.left >= -1 && b.top >= -1 && b.right <= innerWidth + 1 && b.bottom <= innerHeight + 1,
    free: !!top && (shown.contains(top) || top.contains(shown) || !!e.closest("label")?.contains(top)),
    ring: s.outlineStyle !== "none" ? parseFloat(s.outlineWidth) * (e.matches(".spot") ? new DOMMatrix(getComputedStyle(document.querySelector(".plan-sheet")).transform).a * document.querySelector(".plan-sheet").getScreenCTM().a : 1) : 0,
    colour: s.outlineColor,
  };
})()`

type focus struct {
	Name, Colour                string
	Again, Whole, Free, Control bool
	Ring                        float64
}

// With the Tab key alone everything that can be touched is reached, one after the
// other; each is seen whole, under nothing, with a ring of two pixels at least (2.1.1,
// 2.1.2, 2.4.7, 2.4.11).
func TestTabletPage_TabReachesEverything(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	eachSample(t, b, 1280, 800, func(t *testing.T, _ string) {
		// From the page's beginning to its end, and no further: going round, the browser gives the
		// focus to the first again some time after the key, and a second key then passes it by.
		want := value[int](t, b, `(() => { window.met = new Set(); document.body.tabIndex = -1; document.body.focus(); const radios = new Set();
			return [...document.querySelectorAll("button, summary, input:not([type=hidden]), textarea")].filter(e => e.checkVisibility({visibilityProperty: true}) && !e.disabled && (e.type !== "radio" || !radios.has(e.name) && radios.add(e.name))).length; })()`)
		got := 0
		for range 2*want + 20 {
			b.do(t, chromedp.KeyEvent(kb.Tab))
			at := value[focus](t, b, atFocus)
			if at.Name == "" || at.Again { // the browser's own frame, or round again
				break
			}
			if at.Control { // a part that scrolls can have the focus, too
				got++
			}
			if !at.Whole || !at.Free || at.Ring < 2 {
				t.Errorf("%q: whole %t, free %t, ring of %.1f px", at.Name, at.Whole, at.Free, at.Ring)
			}
		}
		if got != want {
			missed := value[[]string](t, b, `[...document.querySelectorAll("button, summary, input:not([type=hidden]), textarea")].filter(e => !window.met.has(e)).map(e => e.outerHTML.slice(0, 80))`)
			t.Errorf("Tab reaches %d of %d, and not (or now not there, or of the same group) %q", got, want, missed)
		}
	})
}
