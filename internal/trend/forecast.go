package trend

import (
	"math"
	"time"
)

// Horizon is how far ahead a date is named; beyond it a limit is not in sight (common
// practice: no line drawn through months of readings holds for more years than two).
const Horizon = 2 * 365 * hoursPerDay * time.Hour

// Limit is what a value must not pass.
type Limit struct {
	// Value of the limit, in the unit of the series.
	Value float64
	// Above says that values above it are beyond; otherwise those below are.
	Above bool
}

// beyond says how far a value lies beyond the limit; negative while it is within.
func (l Limit) beyond(value float64) float64 {
	if l.Above {
		return value - l.Value
	}
	return l.Value - value
}

// Outlook says what a forecast amounts to. The numbers are fixed.
type Outlook int

// What a forecast can say.
const (
	// TooLittle data to speak of a slope.
	TooLittle Outlook = 0
	// NotInSight: not reached before the horizon, even by the steepest likely slope.
	NotInSight Outlook = 1
	// InSight: reached at Earliest or later.
	InSight Outlook = 2
	// Reached: the level is at the limit or beyond it already.
	Reached Outlook = 3
)

// Forecast is when a limit will be reached.
type Forecast struct {
	// Outlook says which of the dates mean anything.
	Outlook Outlook
	// Earliest is the day by the steep end of the slope's interval; set when InSight.
	Earliest time.Time
	// Likely is the day by the slope itself; zero when that lies beyond the horizon.
	Likely time.Time
	// Latest is the day by the shallow end; zero when that lies beyond the horizon.
	Latest time.Time
	// Level is the line's value at the newest reading, once there is a slope.
	Level float64
}

// Predict says when a series will reach a limit, for somebody who asks at now. Each end of
// the slope's 95 % interval draws its own line through the middle of the points, so what
// is not known of the level counts, too. One wrong reading changes little. No date lies
// before now.
func Predict(s Series, limit Limit, now time.Time) Forecast {
	return fitted(s, Options{}).forecast(limit, now)
}

// forecast answers for a fit.
func (f fit) forecast(limit Limit, now time.Time) Forecast {
	if !f.sloped || !sound(limit.Value) {
		return Forecast{}
	}
	newest := f.line.newest()
	out := Forecast{Outlook: Reached, Level: f.slope.At(newest)}
	if limit.beyond(out.Level) >= 0 {
		return out
	}
	steep, shallow := f.slope.Low, f.slope.High
	if limit.Above {
		steep, shallow = shallow, steep
	}
	out.Outlook = NotInSight
	if out.Earliest = f.reaches(limit, steep, now); !out.Earliest.IsZero() {
		out.Outlook = InSight
		out.Likely = f.reaches(limit, f.slope.PerDay, now)
		out.Latest = f.reaches(limit, shallow, now)
		out.order()
	}
	return out
}

// order sorts the dates: lines that cross near the newest reading may reach a near limit
// in another order than their slopes say. A zero date stands for never.
func (f *Forecast) order() {
	if !f.Likely.IsZero() && f.Likely.Before(f.Earliest) {
		f.Earliest = f.Likely
	}
	if !f.Latest.IsZero() && f.Likely.IsZero() {
		f.Latest = time.Time{}
	}
	if !f.Latest.IsZero() && f.Latest.Before(f.Likely) {
		f.Latest = f.Likely
	}
}

// reaches is when the line of a given slope reaches the limit, not before now; zero when
// it never does or not before the horizon.
func (f fit) reaches(limit Limit, perDay float64, now time.Time) time.Time {
	level := interceptFor(perDay, f.line.days, f.line.values) + perDay*f.line.newest()
	left := -limit.beyond(level)
	falling := -perDay
	if limit.Above {
		falling = perDay
	}
	if left > 0 && falling <= 0 {
		return time.Time{}
	}
	ahead := 0.0
	if left > 0 {
		ahead = left / falling
	}
	if !(ahead*hoursPerDay < Horizon.Hours()) {
		return time.Time{}
	}
	at := f.line.last.Add(duration(ahead))
	if at.Before(now) {
		return now
	}
	return at
}

// duration of so many days, rounded to seconds: no forecast knows more.
func duration(days float64) time.Duration {
	return time.Duration(math.Round(days*hoursPerDay*3600)) * time.Second
}
