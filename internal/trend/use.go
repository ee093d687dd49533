package trend

import "math"

// The chart for use looks for a slow rise, so its slack is small and its interval wide:
// DESIGN.md says how often that gives a false alarm.
const (
	// UseSlack is K, in standard deviations of one week's use.
	UseSlack = 0.25
	// UseDecision is H.
	UseDecision = 8
)

// Use is what a vehicle uses of something that is topped up: oil, coolant, fuel.
type Use struct {
	// Known says that there is enough to speak of it.
	Known bool
	// PerThousandKm is all use laid on the distance: litres per 1000 km. 0 when the
	// odometer was not read or stood still.
	PerThousandKm float64
	// PerHundredHours is all use laid on the hours: litres per 100 h. 0 when they were
	// not read or stood still.
	PerHundredHours float64
	// OfKm and OfHours share the use between 1000 km and 100 h by regression: an engine
	// that pumps for hours without moving uses, too. Both 0 when they cannot be told apart.
	OfKm, OfHours float64
	// Risen says that use has risen above what distance and hours account for.
	Risen bool
	// RisenDaysAgo is how long before the newest reading that began; 0 when it has not.
	RisenDaysAgo float64
}

// UseOf says what was used since the newest reset. Values times litresPerUnit are litres;
// what was added counts. Readings are put together by weeks. Cost n² for the points
// since the reset, 512 at most.
func UseOf(s Series, litresPerUnit float64) Use {
	weeks := ledger(s, litresPerUnit)
	level := track{
		days:   column(weeks, func(e entry) float64 { return e.day }),
		values: column(weeks, func(e entry) float64 { return e.litres }),
	}
	if !level.enough() {
		return Use{}
	}
	km := column(weeks, func(e entry) float64 { return e.km })
	hours := column(weeks, func(e entry) float64 { return e.hours })
	out := Use{Known: true, PerThousandKm: usedPer(km, level.values), PerHundredHours: usedPer(hours, level.values)}
	out.share(km, hours, level.values)
	out.rise(weeks)
	return out
}

// usedPer is the use for each unit of a counter; a gain is no use.
func usedPer(counter, litres []float64) float64 {
	slope, ok := TheilSen(counter, litres, Confidence)
	if !ok {
		return 0
	}
	return within(-slope.PerDay)
}

// within makes a rate one that can be: not negative, not absurd.
func within(rate float64) float64 { return math.Min(math.Max(rate, 0), Largest) }

// share fits level = full - OfKm·km - OfHours·hours. A rate that comes out negative is
// noise: then all use belongs to the other.
func (u *Use) share(km, hours, litres []float64) {
	ones := make([]float64, len(km))
	for i := range ones {
		ones[i] = 1
	}
	r, ok := Regress([][]float64{ones, fromFirst(km), fromFirst(hours)}, litres)
	if !ok {
		return
	}
	u.OfKm, u.OfHours = within(-r.Coefficients[1]), within(-r.Coefficients[2])
	switch {
	case u.OfKm == 0:
		u.OfHours = u.PerHundredHours
	case u.OfHours == 0:
		u.OfKm = u.PerThousandKm
	}
}

// fromFirst counts from the first reading: an old vehicle's odometer would drown a week.
func fromFirst(counter []float64) []float64 {
	from := make([]float64, len(counter))
	for i, c := range counter {
		from[i] = c - counter[0]
	}
	return from
}

// rise runs the chart on what each week used beyond what the weeks before let expect.
func (u *Use) rise(weeks []entry) {
	steps := make([]float64, 0, len(weeks))
	model := recursive{doubt: [2][2]float64{{anything, 0}, {0, anything}}}
	var smallest []float64
	for i := 1; i < len(weeks); i++ {
		before, now := weeks[i-1], weeks[i]
		use := before.litres - now.litres
		smallest = append(smallest, use)
		steps = append(steps, model.foresee(use, [2]float64{now.km - before.km, now.hours - before.hours}))
	}
	scores := scoresAboutZero(steps, smallestStep(smallest)/2)
	run := CUSUM{K: UseSlack, H: UseDecision, Ceiling: 2 * UseDecision}.Run(scores)
	if signal := run.Standing; signal != nil && signal.Up {
		u.Risen = true
		u.RisenDaysAgo = weeks[len(weeks)-1].day - weeks[signal.Onset+1].day
	}
}

// scoresAboutZero are Scores of errors whose mean is known to be nothing. The first few,
// from which the rates are learnt, say little: they come in as nearly 0.
func scoresAboutZero(errors []float64, floor float64) []float64 {
	scores := make([]float64, len(errors))
	squares := 0.0
	const rates = 2
	for i, e := range errors {
		if known := i - rates; known >= 1 {
			if sd := max(math.Sqrt(squares/float64(known)), floor); sd > 0 {
				scores[i] = normalFromT(e/sd, float64(known))
			}
		}
		squares += e * e
	}
	return scores
}
