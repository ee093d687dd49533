package trend

import (
	"math"
	"slices"
	"time"
)

// Recommended settings of the CUSUM on Scores, in standard deviations of one reading.
// DESIGN.md says how often they give a false alarm.
const (
	// SlackSigmas is K: shifts of one standard deviation are worth finding.
	SlackSigmas = 0.5
	// DecisionSigmas is H.
	DecisionSigmas = 5
)

// LookBack is how far back a slope looks. A tyre that kept its air for a year and has
// a nail since five weeks loses nothing by the median of all its slopes; over twelve
// weeks it does (common practice).
const LookBack = 12 * 7 * hoursPerDay * time.Hour

// MostTimes is the largest TimesFaster: beyond it the number says nothing more.
const MostTimes = 100

// Options are what Summarise cannot see in the points. The zero value is useful.
type Options struct {
	// Resolution is the step of the gauge in the unit of the readings; 0 when unknown,
	// then the smallest difference between readings stands for it.
	Resolution float64
	// Limit to forecast, nil for none.
	Limit *Limit
	// LitresPerUnit makes litres of values and asks for Use; 0 when they are no level.
	LitresPerUnit float64
	// Now is when the forecast is asked for; no date in it lies earlier.
	Now time.Time
}

// Summary is what the history of one place says up to its newest point. Every number is
// finite. Values are balanced: as if everything put in had been inside from the first.
type Summary struct {
	// Points that the slope rests on: those of the newest LookBack where they are
	// enough, otherwise all since the last reset; those ignored are left out.
	Points int
	// Days between the first and the last of them.
	Days float64
	// Ignored points since the last reset cannot belong to the rest.
	Ignored int
	// HasSlope says that there is enough to speak of a slope: the next five numbers.
	HasSlope bool
	// SlopePerWeek by Theil and Sen, in the unit of the value.
	SlopePerWeek float64
	// SlopeLow and SlopeHigh are the ends of its 95 % interval, a week.
	SlopeLow, SlopeHigh float64
	// PNoTrend is the probability of such a trend in these points, or a clearer one,
	// were there none (Mann-Kendall, two-sided); 1 without a slope.
	PNoTrend float64
	// Level by the line at the newest point.
	Level float64
	// Falling says that the CUSUM's signal of a lasting shift downwards stands.
	Falling bool
	// Rising says so of a shift upwards.
	Rising bool
	// ShiftedDaysAgo is how long before the newest point the shift began; 0 without one.
	ShiftedDaysAgo float64
	// TimesFaster is how many times faster it falls of late than since the last reset
	// before, by a clear difference; 0 when nothing can be said. See timesFaster.
	TimesFaster float64
	// Repeats are readings equal to the newest.
	Repeats Repetition
	// Forecast for Options.Limit.
	Forecast Forecast
	// Use for Options.LitresPerUnit.
	Use Use
}

// Summarise says what a series tells. Whatever the points hold, it answers with finite
// numbers; where there is too little, it says nothing of the slope. Cost n² up to
// MostPoints points, beyond that n log n for thinning.
func Summarise(s Series, o Options) Summary {
	f := fitted(s, o)
	out := Summary{Points: f.restsOn(), Days: f.recent.span(), Ignored: len(f.ignored), PNoTrend: 1}
	out.Repeats = Repeats(readings(f.points), f.step)
	out.Use = UseOf(f.points, o.LitresPerUnit)
	if !f.sloped {
		return out
	}
	out.HasSlope = true
	out.SlopePerWeek = f.slope.PerDay * daysPerWeek
	out.SlopeLow, out.SlopeHigh = f.slope.Low*daysPerWeek, f.slope.High*daysPerWeek
	out.PNoTrend = MannKendall(f.recent.days, f.recent.values).P
	out.Level = f.course().Level
	out.shift(f)
	out.TimesFaster = timesFaster(f.line)
	if o.Limit != nil {
		out.Forecast = f.forecast(*o.Limit, o.Now)
	}
	return out
}

// fit is a series prepared: cut, balanced, thinned, wrong readings left out, a line drawn.
type fit struct {
	points  Series    // since the newest reset, oldest first
	line    track     // all that is believed of them
	recent  track     // the newest part of it, on which the slope rests
	ignored []float64 // days of what is not believed
	step    float64   // of the gauge
	slope   Slope
	sloped  bool
}

func fitted(s Series, o Options) fit {
	f := fit{points: s.Current()}
	f.step = stepOf(o.Resolution, f.points)
	all := f.points.track().thinned()
	out := ignored(all.values, f.step)
	for i, drop := range out {
		if drop {
			f.ignored = append(f.ignored, all.days[i])
		}
	}
	f.line = all.without(out)
	f.recent = f.line
	if late := f.line.late(); late.enough() {
		f.recent = late
	}
	if f.recent.enough() {
		f.slope, f.sloped = TheilSen(f.recent.days, f.recent.values, Confidence)
	}
	return f
}

// restsOn is how many readings the slope rests on.
func (f fit) restsOn() int {
	if len(f.recent.days) == 0 {
		return 0
	}
	begins, n := f.recent.days[0], 0
	if len(f.recent.days) == len(f.line.days) {
		begins = 0
	}
	for _, p := range f.points {
		n += count(daysBetween(f.points[0].At, p.At) >= begins)
	}
	for _, day := range f.ignored {
		n -= count(day >= begins)
	}
	return n
}

// course is where the line is heading.
func (f fit) course() Course {
	return Course{
		Level: f.slope.At(f.recent.newest()), PerDay: f.slope.PerDay, Low: f.slope.Low, High: f.slope.High,
		Days: f.recent.span(),
	}
}

// stepOf is the step of the gauge: the resolution told, or what the readings show.
func stepOf(resolution float64, s Series) float64 {
	if resolution > 0 && sound(resolution) {
		return resolution
	}
	return smallestStep(readings(s))
}

// readings are what the gauge showed.
func readings(s Series) []float64 {
	shown := make([]float64, len(s))
	for i, p := range s {
		shown[i] = p.shown()
	}
	return shown
}

// chart is the recommended CUSUM for Scores.
func chart() CUSUM {
	return CUSUM{K: SlackSigmas, H: DecisionSigmas, Ceiling: 2 * DecisionSigmas}
}

// shift runs the chart. Readings that stood still and then move by the last digit of
// the gauge have moved by one standard deviation, no more: hence half a step as floor.
func (s *Summary) shift(f fit) {
	signal := chart().Run(Scores(f.line.values, f.step/2)).Standing
	if signal == nil {
		return
	}
	s.Rising, s.Falling = signal.Up, !signal.Up
	s.ShiftedDaysAgo = f.line.newest() - f.line.days[signal.Onset]
}

// leastLateDays is how many days "of late" spans at least where the newest points are
// read every day or shift.
const leastLateDays = 42

// timesFaster compares the slope of the newest third of the points, of six weeks at
// least, with that of those before. It speaks when each slope lies outside the other's interval and the newest
// interval is all fall. Where the earlier fall is itself in doubt, it is compared with the
// fastest it may have been: at least so many times faster.
func timesFaster(t track) float64 {
	n := len(t.days)
	cut := n - max(n/3, LeastPoints)
	if cut < LeastPoints {
		return 0
	}
	sixWeeksAgo, _ := slices.BinarySearch(t.days, t.newest()-leastLateDays)
	cut = min(cut, sixWeeksAgo)
	early := track{days: t.days[:cut], values: t.values[:cut]}
	late := track{days: t.days[cut:], values: t.values[cut:]}
	if !early.enough() || !late.enough() {
		return 0
	}
	now, ok := TheilSen(late.days, late.values, Confidence)
	if !ok || now.High >= 0 {
		return 0
	}
	before, ok := TheilSen(early.days, early.values, Confidence)
	if !ok || now.High >= before.PerDay || now.PerDay >= before.Low {
		return 0
	}
	usual := before.PerDay
	if before.High >= 0 {
		usual = before.Low
	}
	if usual >= 0 {
		return 0 // it used to rise: how many times faster is no question
	}
	return math.Min(now.PerDay/usual, MostTimes)
}
