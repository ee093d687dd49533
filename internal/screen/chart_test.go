package screen

import (
	"math"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	pb "bayround/proto/bayround/v1"

	"golang.org/x/net/html"
	"pgregory.net/rapid"
)

// chartNumber is any number inside an attribute of a drawing.
var chartNumber = regexp.MustCompile(`-?[0-9]+(?:\.[0-9]+)?`)

// drawnChart is a drawing with what its laws speak of.
type drawnChart struct {
	*chart
	svg    string
	points [][2]float64 // middles of all circles inside the frame's group
	words  []string
}

func chartDrawn(t interface {
	Helper()
	Fatal(...any)
}, in chartIn, size chartSize,
) drawnChart {
	t.Helper()
	c := newChart(in, size)
	d := drawnChart{chart: c, svg: string(c.draw("says"))}
	doc, err := html.Parse(strings.NewReader(d.svg))
	if err != nil {
		t.Fatal(err)
	}
	walkNodes(doc, func(n *html.Node) {
		switch {
		case n.Data == "circle" && hasClass(n, "ch-read", "ch-normal"):
			x, _ := strconv.ParseFloat(attribute(n, "cx"), 64)
			y, _ := strconv.ParseFloat(attribute(n, "cy"), 64)
			d.points = append(d.points, [2]float64{x, y})
		case n.Data == "text":
			d.words = append(d.words, wordsOf(n))
		}
	})
	return d
}

// lawful says what is wrong with a drawing; empty when nothing is.
func (d drawnChart) lawful(wantPoints int) (wrong []string) {
	if strings.Contains(d.svg, "NaN") || strings.Contains(d.svg, "Inf") {
		wrong = append(wrong, "a number is none: "+d.svg)
	}
	const rounding = 0.006
	for _, p := range d.points {
		if p[0] < d.left-rounding || p[0] > d.right+rounding || p[1] < d.upper-rounding || p[1] > d.lower+rounding {
			wrong = append(wrong, "a point outside the frame: "+strconv.FormatFloat(p[0], 'f', 2, 64)+" "+strconv.FormatFloat(p[1], 'f', 2, 64))
		}
	}
	if len(d.points) < wantPoints {
		wrong = append(wrong, strconv.Itoa(len(d.points))+" points are drawn of "+strconv.Itoa(wantPoints))
	}
	for i, a := range d.boxes {
		if a.x1 < -rounding || a.y1 < -rounding || a.x2 > d.width+rounding || a.y2 > d.height+rounding {
			wrong = append(wrong, "a label leaves the sheet")
		}
		for _, b := range d.boxes[i+1:] {
			if a.meets(b) {
				wrong = append(wrong, "two labels lie on one another")
			}
		}
	}
	if d.trend != nil || d.outlook != nil {
		wrong = append(wrong, d.outside()...)
	}
	return wrong
}

// outside finds lines of trend, band and bounds that leave the frame.
func (d drawnChart) outside() (wrong []string) {
	for _, path := range regexp.MustCompile(`<path class="(ch-line|ch-ahead)" d="([^"]*)"`).FindAllStringSubmatch(d.svg, -1) {
		for i, text := range chartNumber.FindAllString(path[2], -1) {
			v, _ := strconv.ParseFloat(text, 64)
			low, high := d.left, d.right
			if i%2 == 1 {
				low, high = d.upper, d.lower
			}
			if v < low-0.01 || v > high+0.01 {
				wrong = append(wrong, path[1]+" leaves the frame at "+text)
			}
		}
	}
	for _, rect := range regexp.MustCompile(`<rect class="ch-band" x="([^"]*)" y="[^"]*" width="([^"]*)"`).FindAllStringSubmatch(d.svg, -1) {
		x, _ := strconv.ParseFloat(rect[1], 64)
		width, _ := strconv.ParseFloat(rect[2], 64)
		if x < d.left-0.01 || width <= 0 || x+width > d.right+0.02 {
			wrong = append(wrong, "the band leaves the frame: "+rect[0])
		}
	}
	return wrong
}

func plainSeries(n int, every time.Duration, value func(i int) float64) chartIn {
	in := chartIn{name: "Tyre", unit: "bar", now: sampleNow, zone: time.UTC}
	for i := range n {
		v := value(i)
		in.points = append(in.points, chartPoint{at: sampleNow.Add(-every * time.Duration(n-1-i)), read: v, normal: v})
	}
	return in
}

func TestChart_HoldsWhateverIsMeasured(t *testing.T) {
	day := 24 * time.Hour
	gap := plainSeries(20, 7*day, func(i int) float64 { return 8 - float64(i)*0.02 })
	for i := range 10 {
		gap.points[i].at = gap.points[i].at.AddDate(-1, 0, 0)
	}
	broken := plainSeries(5, day, func(int) float64 { return 8 })
	broken.points[2].read, broken.points[3].normal, broken.points[4].read = math.NaN(), math.Inf(1), 1e200
	broken.trend = &chartTrend{math.NaN(), math.Inf(-1), math.Inf(1)}
	broken.limits = []chartLimit{{bound: math.NaN()}}
	nothing := math.NaN()
	broken.target = &nothing
	for name, tc := range map[string]struct {
		in   chartIn
		want int
	}{
		"no point":        {plainSeries(0, day, nil), 0},
		"one point":       {plainSeries(1, day, func(int) float64 { return 8.2 }), 1},
		"two points":      {plainSeries(2, day, func(i int) float64 { return float64(i) }), 2},
		"a thousand":      {plainSeries(1000, 9*time.Hour, func(i int) float64 { return math.Sin(float64(i)) }), 1000},
		"equal values":    {plainSeries(12, 7*day, func(int) float64 { return 8 }), 12},
		"nothing but 0":   {plainSeries(12, 7*day, func(int) float64 { return 0 }), 12},
		"a year's gap":    {gap, 20},
		"the same moment": {plainSeries(3, 0, func(i int) float64 { return float64(i) }), 3},
		"no numbers":      {broken, 2},
		"very large":      {plainSeries(4, day, func(i int) float64 { return 9e8 + float64(i) }), 4},
		"forty years":     {plainSeries(40, 365*day, func(i int) float64 { return -float64(i) }), 40},
	} {
		for _, size := range chartSizes {
			t.Run(name+"/"+size.sheet, func(t *testing.T) {
				for _, wrong := range chartDrawn(t, tc.in, size).lawful(tc.want) {
					t.Error(wrong)
				}
			})
		}
	}
}

// Whatever a series, its bounds and its forecast are, every point lies inside the
// frame, no label on another, no line beyond the frame, and nothing is no number.
func TestChart_Laws(t *testing.T) {
	number := rapid.Float64Range(-1000, 1000)
	rapid.Check(t, func(t *rapid.T) {
		in := chartIn{name: "Tyre", unit: rapid.SampledFrom([]string{"bar", "mm", "%", "", "°C", "/32 in"}).Draw(t, "unit"), now: sampleNow, zone: time.UTC}
		at := sampleNow.Add(-time.Duration(rapid.IntRange(0, 900).Draw(t, "days")) * 24 * time.Hour)
		for range rapid.IntRange(0, 40).Draw(t, "points") {
			p := chartPoint{at: at, read: number.Draw(t, "read"), reset: rapid.IntRange(0, 6).Draw(t, "reset") == 0}
			p.normal = p.read + rapid.SampledFrom([]float64{0, 0.3}).Draw(t, "brought")
			if p.toppedUp = rapid.Bool().Draw(t, "put in"); p.toppedUp {
				p.added = rapid.SampledFrom([]float64{0, 3}).Draw(t, "added")
			}
			in.points = append(in.points, p)
			at = at.Add(time.Duration(rapid.IntRange(0, 900).Draw(t, "hours")) * time.Hour)
		}
		for range rapid.IntRange(0, 12).Draw(t, "limits") {
			in.limits = append(in.limits, chartLimit{
				bound: number.Draw(t, "bound"), side: pb.LimitSide(rapid.IntRange(0, 4).Draw(t, "side")), effect: "not to respond",
				verdict: pb.Verdict(rapid.IntRange(0, 5).Draw(t, "verdict")),
			})
		}
		if rapid.Bool().Draw(t, "has target") {
			target := number.Draw(t, "target")
			in.target = &target
		}
		if rapid.Bool().Draw(t, "has trend") {
			in.trend = &chartTrend{number.Draw(t, "level"), number.Draw(t, "slope"), number.Draw(t, "days")}
		}
		if rapid.Bool().Draw(t, "has outlook") {
			o := &chartOutlook{bound: number.Draw(t, "reached"), earliest: sampleNow.AddDate(0, 0, rapid.IntRange(0, 730).Draw(t, "earliest"))}
			o.likely = o.earliest.AddDate(0, 0, rapid.IntRange(0, 300).Draw(t, "likely"))
			if rapid.Bool().Draw(t, "ends") {
				o.latest = o.likely.AddDate(0, 0, rapid.IntRange(0, 300).Draw(t, "latest"))
			}
			in.outlook = o
		}
		for _, size := range chartSizes {
			for _, wrong := range chartDrawn(t, in, size).lawful(len(in.points)) {
				t.Error(size.sheet, wrong)
			}
		}
	})
}

// What a chart shows is told apart by shape and dashes, and each thing is named.
func TestChart_IsReadWithoutColour(t *testing.T) {
	a := sampleArchive(t)
	for _, past := range a.pasts["vehicles/wn11"] {
		if past.History.GetUnit() != "bar" {
			continue
		}
		step := pastStep{Past: past, Vehicle: "wn11", now: sampleNow, zone: time.UTC}
		for _, size := range chartSizes {
			d := chartDrawn(t, step.chart(), size)
			for _, word := range []string{
				"today", "repaired", "target 8 bar", "at least 6.4 bar", "do not move", "at least 7.2 bar", "not to respond",
				"at least 7.6 bar", "noted", "at most 9 bar", "with limits", "7.2 bar: 17 Dec 2026 – 14 Jan 2027", "bar", "Jan", "2026", "2027",
			} {
				if !slices.Contains(d.words, word) {
					t.Errorf("%s: nothing says %q, only %q", size.sheet, word, d.words)
				}
			}
			for class, want := range map[string]int{"ch-added": 2, "ch-band": 1, "ch-hatch": 1, "ch-line": 43, "ch-ahead": 1, "mark-unfit": 1, "mark-move": 1, "mark-restricted": 1, "mark-noted": 1} {
				if got := strings.Count(d.svg, class+`"`); got != want {
					t.Errorf("%s: %d of %s, want %d", size.sheet, got, class, want)
				}
			}
			return
		}
	}
	t.Error("the sample has no tyre")
}

// The line of the trend runs through what was read, also before a top-up: a loss of
// 1 a day, made good by 10 after 10 days, is two parallel lines, 10 apart.
func TestChart_TrendTakesOffWhatWasPutInLater(t *testing.T) {
	in := plainSeries(21, 24*time.Hour, func(i int) float64 { return 100 - float64(i) })
	for i := 11; i < 21; i++ {
		in.points[i].read += 10
		in.points[i].normal += 10
	}
	in.points[11].added, in.points[11].toppedUp = 10, true
	in.trend = &chartTrend{level: 90, perDay: -1, days: 15}
	d := chartDrawn(t, in, chartSizes[0])
	lines := regexp.MustCompile(`<path class="ch-line" d="M([0-9.]+) ([0-9.]+)L([0-9.]+) ([0-9.]+)"`).FindAllStringSubmatch(d.svg, -1)
	if len(lines) != 15 {
		t.Fatalf("%d parts of the line, want one for each of the 15 days that it rests on", len(lines))
	}
	for i, line := range lines { // newest first
		x, _ := strconv.ParseFloat(line[3], 64)
		y, _ := strconv.ParseFloat(line[4], 64)
		at := d.points[len(d.points)-2-i]
		if math.Abs(x-at[0]) > 0.02 || math.Abs(y-at[1]) > 0.02 {
			t.Errorf("part %d ends at %v %v, the point lies at %v", i, x, y, at)
		}
	}
}

// What past.css says it lays on one another has its contrast in each palette of
// tablet.css, and past.css has no colour of its own.
func TestPastStyle_EveryColourPairHasItsContrast(t *testing.T) {
	css, err := os.ReadFile("static/past.css")
	if err != nil {
		t.Fatal(err)
	}
	tablet, err := os.ReadFile("static/tablet.css")
	if err != nil {
		t.Fatal(err)
	}
	pairs, themes := pairRule.FindAllStringSubmatch(string(css), -1), palettes(string(tablet))
	if len(pairs) < 10 || len(themes) != 3 {
		t.Fatalf("%d pairs in %d palettes were found", len(pairs), len(themes))
	}
	for _, p := range pairs {
		want, err := strconv.ParseFloat(p[3], 64)
		if err != nil {
			t.Fatal(err)
		}
		for i, colours := range themes {
			if got := contrast(t, colours[p[1]], colours[p[2]]); got < want {
				t.Errorf("palette %d: %s on %s is %.2f, want %v", i, p[1], p[2], got, want)
			}
		}
	}
	if found := anyColour.FindString(string(css)); found != "" {
		t.Errorf("a colour outside the palettes: %s", found)
	}
}
