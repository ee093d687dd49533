package trend

import (
	"math"
	"time"
)

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

// Course is where a series is heading: the line of its slope, seen from its newest
// point. Whoever asks when a limit will be reached asks it, so that all say the same.
type Course struct {
	// Level of the line at the newest point.
	Level float64
	// PerDay is its slope.
	PerDay float64
	// Low and High are the ends of the slope's interval.
	Low, High float64
	// Days that the points behind it span.
	Days float64
}

// Never is the number of days that stands for a limit to which a line does not lead,
// or not sooner.
const Never = 1e6

// Ahead is in how many days from the newest point a limit is reached, Never for not at all.
type Ahead struct {
	// Earliest is by the end of the slope's interval that leads there faster.
	Earliest float64
	// Likely is by the slope itself.
	Likely float64
	// Latest is by the other end.
	Latest float64
}

// Until says when a limit is reached. The line has a level and a slope that are in
// doubt; each end of the slope's interval turns it about the middle of its days, where
// it is known best, so what is not known of the level counts, too. All are 0 when the
// level is at the limit or beyond it.
func (c Course) Until(limit Limit) Ahead {
	if limit.beyond(c.Level) >= 0 {
		return Ahead{}
	}
	steep, shallow := c.Low, c.High
	if limit.Above {
		steep, shallow = shallow, steep
	}
	a := Ahead{c.reaches(limit, steep), c.reaches(limit, c.PerDay), c.reaches(limit, shallow)}
	// Lines that cross near the newest reading may reach a near limit in another order
	// than their slopes say.
	a.Earliest, a.Latest = min(a.Earliest, a.Likely), max(a.Latest, a.Likely)
	return a
}

// reaches is in how many days the line reaches a limit when it has another slope.
func (c Course) reaches(limit Limit, perDay float64) float64 {
	left := -limit.beyond(c.Level + (perDay-c.PerDay)*c.Days/2)
	if left <= 0 {
		return 0
	}
	towards := -perDay
	if limit.Above {
		towards = perDay
	}
	if days := left / towards; days >= 0 && days < Never {
		return days
	}
	return Never
}

// duration of so many days, rounded to seconds: no forecast knows more.
func duration(days float64) time.Duration {
	return time.Duration(math.Round(days*hoursPerDay*3600)) * time.Second
}
