package trend_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"bayround/internal/trend"
)

// oilHistory is the thread of WN12 (job map, E1): 0.15 L per 1000 km until day 246 of 456, then
// rising evenly to 0.9; half of the engine's hours are pumping, which uses as an hour on
// the road does. Read daily to 0.1 L with a noise of 0.1 L (invented), topped up by a litre
// when a litre is gone.
func oilHistory(seed uint64, rises bool, days int) trend.Series {
	random := rand.New(rand.NewPCG(seed, 21))
	const kmPerHour, topUp = 40.0, 1.0
	km, hours, gone, added := 61000.0, 4100.0, 0.0, 0.0
	var s trend.Series
	for day := range days {
		rate := 0.15 / 1000
		if rises && day > 246 {
			rate += (0.9 - 0.15) / 1000 * float64(day-246) / 210
		}
		driven := 30 + 20*random.ExpFloat64()
		pumped := driven / kmPerHour * random.ExpFloat64()
		if day > 0 {
			km += driven
			hours += driven/kmPerHour + pumped
			gone += rate * (driven + kmPerHour*pumped)
		}
		read := math.Round((12-gone+0.1*random.NormFloat64())*10) / 10
		s = append(s, trend.Point{At: begins.AddDate(0, 0, day), Value: read, Added: added, Km: math.Round(km), Hours: math.Round(hours*10) / 10})
		if added = 0; gone > topUp {
			gone -= topUp
			added = topUp
		}
	}
	return s
}

// withoutHours is what the per-km view sees.
func withoutHours(s trend.Series) trend.Series {
	blind := slices.Clone(s)
	for i := range blind {
		blind[i].Hours = 0
	}
	return blind
}

// The thread says: the per-km figure looks mild, distance and hours together alarm about
// D-120. Held to within a month of that, looked at once a week.
func TestUseOf_OilThreadAlarmsInTime(t *testing.T) {
	var alarms []int
	for seed := range uint64(40) {
		s := oilHistory(seed, true, 456)
		for day := 252; day <= 456; day += 7 {
			use := trend.UseOf(s[:day], 1)
			if !use.Risen {
				continue
			}
			alarms = append(alarms, 456-day)
			if begun := 456 - day + int(use.RisenDaysAgo); begun < 150 || begun > 300 {
				t.Errorf("history %d: alarm on D-%d says since D-%d, truth D-210", seed, 456-day, begun)
			}
			if use.PerThousandKm > 0.5 {
				t.Errorf("history %d: %.2f L per 1000 km is not mild", seed, use.PerThousandKm)
			}
			break
		}
	}
	if len(alarms) != 40 {
		t.Fatalf("alarm in %d of 40 histories", len(alarms))
	}
	slices.Sort(alarms)
	t.Logf("alarm on D-%d by the median of 40 histories, first D-%d, last D-%d", alarms[20], alarms[39], alarms[0])
	if alarms[20] > 150 || alarms[20] < 90 {
		t.Errorf("alarm on D-%d by the median, the thread says about D-120", alarms[20])
	}
}

// A dry summer of pumping: the engine is sound, but the per-km view takes the hours for wear.
func TestUseOf_PumpingIsNoWear(t *testing.T) {
	var together, perKm int
	const histories = 100
	for seed := range uint64(histories) {
		s := moreHours(oilHistory(seed, false, 300), 150, 5)
		together += int(truth(trend.UseOf(s, 1).Risen))
		perKm += int(truth(trend.UseOf(withoutHours(s), 1).Risen))
	}
	t.Logf("five hours of pumping more a day from day 150: alarm in %d of %d histories by distance and hours, in %d by distance alone", together, histories, perKm)
	if perKm < histories*9/10 {
		t.Errorf("the per-km view alarms in %d of %d: the histories do not test the hours", perKm, histories)
	}
	if together > histories*5/100 {
		t.Errorf("false alarm in %d of %d histories", together, histories)
	}
}

// moreHours lets the pump run so many hours more each day from one day on, at 0.006 L an hour.
func moreHours(s trend.Series, from int, hours float64) trend.Series {
	for i := range s {
		more := hours * float64(max(0, i-from))
		s[i].Hours += more
		s[i].Value = math.Round((s[i].Value-0.006*more)*10) / 10
	}
	return s
}

func TestUseOf_FalseAlarms(t *testing.T) {
	alarms := 0
	const histories = 200
	for seed := range uint64(histories) {
		alarms += int(truth(trend.UseOf(oilHistory(seed, false, 456), 1).Risen))
	}
	t.Logf("a sound engine over 456 days: a signal stands at the end of %d of %d histories", alarms, histories)
	if alarms > histories*5/100 {
		t.Errorf("false alarm in %d of %d histories", alarms, histories)
	}
}

func TestUseOf_ExactUse(t *testing.T) {
	var s trend.Series
	level, km, hours := 20.0, 1000.0, 50.0
	for i := range 30 {
		s = append(s, trend.Point{At: begins.AddDate(0, 0, 7*i), Value: level, Km: km, Hours: hours})
		driven, ran := float64(100+40*(i%3)), float64(5+3*(i%4))
		km, hours = km+driven, hours+ran
		level -= 0.5*driven/1000 + 2*ran/100
	}
	got := trend.UseOf(s, 1)
	if math.Abs(got.OfKm-0.5) > 1e-9 || math.Abs(got.OfHours-2) > 1e-9 || got.Risen {
		t.Errorf("0.5 L per 1000 km and 2 L per 100 h are taken for %+v", got)
	}
	s[12].Km = 999999 // mistyped
	if got := trend.UseOf(s, 1); math.Abs(got.OfKm-0.5) > 1e-9 || got.Risen {
		t.Errorf("with a mistyped odometer: %+v", got)
	}
	for i := range s {
		s[i].Value /= 4 // a share between marks four litres apart
	}
	if got := trend.UseOf(s, 4); math.Abs(got.OfHours-2) > 1e-9 {
		t.Errorf("as a share between marks: %+v", got)
	}
	if got := trend.UseOf(s, 0); got.Known {
		t.Errorf("use of what is no level: %+v", got)
	}
}
