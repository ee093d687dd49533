package county

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// pastOf makes up the past of the county as on a day.
func pastOf(t *testing.T, kit *stationtest.Kit, today time.Time) map[string][]entry {
	t.Helper()
	c := &carrier{Past: &Past{Station: kit.Station, Now: today}, midnight: midnight(today)}
	lives, err := c.lives(t.Context())
	if err != nil {
		t.Fatalf("making up the past: %v", err)
	}
	all := map[string][]entry{}
	for _, ch := range lives {
		all[ch.vehicle.GetCallSign()] = ch.rest
	}
	return all
}

// Today's date shifts the past and changes nothing in it.
func TestPast_IsTheSameOnEveryDay(t *testing.T) {
	kit := stationtest.OpenDemo(t)
	winter := time.Date(2026, 2, 3, 7, 0, 0, 0, time.UTC)
	summer := time.Date(2027, 8, 17, 22, 0, 0, 0, time.UTC)
	apart := midnight(summer).Sub(midnight(winter))
	options := []cmp.Option{
		cmp.AllowUnexported(entry{}, visit{}, answer{}, repair{}, gaugeCheck{}), protocmp.Transform(),
		protocmp.IgnoreFields(&pb.RoundConditions{}, "engine_stopped"),
	}
	a, b := pastOf(t, kit, winter), pastOf(t, kit, summer)
	for name := range a {
		if len(a[name]) != len(b[name]) {
			t.Fatalf("%s has %d entries in winter and %d in summer", name, len(a[name]), len(b[name]))
		}
		for i, e := range a[name] {
			o := b[name][i]
			if d := cmp.Diff(e, o, options...); d != "" {
				t.Fatalf("%s, entry %d: winter -, summer +\n%s", name, i, d)
			}
			if s := stopped(e); s != nil && !s.AsTime().Add(apart).Equal(stopped(o).AsTime()) {
				t.Fatalf("%s, entry %d: the engine stopped at %v and %v", name, i, s.AsTime(), stopped(o).AsTime())
			}
		}
	}
}

// stopped is when the engine had stopped before a visit; nil where there is none.
func stopped(e entry) *timestamppb.Timestamp {
	if e.visit == nil {
		return nil
	}
	return e.visit.conditions.GetEngineStopped()
}

// The autumn of the county cools 10 K in 20 weeks, as E1 asks.
func TestAir_CoolsTenKelvinInTwentyWeeks(t *testing.T) {
	var before, after float64
	for n := range 20 { // weather evens out
		before += airIn("stations/pellan-cross", airMiddle+70+n-10) / 20
		after += airIn("stations/pellan-cross", airMiddle-70+n-10) / 20
	}
	if cooled := before - after; math.Abs(cooled-10) > 1.5 {
		t.Errorf("it cools %.1f K in twenty weeks", cooled)
	}
}

// The odometer goes up every day and ends below what the rounds of today say.
func TestOdometer_EndsWhereTodayBegins(t *testing.T) {
	for name, entries := range pastOf(t, stationtest.OpenDemo(t), time.Date(2026, 2, 3, 7, 0, 0, 0, time.UTC)) {
		km := 0.0
		for _, e := range entries {
			if e.visit == nil || e.visit.conditions.OdometerKm == nil {
				continue
			}
			if now := e.visit.conditions.GetOdometerKm(); now < km {
				t.Fatalf("%s: %g km on D-%d, after %g", name, now, e.ago, km)
			} else {
				km = now
			}
		}
		if km != 0 && (km > lastKM+1 || km < lastKM-300) {
			t.Errorf("%s ends at %g km", name, km)
		}
	}
}
