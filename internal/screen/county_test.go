package screen

import (
	"bytes"
	"context"
	"image"
	"image/png"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"bayround/internal/fault"
	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/types/known/timestamppb"
)

// morning is the instant of all samples: shift start on a winter's day.
var morning = time.Date(2026, 2, 3, 7, 42, 10, 0, time.UTC)

func at(t testing.TB, day, clock string) *timestamppb.Timestamp {
	t.Helper()
	when, err := time.Parse("2006-01-02 15:04", day+" "+clock)
	if err != nil {
		t.Fatal(err)
	}
	return timestamppb.New(when)
}

func finding(text string) *pb.Finding { return &pb.Finding{Text: text} }

// fiveVehicles is one vehicle of the invented county for each verdict, worst first.
func fiveVehicles(t testing.TB) []*pb.Readiness {
	t.Helper()
	return []*pb.Readiness{
		{
			Vehicle: "vehicles/wn31", CallSign: "WN31", Verdict: pb.Verdict_VERDICT_UNFIT, Since: at(t, "2026-02-03", "06:58"),
			Reasons: []*pb.Reason{{Verdict: pb.Verdict_VERDICT_UNFIT, Text: "Front axle, left wheel: two nuts loose."}},
			OpenDefects: []*pb.Defect{{
				Name: "vehicles/wn31/defects/a", State: pb.DefectState_DEFECT_STATE_OPEN, TimesFound: 1,
				FirstFound: at(t, "2026-02-03", "06:58"), Findings: []*pb.Finding{finding("Front axle, left wheel: two nuts loose.")},
			}},
		},
		{
			Vehicle: "vehicles/wn21", CallSign: "WN21", Verdict: pb.Verdict_VERDICT_MOVE_ONLY, Since: at(t, "2026-02-02", "19:51"),
			Reasons:      []*pb.Reason{{Verdict: pb.Verdict_VERDICT_MOVE_ONLY, Text: "Rear axle, right side, inner tyre: 7.1 bar, 1.4 bar below the placard."}},
			Capabilities: []*pb.CapabilityState{{Capability: "crane", Available: false}, {Capability: "winch", Available: true}},
			OpenDefects: []*pb.Defect{{
				Name: "vehicles/wn21/defects/b", State: pb.DefectState_DEFECT_STATE_RECTIFIED, TimesFound: 4,
				FirstFound: at(t, "2026-01-11", "07:40"), Findings: []*pb.Finding{finding("Rear axle, right side, inner tyre loses air.")},
			}},
		},
		{
			Vehicle: "vehicles/wn12", CallSign: "WN12", Verdict: pb.Verdict_VERDICT_UNPROVEN, Since: at(t, "2026-02-03", "07:30"),
			Reasons: []*pb.Reason{{
				Verdict: pb.Verdict_VERDICT_UNPROVEN, Text: "12 of 93 required items prove nothing.",
				Cause: &pb.Reason_Unproven{Unproven: &pb.Unproven{Required: 93, Steps: unprovenSteps(12)}},
			}},
		},
		{
			Vehicle: "vehicles/wn22", CallSign: "WN22", Verdict: pb.Verdict_VERDICT_RESTRICTED, Since: at(t, "2026-01-08", "18:00"),
			Restrictions: []*pb.Restriction{{Kind: pb.RestrictionKind_RESTRICTION_KIND_WEATHER, Text: "Not on night runs in rain"}},
			OpenDefects: []*pb.Defect{{
				Name: "vehicles/wn22/defects/c", State: pb.DefectState_DEFECT_STATE_OPEN, TimesFound: 7,
				FirstFound: at(t, "2026-01-08", "18:00"), Findings: []*pb.Finding{finding("Windscreen chipped in the driver's view.")},
			}},
			DueNext: []*pb.DueStep{{Due: at(t, "2026-02-05", "18:00"), Steps: 1, Title: "Windscreen"}},
		},
		{
			Vehicle: "vehicles/wn11", CallSign: "WN11", Verdict: pb.Verdict_VERDICT_FIT, Since: at(t, "2026-02-03", "07:41"),
			DueNext: []*pb.DueStep{{Due: at(t, "2026-02-03", "19:30"), Steps: 31, Title: "Coolant, engine bay"}},
		},
	}
}

func unprovenSteps(n int) (steps []*pb.UnprovenStep) {
	for range n {
		steps = append(steps, &pb.UnprovenStep{Title: "Tread, rear axle, left side, inner tyre"})
	}
	return steps
}

// wholeBay is the county's board with all five verdicts.
func wholeBay(t testing.TB) *round.Bay {
	t.Helper()
	return &round.Bay{
		Version: 1, Now: morning, TimeZone: time.UTC, Station: "Skarholm Quay", Live: true,
		Since: morning.Add(-9 * time.Hour), Heard: morning.Add(-2 * time.Second), Sequence: 4711, Vehicles: fiveVehicles(t),
		Titles: map[string]string{"vehicles/wn11": "Pump", "vehicles/wn12": "Pump", "vehicles/wn21": "Rescue", "vehicles/wn22": "Light pump", "vehicles/wn31": "Pump, electric"},
		Events: []round.BayEvent{
			{At: morning.Add(-1 * time.Minute), Text: "WN11 round finished: fit to respond"},
			{At: morning.Add(-44 * time.Minute), Text: "WN31 wheel nuts, front left: loose"},
			{At: morning.Add(-12 * time.Hour), Text: "WN21 repaired: valve renewed"},
		},
	}
}

// walked is the board while the tablet is at WN11.
func walked(t testing.TB, change func(*round.BayWalk)) *round.Bay {
	t.Helper()
	b := wholeBay(t)
	b.Walk = &round.BayWalk{
		Vehicle: "vehicles/wn11", CallSign: "WN11", Driver: "Tamsel Arkwith", Assistant: "Oleta Fennigar",
		Step: "Cold pressure", Place: "rear axle, right side, inner tyre", Answered: 37, Steps: 93,
	}
	change(b.Walk)
	return b
}

// trivialDesk shows what it was last given; an act named next changes the view.
type trivialDesk struct {
	mu         sync.Mutex
	view       *round.View
	bay        *round.Bay
	changed    chan struct{}
	bayChanged chan struct{}
	acts       []round.Act
	refuse     error
	answer     func(round.Act) *round.View // the view that an act leads to; nil: the same
	during     func()                      // runs while an act is carried out
}

func newDesk(bay *round.Bay) *trivialDesk {
	return &trivialDesk{
		view: &round.View{Version: 1, Phase: round.PhaseVehicles, Now: morning, TimeZone: time.UTC},
		bay:  bay, changed: make(chan struct{}), bayChanged: make(chan struct{}),
	}
}

func (d *trivialDesk) View() *round.View {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.view
}

func (d *trivialDesk) Changed() <-chan struct{} {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.changed
}

func (d *trivialDesk) Bay() *round.Bay {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.bay
}

func (d *trivialDesk) BayChanged() <-chan struct{} {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.bayChanged
}

func (d *trivialDesk) Do(_ context.Context, act round.Act) error {
	if d.during != nil {
		d.during()
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.acts = append(d.acts, act)
	if d.refuse != nil {
		return d.refuse
	}
	next := *d.view
	if d.answer != nil {
		next = *d.answer(act)
	}
	next.Version = d.view.Version + 1
	d.view = &next
	close(d.changed)
	d.changed = make(chan struct{})
	return nil
}

// setBay shows another bay.
func (d *trivialDesk) setBay(b *round.Bay) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.bay = b
	close(d.bayChanged)
	d.bayChanged = make(chan struct{})
}

func (d *trivialDesk) taken() []round.Act {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]round.Act(nil), d.acts...)
}

// kit is a running server with both listeners.
type kit struct {
	*Server
	desk   *trivialDesk
	inside *httptest.Server // the tablet's
	public *httptest.Server // the display's
}

var fullHD = Board{DiagonalInches: 55, WidthPX: 1920, HeightPX: 1080, FarM: 15}

func configFor(desk Desk, clock func() time.Time) Config {
	hosts := []string{"127.0.0.1"}
	return Config{
		Desk: desk, Photos: oneOfEach{}, TabletHosts: hosts, BayHosts: hosts, Log: slog.New(slog.DiscardHandler),
		Display: Display{TabletMMPerPX: 0.17, Board: fullHD}, Clock: clock,
	}
}

func serve(t testing.TB, desk *trivialDesk, l limits) *kit {
	t.Helper()
	return serveBy(t, desk, l, func() time.Time { return morning })
}

// serveBy serves by a clock of the test's own.
func serveBy(t testing.TB, desk *trivialDesk, l limits, clock func() time.Time) *kit {
	t.Helper()
	return serveConfig(t, desk, configFor(desk, clock), l)
}

// serveWith serves what is configured otherwise.
func serveWith(t testing.TB, desk *trivialDesk, change func(*Config)) *kit {
	t.Helper()
	c := configFor(desk, func() time.Time { return morning })
	change(&c)
	return serveConfig(t, desk, c, defaultLimits())
}

func serveConfig(t testing.TB, desk *trivialDesk, c Config, l limits) *kit {
	t.Helper()
	s, err := newServer(c, l)
	if err != nil {
		t.Fatal(err)
	}
	k := &kit{Server: s, desk: desk, inside: httptest.NewServer(s.Handler()), public: httptest.NewServer(s.BayHandler())}
	t.Cleanup(func() {
		s.Close()
		k.inside.Close()
		k.public.Close()
	})
	return k
}

func get(t *testing.T, address string, change func(*http.Request)) *http.Response {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, address, nil)
	if err != nil {
		t.Fatal(err)
	}
	if change != nil {
		change(r)
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	answer, err := client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = answer.Body.Close() })
	return answer
}

// oneOfEach has a picture under every name that a photo can have.
type oneOfEach struct{}

func (oneOfEach) Get(sum string) ([]byte, string, error) {
	if len(sum) != 64 {
		return nil, "", fault.New(fault.Invalid, "PHOTO_NAME_WRONG", "this is no name of a photo")
	}
	m := image.NewGray(image.Rect(0, 0, 160, 120))
	for i := range m.Pix {
		m.Pix[i] = sum[i%64]
	}
	var b bytes.Buffer
	err := png.Encode(&b, m)
	return b.Bytes(), "image/png", err
}
