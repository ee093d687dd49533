package county

import (
	"sync/atomic"
	"time"
)

// Day is how long a day lasts. The county's past has no summer time.
const Day = 24 * time.Hour

// Clock is the clock of a station whose past is lived through: it stands where
// the past has come to. Any goroutine may read it.
type Clock struct{ at atomic.Int64 }

// NewClock returns a clock that stands at an instant.
func NewClock(at time.Time) *Clock {
	c := &Clock{}
	c.at.Store(at.UnixNano())
	return c
}

// Now is the instant at which the clock stands.
func (c *Clock) Now() time.Time { return time.Unix(0, c.at.Load()).UTC() }

// moveTo sets the clock forward; back it never goes.
func (c *Clock) moveTo(at time.Time) {
	if at.After(c.Now()) {
		c.at.Store(at.UnixNano())
	}
}

// Begin is the instant at which the past of a demonstration begins that runs on
// the day of now: the evening before its first day.
func Begin(now time.Time) time.Time {
	return midnight(now).Add(-(Days + 1) * Day).Add(evening)
}

// midnight is the beginning of the day of an instant.
func midnight(at time.Time) time.Time { return at.UTC().Truncate(Day) }
