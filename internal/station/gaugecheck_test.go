package station_test

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/catalogue"
	"bayround/internal/fault"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// check compares a gauge with a reference, and requires that it is taken.
func check(t *testing.T, k *stationtest.Kit, gauge string, shown, reference float64) *pb.Gauge {
	t.Helper()
	resp, err := k.CheckGauge(ctx, checkRequest(gauge, shown, reference))
	if err != nil {
		t.Fatal(err)
	}
	return resp.GetGauge()
}

func checkRequest(gauge string, shown, reference float64) *pb.CheckGaugeRequest {
	return &pb.CheckGaugeRequest{RequestId: uuid(), Gauge: gauge, Check: &pb.GaugeCheck{
		Person: "people/mechanic", Reference: "dead weight tester", Shown: shown, ReferenceValue: reference,
	}}
}

// gauge is a gauge as the register has it.
func gauge(t *testing.T, k *stationtest.Kit, name string) *pb.Gauge {
	t.Helper()
	for _, g := range k.Library().GetGauges() {
		if g.GetName() == name {
			return g
		}
	}
	t.Fatalf("no gauge %s", name)
	return nil
}

// The errors that EN 12645 permits are those of its forerunner, Directive
// 86/217/EEC; nobody here has read either (from memory). What is at the limit is good.
func TestCheckGauge_GoodWithinPermissibleError(t *testing.T) {
	for name, tc := range map[string]struct {
		registered       string
		shown, reference float64
		want             bool
	}{
		"its own error, at it":                {"16", 816, 800, true},
		"its own error, above it":             {"16", 816.1, 800, false},
		"its own error, below it":             {"16", 783.9, 800, false},
		"to 4 bar 0.08, at it (from memory)":  {"5\n    error_class: GAUGE_ERROR_CLASS_EN_12645", 392, 400, true},
		"to 4 bar 0.08, past (from memory)":   {"5\n    error_class: GAUGE_ERROR_CLASS_EN_12645", 391.9, 400, false},
		"to 10 bar 0.16, at it (from memory)": {"5\n    error_class: GAUGE_ERROR_CLASS_EN_12645", 1016, 1000, true},
		"to 10 bar 0.16, past (from memory)":  {"5\n    error_class: GAUGE_ERROR_CLASS_EN_12645", 1016.1, 1000, false},
		"its own error, more than its class":  {"16\n    error_class: GAUGE_ERROR_CLASS_EN_12645", 386, 400, true},
		"above 10 bar 0.25 (from memory)":     {"5\n    error_class: GAUGE_ERROR_CLASS_EN_12645", 1075, 1100, true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := stationtest.Open(t)
			k.ApplyAltered("    max_permissible_error: 16\n", "    max_permissible_error: "+tc.registered+"\n")
			k.Clock.Advance(time.Minute)
			g := check(t, k, "gauges/g-1", tc.shown, tc.reference)
			if got := g.GetChecks()[0]; got.GetGood() != tc.want || got.GetStationTime().AsTime().Before(k.Clock.Now()) {
				t.Errorf("the check is %v, want good %v at %v or just after", got, tc.want, k.Clock.Now())
			}
		})
	}
}

func TestCheckGauge_Refuses(t *testing.T) {
	k := stationtest.Open(t)
	before := events(t, k)
	for name, tc := range map[string]struct {
		spoil func(*pb.CheckGaugeRequest)
		want  refusal
	}{
		"an unknown gauge":     {func(r *pb.CheckGaugeRequest) { r.Gauge = "gauges/none" }, refusal{fault.NotFound, "GAUGE_UNKNOWN"}},
		"an unknown person":    {func(r *pb.CheckGaugeRequest) { r.Check.Person = "people/none" }, refusal{fault.NotFound, "PERSON_UNKNOWN"}},
		"an unknown reference": {func(r *pb.CheckGaugeRequest) { r.Check.Reference = "gauges/none" }, refusal{fault.NotFound, "GAUGE_UNKNOWN"}},
		"the gauge by itself":  {func(r *pb.CheckGaugeRequest) { r.Check.Reference = r.GetGauge() }, refusal{fault.Invalid, "REFERENCE_IS_GAUGE"}},
		"a withdrawn gauge":    {func(r *pb.CheckGaugeRequest) { r.Gauge = "gauges/g-old" }, refusal{fault.Precondition, "GAUGE_WITHDRAWN"}},
		"another gauge":        {func(r *pb.CheckGaugeRequest) { r.Check.Reference = "gauges/d-1" }, refusal{}},
	} {
		req := checkRequest("gauges/g-1", 800, 800)
		tc.spoil(req)
		t.Run(name, func(t *testing.T) {
			_, err := k.CheckGauge(ctx, req)
			tc.want.check(t, err)
		})
	}
	if n := events(t, k); n != before+1 {
		t.Errorf("%d events more, want that of the one that was taken", n-before)
	}
}

func TestCheckGauge_RepeatedDoesNothing(t *testing.T) {
	k := stationtest.Open(t)
	req := checkRequest("gauges/g-1", 850, 800)
	first, err := k.CheckGauge(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	again, err := k.CheckGauge(ctx, req)
	if err != nil || !proto.Equal(first, again) {
		t.Errorf("repeated: %v, %v, want %v", again, err, first)
	}
	if n := len(gauge(t, k, "gauges/g-1").GetChecks()); n != 1 {
		t.Errorf("%d checks, want 1", n)
	}
}

// The register keeps the newest fifty, over restarts; files that are applied
// neither take checks away nor bring some.
func TestCheckGauge_StaysOnTheRegister(t *testing.T) {
	k := stationtest.Open(t)
	for i := range 52 {
		k.Clock.Advance(time.Hour)
		check(t, k, "gauges/g-1", 800+float64(i), 800)
	}
	kept := func(when string, title string) {
		t.Helper()
		g := gauge(t, k, "gauges/g-1")
		if n := len(g.GetChecks()); n != 50 || g.GetChecks()[0].GetShown() != 802 || g.GetChecks()[49].GetShown() != 851 || g.GetTitle() != title {
			t.Errorf("%s: %d checks of %q from %v", when, n, g.GetTitle(), g.GetChecks()[0])
		}
	}
	kept("at once", "G-1 tyre gauge")
	k.Reopen()
	kept("after a restart", "G-1 tyre gauge")
	same := k.ApplyAltered("title: G-1 tyre gauge\n",
		"title: G-1 tyre gauge\n    checks: [{person: people/driver, reference: a guess, shown: 1, reference_value: 1}]\n")
	for _, c := range same.GetChanges() {
		if c.GetKind() != pb.ChangeKind_CHANGE_KIND_SAME {
			t.Errorf("a file that differs in its checks alone changes %v", c)
		}
	}
	k.ApplyAltered("title: G-1 tyre gauge", "title: G-1 new hose")
	kept("after another file", "G-1 new hose")
	twin := k.Twin()
	twin.AdoptLibrary(k)
	if d := diff(gauge(t, k, "gauges/g-1"), gauge(t, twin, "gauges/g-1")); d != "" {
		t.Errorf("at the twin (station: -, twin: +)\n%s", d)
	}
}

// A check is not a person's taking over of the gauge's file: newer default files
// still change the gauge, and those that were taken are not taken again.
func TestCheckGauge_LeavesDefaultsInForce(t *testing.T) {
	dir, clock := t.TempDir(), stationtest.NewClock()
	open := func(title string) *stationtest.Kit {
		text := strings.ReplaceAll(string(stationtest.Small()[0].Content), "G-1 tyre gauge", title)
		return stationtest.OpenWith(t, clock, station.Options{Dir: dir, Now: clock.Now, Defaults: []catalogue.File{{Name: "small.yaml", Content: []byte(text)}}})
	}
	k := open("G-1 tyre gauge")
	check(t, k, "gauges/g-1", 850, 800)
	k.Close()
	k = open("G-1 new hose")
	check(t, k, "gauges/d-1", 5, 5)
	g := gauge(t, k, "gauges/g-1")
	if g.GetTitle() != "G-1 new hose" || len(g.GetChecks()) != 1 {
		t.Errorf("after newer defaults: %v", g)
	}
	size := events(t, k)
	k.Close()
	k = open("G-1 new hose")
	if n := events(t, k); n != size {
		t.Errorf("the same defaults made %d events", n-size)
	}
}
