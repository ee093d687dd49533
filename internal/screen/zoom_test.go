package screen

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"bayround/internal/round"

	"github.com/chromedp/chromedp"
	"github.com/google/go-cmp/cmp"
	"golang.org/x/net/html"
)

// eachSample shows sample after sample on one page of that size.
func eachSample(t *testing.T, b *browser, width, height int, do func(t *testing.T, name string)) {
	t.Helper()
	desk := newDesk(wholeBay(t))
	k := serve(t, desk, defaultLimits())
	b.size(t, width, height)
	b.do(t, chromedp.Navigate(k.inside.URL+"/"))
	views := sampleViews(t)
	for _, name := range slices.Sorted(maps.Keys(views)) {
		t.Run(name, func(t *testing.T) {
			showSample(t, b, desk, views[name])
			do(t, name)
		})
	}
}

// regions are what the page shows, after it has had a moment to show more.
const regions = `new Promise(yes => setTimeout(() => yes(Object.fromEntries([...document.querySelectorAll(".region")].map(e => [e.id, e.innerHTML]))), 5))`

// showSample makes the desk show a view, and waits until the socket has brought all of it:
// what a frame brings later is another element, even where it reads the same.
func showSample(t *testing.T, b *browser, desk *trivialDesk, v *round.View) {
	t.Helper()
	showView(desk, v)
	drawn, err := tabletRegions(v, Display{TabletMMPerPX: smallTabletMMPerPX})
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]string{}
	for _, r := range drawn {
		want[r.ID] = asDrawn(t, r.HTML)
	}
	for diff := "nothing yet"; diff != ""; {
		shown, err := chromedp.Run(b.ctx, chromedp.Evaluate[map[string]string](regions, chromedp.EvalAwaitPromise))
		if err != nil {
			t.Fatalf("the page does not show all of it: %v (-drawn +shown):\n%s", err, diff)
		}
		for id, is := range shown {
			shown[id] = asDrawn(t, is)
		}
		diff = cmp.Diff(want, shown)
	}
	value[bool](t, b, "(scrollTo(0, 0), true)")
}

// asDrawn is a region's HTML, however it is written, but for what the page itself changes: what
// is unfolded, where the focus may be, the seconds that run.
func asDrawn(t *testing.T, region string) string {
	t.Helper()
	var all strings.Builder
	var write func(n *html.Node)
	write = func(n *html.Node) {
		switch {
		case n.Type == html.TextNode:
			all.WriteString(strings.Join(strings.Fields(n.Data), " ") + "\n")
		case n.Type == html.ElementNode:
			if _, counted := attr(n, "data-hold"); counted || n.Data == "span" && len(n.Attr) == 0 && n.FirstChild == nil {
				return
			}
			all.WriteString("<" + n.Data)
			for _, a := range slices.SortedFunc(slices.Values(n.Attr), func(a, b html.Attribute) int { return strings.Compare(a.Key, b.Key) }) {
				if a.Key != "open" && a.Key != "tabindex" {
					fmt.Fprintf(&all, " %s=%q", a.Key, a.Val)
				}
			}
			all.WriteString(">\n")
			if _, runs := attr(n, "data-since"); runs {
				return
			}
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			write(c)
		}
	}
	write(parsePage(t, []byte(region)))
	return all.String()
}

// unreachable scrolls to every control in turn, as whoever has zoomed does, those of
// each drawer with it open, and says what cannot be seen whole or lies under
// something else, and where the page itself is wider than the glass.
const unreachable = `(() => {
  const wrong = new Set();
  const named = e => (e.getAttribute("aria-label") || e.textContent.trim() || e.name || e.id).replace(/\s+/g, " ").slice(0, 40);
  const turnout = () => {
    const e = document.getElementById("do-turnout");
    if (!e) return;
    const b = e.getBoundingClientRect();
    if (!e.contains(document.elementFromPoint(b.x + b.width / 2, b.y + b.height / 2)) || b.right > innerWidth + 1 || b.top < -1 || b.bottom > innerHeight + 1) wrong.add("TURNOUT is out of reach");
  };
  const look = (drawer, inside) => {
    const wide = document.documentElement.scrollWidth;
    if (wide > innerWidth) wrong.add(drawer + ": the page is " + wide + " wide on " + innerWidth + ": " + [...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > innerWidth).slice(-1).map(e => e.tagName + "." + e.className + " " + named(e)));
    for (const e of document.querySelectorAll("button, summary, input:not([type=hidden]), textarea, select")) {
      if (!e.checkVisibility({visibilityProperty: true}) || e.disabled || !(inside || document).contains(e)) continue;
      e.scrollIntoView({block: "center", inline: "center", behavior: "instant"});
      const b = e.getBoundingClientRect(), x = b.x + b.width / 2, y = b.y + b.height / 2;
      if (b.left < -1 || b.right > innerWidth + 1 || b.top < -1 || (b.bottom > innerHeight + 1 && b.height < innerHeight)) wrong.add(drawer + ": " + named(e) + " cannot be seen whole: " + [b.left, b.top, b.right, b.bottom].map(Math.round));
      const top = document.elementFromPoint(x, y);
      if (!top || !(e.contains(top) || top.contains(e) || e.closest("label")?.contains(top) || e.matches(".spot") && top.closest(".found"))) wrong.add(drawer + ": " + named(e) + " lies under " + (top ? top.tagName + "." + top.className + " " + named(top) : "nothing"));
      turnout();
    }
  };
  look("shut");
  for (const d of document.querySelectorAll("details")) {
    const was = [...document.querySelectorAll("details")].map(o => o.open);
    d.open = true;
    look(d.querySelector("summary").textContent.trim(), d);
    document.querySelectorAll("details").forEach((o, i) => { o.open = was[i]; });
  }
  scrollTo(0, 0); turnout();
  scrollTo(0, document.documentElement.scrollHeight); turnout();
  scrollTo(0, 0);
  return [...wrong];
})()`

// Zoomed to 200 % a tablet of 1280 by 800 has the page on 640 by 400; and a phone
// has 360 pixels across. Nothing is lost there.
func TestTabletPage_NothingIsLostWhenZoomed(t *testing.T) {
	b := openBrowser(t, 640, 400)
	for _, glass := range []struct {
		name          string
		width, height int
	}{{"zoomed-landscape", 640, 400}, {"zoomed-portrait", 400, 640}, {"phone", 360, 740}, {"whole", 1280, 800}} {
		t.Run(glass.name, func(t *testing.T) {
			eachSample(t, b, glass.width, glass.height, func(t *testing.T, name string) {
				b.shoot(t, glass.name+"-"+name)
				if wrong := value[[]string](t, b, unreachable); len(wrong) > 0 {
					t.Errorf("%q", wrong)
				}
			})
		})
	}
}
