package trend_test

import (
	"math"
	"testing"
	"time"

	"bayround/internal/trend"

	"pgregory.net/rapid"
)

// A line of 0.1 a week that stands at 7.5 is at 7 in 35 days. By the ends of an interval
// of 0.05 to 0.2, turned about the middle of 42 days, it stands at 7.65 or 7.2 now and is
// there in 91 or 7 days (by hand: 0.65 / 0.05 and 0.2 / 0.2 weeks).
func TestCourse_ByHand(t *testing.T) {
	c := trend.Course{Level: 7.5, PerDay: -0.1 / 7, Low: -0.2 / 7, High: -0.05 / 7, Days: 42}
	got := c.Until(trend.Limit{Value: 7})
	for name, off := range map[string]float64{"earliest": got.Earliest - 7, "likely": got.Likely - 35, "latest": got.Latest - 91} {
		if math.Abs(off) > 1e-9 {
			t.Errorf("%s is off by %v days: %+v", name, off, got)
		}
	}
	rising := trend.Course{Level: -7.5, PerDay: 0.1 / 7, Low: 0.05 / 7, High: 0.2 / 7, Days: 42}
	if mirrored := rising.Until(trend.Limit{Value: -7, Above: true}); mirrored != got {
		t.Errorf("upwards %+v, downwards %+v", mirrored, got)
	}
	for name, limit := range map[string]trend.Limit{"there": {Value: 7.5}, "beyond": {Value: 8}} {
		if got := c.Until(limit); got != (trend.Ahead{}) {
			t.Errorf("%s: %+v", name, got)
		}
	}
	if got := c.Until(trend.Limit{Value: 8, Above: true}); got.Likely != trend.Never || got.Latest != trend.Never {
		t.Errorf("away from it: %+v", got)
	}
}

// Whoever asks a course made of what Summarise tells is told the days of Predict.
func TestCourse_SaysWhatPredictSays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSeries(t)
		limit := trend.Limit{Value: rapid.Float64Range(4, 11).Draw(t, "limit"), Above: rapid.Bool().Draw(t, "above")}
		sum := trend.Summarise(s, trend.Options{})
		f := trend.Predict(s, limit, time.Time{})
		if sum.HasSlope != (f.Outlook != trend.TooLittle) {
			t.Fatalf("%+v, and %+v", sum, f)
		}
		if !sum.HasSlope {
			return
		}
		c := trend.Course{Level: sum.Level, PerDay: sum.SlopePerWeek / 7, Low: sum.SlopeLow / 7, High: sum.SlopeHigh / 7, Days: sum.Days}
		ahead := c.Until(limit)
		if ahead.Earliest > ahead.Likely || ahead.Likely > ahead.Latest || ahead.Earliest < 0 {
			t.Fatalf("out of order: %+v", ahead)
		}
		current := s.Current()
		newest := current[len(current)-1].At
		for _, d := range []struct {
			days float64
			day  time.Time
		}{{ahead.Earliest, f.Earliest}, {ahead.Likely, f.Likely}, {ahead.Latest, f.Latest}} {
			if off := d.day.Sub(newest).Hours()/24 - d.days; !d.day.IsZero() && math.Abs(off) > 1e-3 {
				t.Fatalf("%v is %v days off: %+v, and %+v", d.day, off, ahead, f)
			}
			if d.day.IsZero() && f.Outlook != trend.Reached && d.days*24 < trend.Horizon.Hours() {
				t.Fatalf("in %v days, and no day is named: %+v", d.days, f)
			}
		}
	})
}
