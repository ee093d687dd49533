package trend_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"bayround/internal/trend"
)

// autumn is the synthetic autumn of the job map, A12: a bay cools 10 K over twenty
// weeks; weekly readings to 0.1 bar with a noise of 0.06 bar; tyres are topped up
// when they read less than 95 % of the placard. What the map leaves open is ours: six
// wheels, 2 K of weather from week to week, a natural loss of 0.005 bar a week in all
// wheels, top-ups recorded as the difference of two readings.
type autumn struct {
	random      *rand.Rand
	leakPerWeek float64 // of the first wheel, bar
	weeks       int
	wheels      []simulatedWheel
	series      []trend.Series
}

type simulatedWheel struct {
	placard float64 // bar
	at20    float64 // true gauge pressure at 20 °C, bar
	pending float64 // put in at the last visit
}

const (
	barOfAir   = 1.013
	noiseBar   = 0.06
	gaugeBar   = 0.1
	coolingK   = 10.0
	weatherK   = 2.0
	naturalBar = 0.005
	topUpBelow = 0.95
	autumnLong = 20
)

func newAutumn(seed uint64, leakPerWeek float64) *autumn {
	a := &autumn{random: rand.New(rand.NewPCG(seed, 12)), leakPerWeek: leakPerWeek}
	for _, placard := range []float64{8.0, 8.5, 8.5, 8.0, 8.0, 8.0} {
		a.wheels = append(a.wheels, simulatedWheel{placard: placard, at20: placard})
	}
	a.series = make([]trend.Series, len(a.wheels))
	return a
}

var autumnBegins = time.Date(2024, 9, 2, 7, 30, 0, 0, time.UTC)

// read is what the gauge shows of a wheel at a temperature.
func (a *autumn) read(w simulatedWheel, celsius float64) float64 {
	p := (w.at20+barOfAir)*(celsius+273.15)/293.15 - barOfAir
	return math.Round((p+noiseBar*a.random.NormFloat64())/gaugeBar) * gaugeBar
}

// week lets a week pass (but for the first) and reads all wheels.
func (a *autumn) week() {
	celsius := 20 - coolingK*float64(a.weeks)/autumnLong + weatherK*a.random.NormFloat64()
	at := autumnBegins.AddDate(0, 0, 7*a.weeks)
	for i := range a.wheels {
		w := &a.wheels[i]
		if a.weeks > 0 {
			w.at20 -= naturalBar
			if i == 0 {
				w.at20 -= a.leakPerWeek
			}
		}
		shown := a.read(*w, celsius)
		a.series[i] = append(a.series[i], trend.Point{At: at, Value: shown, Added: w.pending})
		w.pending = 0
		if shown < topUpBelow*w.placard {
			w.at20 += w.placard - shown
			w.pending = a.read(*w, celsius) - shown
		}
	}
	a.weeks++
}

// alarm is the first week, counted from the first reading, in which the question is
// asked; -1 for never.
func (a *autumn) alarm(asks func(*autumn) bool) int {
	for week := 0; week <= autumnLong; week++ {
		if a.week(); asks(a) {
			return week
		}
	}
	return -1
}

// autumns plays 500 autumns and says in which weeks the question was asked, sorted.
func autumns(leakPerWeek float64, asks func(*autumn) bool) (weeks []int) {
	for seed := range uint64(500) {
		if week := newAutumn(seed, leakPerWeek).alarm(asks); week >= 0 {
			weeks = append(weeks, week)
		}
	}
	slices.Sort(weeks)
	return weeks
}

// peersAsk is the question as the package recommends it.
func peersAsk(a *autumn) bool {
	l := trend.PeerLoss(a.series[0], a.series[1:], gaugeBar)
	return l.HasLoss && l.PNoLoss < trend.LossAlarmP && l.PerWeek > trend.LossAlarmKPaPerWeek/100
}

// plainAsks has the same strictness for the wheel alone, without a thermometer.
func plainAsks(a *autumn) bool {
	s := trend.Summarise(a.series[0], trend.Options{Resolution: gaugeBar})
	return s.HasSlope && s.PNoTrend < 2*trend.LossAlarmP && s.SlopePerWeek < -trend.LossAlarmKPaPerWeek/100
}

// The claims are those of the job map, A12: at most 5 % false alarms in 500 autumns of
// 20 weeks, a leak of 0.06 bar a week found in all of them, in week 6 by the median.
func TestPeerLoss_KeepsTheClaimsOfTheAutumn(t *testing.T) {
	falseAlarms, found := autumns(0, peersAsk), autumns(0.06, peersAsk)
	t.Logf("peers: false alarms in %.1f %% of 500 autumns; leak found in %d, median week %d, nine in ten by week %d, the last in week %d",
		float64(len(falseAlarms))/5, len(found), found[len(found)/2], found[len(found)*9/10], found[len(found)-1])
	plainFalse, plainFound := autumns(0, plainAsks), autumns(0.06, plainAsks)
	t.Logf("the wheel alone, not corrected for temperature: false alarms in %.1f %%; leak found in %d, median week %d",
		float64(len(plainFalse))/5, len(plainFound), plainFound[len(plainFound)/2])
	if len(falseAlarms) > 25 {
		t.Errorf("%d false alarms in 500 autumns, the claim is 25 at most", len(falseAlarms))
	}
	if len(found) != 500 {
		t.Errorf("the leak was found in %d of 500 autumns", len(found))
	}
	if week := found[len(found)/2]; week > 6 {
		t.Errorf("the leak was found in week %d by the median, the claim is 6", week)
	}
	if len(plainFalse) <= len(falseAlarms) {
		t.Errorf("without peers %d false alarms, with them %d: the peers are no use", len(plainFalse), len(falseAlarms))
	}
}
