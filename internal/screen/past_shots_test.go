package screen

import (
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// pastPaths are the pages of the sample, by the name of their pictures.
func pastPaths(t testing.TB, a *keptArchive) map[string]string {
	t.Helper()
	return map[string]string{
		"vehicles": "/history", "vehicle": "/history/wn11", "forecast": "/forecast", "explain": "/explain/wn11/" + aFinding,
		"tyre":          "/history/wn11/" + a.stepOf(t, ofUnit("bar")),
		"tread":         "/history/wn11/" + a.stepOf(t, ofUnit("mm")),
		"oil":           "/history/wn11/" + a.stepOf(t, ofUnit("%")),
		"bare":          "/history/wn11/" + a.stepOf(t, ofUnit("V")),
		"unknown":       "/history/wn99",
		"fleet-defects": "/defects", "defects": "/defects/wn11", "defect-deferred": "/defects/wn11/deferred", "defect-repeat": "/defects/wn11/rectified", "defect-stop": "/defects/wn11/stopped",
	}
}

// overlapping finds words of the chart that lie on one another, or outside the sheet,
// as the browser draws them.
const overlapping = `[...document.querySelectorAll("svg.chart")].filter(s => s.checkVisibility()).flatMap(svg => {
  const words = [...svg.querySelectorAll("text")].map(e => [e.textContent, e.getBBox()]), sheet = svg.viewBox.baseVal, wrong = [];
  words.forEach(([text, b], i) => {
    if (b.x < -0.05 || b.y < -0.05 || b.x + b.width > sheet.width + 0.05 || b.y + b.height > sheet.height + 0.05) wrong.push(text + " leaves the sheet");
    for (const [other, o] of words.slice(i + 1)) if (b.x < o.x + o.width && o.x < b.x + b.width && b.y + 0.9 < o.y + o.height && o.y + 0.9 < b.y + b.height) wrong.push(text + " lies on " + other);
  });
  return wrong;
})`

// Every page of the past on the smallest glass, both ways up, by day, by night and
// without colour: looked at by the measures that hold the tablet's own pages.
func TestPast_FitsTheGlass(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	a := sampleArchive(t)
	for _, glass := range []struct {
		name, theme   string
		pages         []string // those looked at; nil: all
		width, height int
		sight         emulation.SetEmulatedVisionDeficiencyType
	}{
		{"landscape-day", "day", nil, 1280, 800, emulation.SetEmulatedVisionDeficiencyTypeNone},
		{"landscape-night", "night", []string{"tyre", "explain", "forecast"}, 1280, 800, emulation.SetEmulatedVisionDeficiencyTypeNone},
		{"portrait-grey", "day", []string{"tyre", "tread", "vehicle", "explain", "forecast", "defects", "defect-deferred"}, 800, 1280, emulation.SetEmulatedVisionDeficiencyTypeAchromatopsia},
		{"portrait-night", "night", []string{"tyre", "vehicles"}, 800, 1280, emulation.SetEmulatedVisionDeficiencyTypeNone},
		{"zoomed", "day", []string{"tyre", "vehicle", "explain", "defect-repeat"}, 640, 400, emulation.SetEmulatedVisionDeficiencyTypeNone},
		{"phone", "night", []string{"tyre", "vehicle", "forecast", "defects"}, 360, 740, emulation.SetEmulatedVisionDeficiencyTypeNone},
	} {
		k := servePast(t, a, inRound(t), glass.theme)
		b.size(t, glass.width, glass.height)
		seenBy(t, b, glass.sight)
		for name, path := range pastPaths(t, a) {
			if glass.pages != nil && !slices.Contains(glass.pages, name) {
				continue
			}
			t.Run(glass.name+"/"+name, func(t *testing.T) {
				b.do(t, chromedp.Navigate(k.inside.URL+path))
				b.until(t, "document.readyState === 'complete'")
				b.shoot(t, "past-"+name+"-"+glass.name)
				for what, question := range map[string]string{
					"too small": strings.Replace(tooSmall, `"button, summary`, `"a, button, summary`, 1), "on one another": overlapping, "out of reach": unreachable, "in disorder": disorder,
					"sideways": `document.documentElement.scrollWidth > innerWidth ? [document.documentElement.scrollWidth + " wide"] : []`,
				} {
					if found := value[[]string](t, b, question); len(found) > 0 {
						t.Errorf("%s: %q", what, found)
					}
				}
				if name == "explain" && strings.HasPrefix(glass.name, "landscape") && value[bool](t, b, "document.documentElement.scrollHeight > innerHeight") {
					t.Error("the explanation does not fit on one screen")
				}
				if glass.sight == emulation.SetEmulatedVisionDeficiencyTypeNone {
					allLegible(t, b)
				}
			})
		}
	}
	for line := range strings.Lines(b.complaints()) {
		if !strings.Contains(line, "404 (Not Found)") { // the vehicle that nobody knows
			t.Errorf("the console says: %s", line)
		}
	}
}
