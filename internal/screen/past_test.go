package screen

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/fault"
	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"

	"golang.org/x/net/html"
	"google.golang.org/protobuf/proto"
)

// pastPage asks for a page of the past and reads it.
func pastPage(t *testing.T, k *kit, path string, status int) *html.Node {
	t.Helper()
	answer := get(t, k.inside.URL+path, nil)
	if answer.StatusCode != status {
		t.Fatalf("%s is answered %s, want %d", path, answer.Status, status)
	}
	if kind := answer.Header.Get("Content-Type"); kind != "text/html; charset=utf-8" || answer.Header.Get("Cache-Control") != "no-store" {
		t.Errorf("%s comes as %q, to be kept: %q", path, kind, answer.Header.Get("Cache-Control"))
	}
	return parsePage(t, []byte(text(t, answer)))
}

// each gathers the elements of a page that are wanted.
func each(doc *html.Node, wanted func(*html.Node) bool) (found []*html.Node) {
	walkNodes(doc, func(n *html.Node) {
		if wanted(n) {
			found = append(found, n)
		}
	})
	return found
}

func byTag(tag string) func(*html.Node) bool { return func(n *html.Node) bool { return n.Data == tag } }

func byClass(class string) func(*html.Node) bool {
	return func(n *html.Node) bool { return hasClass(n, class) }
}

// Whatever page is open, the round is one touch away and so is TURNOUT, which works
// without a script; every other way leads to a page that is there.
func TestPast_NoPageHidesTheRoundOrTheTurnout(t *testing.T) {
	a := sampleArchive(t)
	k := servePast(t, a, inRound(t), "day")
	for name, path := range pastPaths(t, a) {
		status := http.StatusOK
		if name == "unknown" {
			status = http.StatusNotFound
		}
		doc := pastPage(t, k, path, status)
		back := each(doc, func(n *html.Node) bool { return attribute(n, "id") == "back" })
		if len(back) != 1 || attribute(back[0], "href") != "/" || wordsOf(back[0]) != "Back to the round" || !hasClass(back[0], "t20") {
			t.Errorf("%s: the way back is %d", name, len(back))
		}
		turnout := each(doc, func(n *html.Node) bool { return n.Data == "button" && wordsOf(n) == "TURNOUT" && hasClass(n, "t25") })
		if len(turnout) != 1 {
			t.Fatalf("%s: %d turnouts", name, len(turnout))
		}
		id, act, err := decodeForm(url.Values(sentBy(doc, above(turnout[0], "form"), turnout[0])))
		if err != nil || act.Name != "turnout" || id != "" || attribute(above(turnout[0], "form"), "action") != "/act" {
			t.Errorf("%s: TURNOUT sends %q %v", name, act.Name, err)
		}
		for _, link := range each(doc, byTag("a")) {
			href := attribute(link, "href")
			if answer := get(t, k.inside.URL+href, nil); answer.StatusCode != http.StatusOK && href != path {
				t.Errorf("%s: %s is answered %s", name, href, answer.Status)
			}
		}
		walkNodes(doc, func(n *html.Node) { checkPolicy(t, n) })
		if n := len(each(doc, byTag("script"))); n != 0 {
			t.Errorf("%s: %d scripts", name, n)
		}
	}
	if got := k.desk.taken(); len(got) != 0 {
		t.Errorf("looking at the past made the desk do %v", got)
	}
}

func TestPast_TurnoutIsDoneByForm(t *testing.T) {
	k := servePast(t, sampleArchive(t), inRound(t), "day")
	answer := postAct(t, k, url.Values{"act": {"turnout"}}, nil)
	if answer.StatusCode != http.StatusSeeOther || answer.Header.Get("Location") != "/" {
		t.Errorf("answered %s to %q", answer.Status, answer.Header.Get("Location"))
	}
	if got := k.desk.taken(); len(got) != 1 || got[0].Name != "turnout" {
		t.Errorf("the desk was handed %v", got)
	}
}

// The pages show names, so they are the tablet's alone, and answer to its names alone.
func TestPast_IsForTheTabletAlone(t *testing.T) {
	a := sampleArchive(t)
	k := servePast(t, a, inRound(t), "day")
	bare := serve(t, newDesk(wholeBay(t)), defaultLimits())
	for _, path := range pastPaths(t, a) {
		if answer := get(t, k.public.URL+path, nil); answer.StatusCode != http.StatusNotFound {
			t.Errorf("the display's listener answers %s to %s", answer.Status, path)
		}
		if answer := get(t, bare.inside.URL+path, nil); answer.StatusCode != http.StatusNotFound {
			t.Errorf("with nobody to ask, %s is answered %s", path, answer.Status)
		}
		answer := get(t, k.inside.URL+path, func(r *http.Request) { r.Host = "elsewhere.example" })
		if answer.StatusCode != http.StatusMisdirectedRequest || answer.Header.Get("Content-Security-Policy") != policy {
			t.Errorf("under another name %s is answered %s", path, answer.Status)
		}
	}
}

func TestPast_VehicleListsItsPlaces(t *testing.T) {
	a := sampleArchive(t)
	view := inRound(t)
	view.Vehicles[0].Readiness = sampleReadiness("WN11")
	k := servePast(t, a, view, "day")
	doc := pastPage(t, k, "/history/wn11", http.StatusOK)
	rows, measured := each(doc, byClass("of-step")), 0
	for _, p := range a.pasts["vehicles/wn11"] {
		if len(p.History.GetPoints()) == 0 {
			continue
		}
		measured++
		if !slices.ContainsFunc(rows, func(n *html.Node) bool { return attribute(n, "href") == "/history/wn11/"+p.Step.GetStepId() }) {
			t.Errorf("no way to %s", p.Step.GetStepId())
		}
	}
	if len(rows) != measured || measured < 10 {
		t.Errorf("%d rows for %d measured places", len(rows), measured)
	}
	if n := len(each(doc, byClass("spark"))); n != measured {
		t.Errorf("%d small drawings", n)
	}
	for _, row := range rows {
		if strings.Contains(attribute(row, "href"), a.stepOf(t, ofUnit("bar"))) {
			for _, want := range []string{"7.42 bar", "today 06:42", "Falls 0.041 bar a week, 2.1 times faster than before.", "7.2 bar: 17 Dec 2026 – 14 Jan 2027"} {
				if !strings.Contains(wordsOf(row), want) {
					t.Errorf("the row says %q, not %q", wordsOf(row), want)
				}
			}
		}
	}
	if reasons := each(doc, byClass("of-reason")); len(reasons) != 1 || attribute(reasons[0], "href") != "/explain/wn11/"+beltFinding.GetFindingId() {
		t.Errorf("%d reasons lead to their explanation", len(reasons))
	}
}

func TestPast_ChartHasItsWordsAndItsTable(t *testing.T) {
	a := sampleArchive(t)
	k := servePast(t, a, inRound(t), "night")
	doc := pastPage(t, k, "/history/wn11/"+a.stepOf(t, ofUnit("bar")), http.StatusOK)
	charts := each(doc, byClass("chart"))
	if len(charts) != len(chartSizes) {
		t.Fatalf("%d charts", len(charts))
	}
	for _, c := range charts {
		if attribute(c, "role") != "img" || !strings.HasPrefix(attribute(c, "aria-label"), "Chart: ") || len(each(c, byTag("title"))) != 1 {
			t.Errorf("the chart is called %q", attribute(c, "aria-label"))
		}
		says := each(doc, func(n *html.Node) bool {
			return n.Data == "desc" && attribute(n, "id") == attribute(c, "aria-describedby")
		})
		if len(says) != 1 {
			t.Fatalf("%d descriptions", len(says))
		}
		for _, want := range []string{"58 readings from 22 Oct 2025 to 25 Nov 2026; the newest is 7.42 bar.", "Falls 0.041 bar a week (0.037 to 0.044)", "at least 6.4 bar, else do not move until put right", "Aimed at: 8 bar.", "Forecast: reaches 7.2 bar between"} {
			if !strings.Contains(wordsOf(says[0]), want) {
				t.Errorf("the description %q does not say %q", wordsOf(says[0]), want)
			}
		}
	}
	body := each(doc, byTag("tbody"))
	if len(body) != 1 {
		t.Fatal("no table")
	}
	rows := each(body[0], byTag("tr"))
	if len(rows) != mostPastRows || !strings.Contains(wordsOf(rows[0]), "25 Nov 2026 06:42") || !strings.Contains(wordsOf(rows[0]), "7.42 bar") || !strings.Contains(wordsOf(rows[0]), "G-07") {
		t.Errorf("%d rows, the newest says %q", len(rows), wordsOf(rows[0]))
	}
	if !strings.Contains(wordsOf(rows[11]), "+0.6 bar") {
		t.Errorf("the row of the top-up says %q", wordsOf(rows[11]))
	}
}

func TestPast_ExplanationIsReadByParts(t *testing.T) {
	a := sampleArchive(t)
	k := servePast(t, a, inRound(t), "day")
	doc := pastPage(t, k, "/explain/wn11/"+aFinding, http.StatusOK)
	var heads []string
	for _, n := range each(doc, byTag("dt")) {
		heads = append(heads, wordsOf(n))
	}
	want := []string{"READ", "MADE OF IT", "WORTH", "LIMIT", "WHY THIS ONE", "HOW SURE", "HISTORY", "MEANS", "RULE FROM", "NOW"}
	if !slices.Equal(heads, want) {
		t.Errorf("the parts are %q, want %q", heads, want)
	}
	parts := each(doc, byTag("dd"))
	if lines := each(parts[1], byTag("p")); len(lines) != 3 || !strings.Contains(wordsOf(lines[1]), "288.15 K / 277.15 K") {
		t.Errorf("what was made of it has %d lines", len(lines))
	}
	links := each(doc, func(n *html.Node) bool { return attribute(n, "href") == "/history/wn11/TYR-010/axle-1-nearside" })
	if len(links) != 1 {
		t.Errorf("%d ways to the readings", len(links))
	}
	if h1 := each(doc, byTag("h1")); len(h1) != 1 || !strings.HasPrefix(wordsOf(h1[0]), "Cannot tell: 6.69 bar") {
		t.Errorf("%d headings", len(h1))
	}
}

func TestPast_ForecastsStandInTheOrderGiven(t *testing.T) {
	a := sampleArchive(t)
	k := servePast(t, a, inRound(t), "day")
	doc := pastPage(t, k, "/forecast", http.StatusOK)
	rows := each(doc, byClass("of-forecast"))
	if len(rows) != len(a.forecasts.GetForecasts()) {
		t.Fatalf("%d rows", len(rows))
	}
	for i, f := range a.forecasts.GetForecasts() {
		if got := attribute(rows[i], "href"); got != "/history/wn11/"+f.GetStepId() {
			t.Errorf("row %d leads to %s", i, got)
		}
	}
	if says := wordsOf(rows[0]); !strings.Contains(says, "reaches 7.2 bar between 17 December 2026 and 14 January 2027: not to respond until put right.") || !strings.Contains(says, "in about 4 weeks") {
		t.Errorf("the first says %q", says)
	}
	if later := pastPage(t, k, "/forecast?page=more", http.StatusOK); !strings.Contains(wordsOf(later), "No place is heading for a limit") {
		t.Error("the page after the last says nothing")
	}
}

func TestPast_SaysWhoAnswered(t *testing.T) {
	a := sampleArchive(t)
	view := inRound(t)
	view.Link.Pending = 3
	k := servePast(t, a, view, "day")
	source := func() string {
		t.Helper()
		for _, n := range each(pastPage(t, k, "/history/wn11", http.StatusOK), func(n *html.Node) bool { return attribute(n, "id") == "source" }) {
			return wordsOf(n)
		}
		return ""
	}
	if got := source(); !strings.HasPrefix(got, "From the station: ") || !strings.Contains(got, "still to send (3) is not in it") || !strings.HasSuffix(got, "As of 07:42.") {
		t.Errorf("the station's answer is called %q", got)
	}
	a.from = round.SourceTablet
	if got := source(); !strings.HasPrefix(got, "From this tablet: 64 readings at most, fewer of older days.") || strings.Contains(got, "still to send") {
		t.Errorf("the tablet's answer is called %q", got)
	}
}

func TestPast_SaysWhatWentWrong(t *testing.T) {
	a := sampleArchive(t)
	k := servePast(t, a, inRound(t), "day")
	for _, tc := range []struct {
		broken error
		status int
		says   string
	}{
		{fault.New(fault.Unavailable, "STATION_AWAY", "the station is away"), http.StatusServiceUnavailable, "The station was not reached, and this tablet does not know it either: the station is away."},
		{fault.New(fault.NotFound, "STEP_UNKNOWN", "there is no such step"), http.StatusNotFound, "There is no such step."},
		{fault.New(fault.Invalid, "PAGE_TOKEN", "this is no page"), http.StatusBadRequest, "This is no page."},
		{errors.New("disk"), http.StatusInternalServerError, "It could not be read; the kiosk’s log says why."},
	} {
		a.broken = tc.broken
		doc := pastPage(t, k, "/history/wn11", tc.status)
		if alert := each(doc, func(n *html.Node) bool { return attribute(n, "role") == "alert" }); len(alert) != 1 || wordsOf(alert[0]) != tc.says {
			t.Errorf("%v: the page says %q", tc.broken, wordsOf(doc))
		}
	}
}

// What people typed into a configuration stays text.
func TestPast_WordsAreText(t *testing.T) {
	a := sampleArchive(t)
	for i := range a.pasts["vehicles/wn11"] {
		p := &a.pasts["vehicles/wn11"][i]
		p.Step = proto.CloneOf(p.Step) // other tests read the same plan
		p.Step.Title = `<b>"tyre" & <i>`
		for _, l := range p.History.GetLimits() {
			l.Text = "<u>x"
		}
	}
	k := servePast(t, a, inRound(t), "day")
	doc := pastPage(t, k, "/history/wn11/"+a.stepOf(t, ofUnit("bar")), http.StatusOK)
	if n := len(each(doc, byTag("u"))) + len(each(doc, byTag("i"))); n != 0 {
		t.Errorf("%d elements came out of texts", n)
	}
	if h1 := each(doc, byTag("h1")); len(h1) != 1 || !strings.HasPrefix(wordsOf(h1[0]), `<b>"tyre" & <i>`) {
		t.Errorf("the heading says %q", wordsOf(h1[0]))
	}
}

func TestSlopeWords_SayNoMoreThanIsKnown(t *testing.T) {
	for _, tc := range []struct {
		name  string
		trend *pb.Trend
		want  string
	}{
		{"too few", &pb.Trend{}, "Too few readings to speak of a trend"},
		{"interval about nothing", &pb.Trend{HasSlope: true, SlopePerWeek: -3, SlopeLowPerWeek: -7, SlopeHighPerWeek: 1}, "No clear change"},
		{"falls", &pb.Trend{HasSlope: true, SlopePerWeek: -5, SlopeLowPerWeek: -6.2, SlopeHighPerWeek: -4}, "Falls 0.05 bar a week (0.04 to 0.062)"},
		{"rises slowly", &pb.Trend{HasSlope: true, SlopePerWeek: 0.7, SlopeLowPerWeek: 0.35, SlopeHighPerWeek: 1.4}, "Rises 0.37 bar a year (0.18 to 0.73)"},
		{"faster", &pb.Trend{HasSlope: true, SlopePerWeek: -50, SlopeLowPerWeek: -60, SlopeHighPerWeek: -40, TimesFaster: 3.04}, "Falls 0.5 bar a week (0.4 to 0.6), 3 times faster than before"},
	} {
		p := pastStep{Past: round.Past{History: &pb.GetHistoryResponse{
			Quantity: pb.Quantity_QUANTITY_PRESSURE, Unit: "bar", Trend: tc.trend, Points: measuredEvery(1, 1, func(int) float64 { return 800 }),
		}}, now: sampleNow, zone: time.UTC}
		if got := p.SlopeWords(); got != tc.want {
			t.Errorf("%s: %q, want %q", tc.name, got, tc.want)
		}
	}
	if got := (pastStep{Past: round.Past{History: &pb.GetHistoryResponse{}}}).SlopeWords(); got != "Nothing measured yet" {
		t.Errorf("of nothing it says %q", got)
	}
}
