package trend_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"bayround/internal/trend"

	"pgregory.net/rapid"
)

func TestPredict_ExactLine(t *testing.T) {
	s := weekly(8, 7.9, 7.8, 7.7, 7.6, 7.5) // 0.1 a week: 7.0 five weeks after the last
	got := trend.Predict(s, trend.Limit{Value: 7}, s[5].At)
	want := s[5].At.AddDate(0, 0, 35)
	if got.Outlook != trend.InSight || got.Likely.Sub(want).Abs() > time.Minute || got.Earliest.After(got.Likely) || got.Latest.Before(got.Likely) {
		t.Errorf("7.0 is due on %v, forecast %+v", want, got)
	}
	rising := weekly(0.2, 0.3, 0.4, 0.5, 0.6, 0.7)
	if got := trend.Predict(rising, trend.Limit{Value: 1.2, Above: true}, s[5].At); got.Likely.Sub(want).Abs() > time.Minute {
		t.Errorf("1.2 is due on %v, forecast %+v", want, got)
	}
}

func TestPredict_Outlooks(t *testing.T) {
	now := begins.AddDate(0, 0, 60)
	for _, tc := range []struct {
		name  string
		s     trend.Series
		limit trend.Limit
		want  trend.Outlook
	}{
		{"too little", weekly(8, 7, 6, 5), trend.Limit{Value: 4}, trend.TooLittle},
		{"steady", weekly(8, 8, 8, 8, 8, 8), trend.Limit{Value: 7}, trend.NotInSight},
		{"away from the limit", weekly(8, 8.1, 8.2, 8.3, 8.4, 8.5), trend.Limit{Value: 7}, trend.NotInSight},
		{"in ten years", weekly(8, 7.999, 7.998, 7.997, 7.996, 7.995), trend.Limit{Value: 7}, trend.NotInSight},
		{"there", weekly(8, 7.8, 7.6, 7.4, 7.2, 7), trend.Limit{Value: 7.01}, trend.Reached},
		{"beyond", weekly(8, 8.2, 8.4, 8.6, 8.8, 9), trend.Limit{Value: 8.5, Above: true}, trend.Reached},
	} {
		if got := trend.Predict(tc.s, tc.limit, now); got.Outlook != tc.want || (got.Outlook != trend.InSight && !got.Earliest.IsZero()) {
			t.Errorf("%s: %+v, want outlook %v", tc.name, got, tc.want)
		}
	}
}

func TestPredict_OneWrongReadingChangesLittle(t *testing.T) {
	s := leaking(4, 20, 0.08)
	clean := trend.Predict(s, trend.Limit{Value: 6}, begins)
	for at := range s {
		wrong := append(trend.Series(nil), s...)
		wrong[at].Value = 2
		got := trend.Predict(wrong, trend.Limit{Value: 6}, begins)
		if apart := got.Likely.Sub(clean.Likely).Abs(); got.Outlook != trend.InSight || apart > 14*24*time.Hour {
			t.Errorf("reading %d wrong moves the day by %v: %+v", at, apart, got)
		}
	}
}

// The dates are in order, none is in the past, and the outlook says which are set.
func TestPredict_Laws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		now := begins.AddDate(0, 0, rapid.IntRange(0, 900).Draw(t, "now"))
		limit := trend.Limit{Value: rapid.Float64Range(4, 11).Draw(t, "limit"), Above: rapid.Bool().Draw(t, "above")}
		f := trend.Predict(drawSeries(t), limit, now)
		if (f.Outlook == trend.InSight) == f.Earliest.IsZero() {
			t.Fatalf("outlook and dates do not belong together: %+v", f)
		}
		for _, day := range []time.Time{f.Earliest, f.Likely, f.Latest} {
			if !day.IsZero() && day.Before(now) {
				t.Fatalf("%v lies before %v", day, now)
			}
		}
		if !f.Latest.IsZero() && (f.Likely.IsZero() || f.Latest.Before(f.Likely)) || !f.Likely.IsZero() && f.Likely.Before(f.Earliest) {
			t.Fatalf("out of order: %+v", f)
		}
	})
}

// The interval is one of 95 %: it must hold the true day about as often. It carries the
// slope's doubt and, through the line's level, some of the level's.
func TestPredict_HoldsTheTrueDay(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 9))
	const runs = 1000
	held := 0
	for range runs {
		s := make(trend.Series, 20)
		for i := range s {
			s[i] = trend.Point{At: begins.AddDate(0, 0, 7*i), Value: 8 - 0.05*float64(i) + 0.06*random.NormFloat64()}
		}
		f := trend.Predict(s, trend.Limit{Value: 6.5}, begins) // truly after 30 weeks
		due := begins.AddDate(0, 0, 7*30)
		if f.Outlook == trend.InSight && !due.Before(f.Earliest) && (f.Latest.IsZero() || !due.After(f.Latest)) {
			held++
		}
	}
	t.Logf("the interval held the true day in %.1f %% of %d histories", 100*float64(held)/runs, runs)
	if held < runs*90/100 {
		t.Errorf("held in %d of %d", held, runs)
	}
}
