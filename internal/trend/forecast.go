package trend

import "time"

// Horizon is how far ahead a date is named; beyond it a limit is not in sight (common
// practice: no line drawn through months of readings holds for more years than two).
const Horizon = 2 * 365 * hoursPerDay * time.Hour

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

// Predict says when a series will reach a limit, for somebody who asks at now, by the
// slope that Summarise tells and its 95 % interval (see Course). One wrong reading
// changes little. No date lies before now.
func Predict(s Series, limit Limit, now time.Time) Forecast {
	return fitted(s, Options{}).forecast(limit, now)
}

// forecast answers for a fit.
func (f fit) forecast(limit Limit, now time.Time) Forecast {
	if !f.sloped || !sound(limit.Value) {
		return Forecast{}
	}
	course := f.course()
	out := Forecast{Outlook: Reached, Level: course.Level}
	if limit.beyond(out.Level) >= 0 {
		return out
	}
	day := func(ahead float64) time.Time {
		if ahead*hoursPerDay >= Horizon.Hours() {
			return time.Time{}
		}
		if at := f.line.last.Add(duration(ahead)); at.After(now) {
			return at
		}
		return now
	}
	ahead := course.Until(limit)
	out.Outlook = NotInSight
	if out.Earliest = day(ahead.Earliest); !out.Earliest.IsZero() {
		out.Outlook, out.Likely, out.Latest = InSight, day(ahead.Likely), day(ahead.Latest)
	}
	return out
}
