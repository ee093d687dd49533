package station

import (
	"time"
)

// Right puts right what a clock shows.
type Right interface {
	// Right is the right time when the clock showed an instant, without a monotonic reading.
	Right(shown time.Time) time.Time
	// Ran is how long a clock that nobody can set had run when this one showed an
	// instant; what it counts from does not matter.
	Ran(shown time.Time) time.Duration
}

// asShown is a clock that is right. It runs by its monotonic readings.
type asShown struct{ began time.Time }

func (asShown) Right(shown time.Time) time.Time     { return shown.Round(0) }
func (a asShown) Ran(shown time.Time) time.Duration { return shown.Sub(a.began) }

// anchor ties the station's time to the computer's clock: what was so when the
// newest event happened.
type anchor struct {
	station time.Time     // of the newest event; zero when there is none
	ran     time.Duration // as Right.Ran gave it
}

// read is the station's time when the clock shows raw. It never runs back, and
// it goes on while the clock does: when somebody sets the clock back, time
// passes on from the newest event, for answers must go stale all the same.
func (a anchor) read(raw time.Time, clock Right) time.Time {
	right := clock.Right(raw).UTC()
	if a.station.IsZero() {
		return right
	}
	return later(right, a.station.Add(max(clock.Ran(raw)-a.ran, 0)))
}

// clock is the station's time for readers.
func (s *Station) clock() time.Time {
	return s.current.Load().anchor.read(s.now(), s.right)
}

// instant is the time of the next command. Each has its own, later than that
// of every command before.
func (s *Station) instant() (at, raw time.Time) {
	raw = s.now()
	a := s.work.anchor
	s.noteClock(a.station.Sub(s.right.Right(raw)))
	at = a.read(raw, s.right)
	if earliest := a.station.Add(time.Nanosecond); at.Before(earliest) {
		at = earliest
	}
	return at, raw
}

// noteClock tells the log, once, when the clock stands before the newest event.
func (s *Station) noteClock(behind time.Duration) {
	switch {
	case behind <= skewNoted:
		s.clockBehind = false
	case !s.clockBehind:
		s.clockBehind = true
		s.log.Error("the computer's clock stands before the newest event; the station's time goes on from that event, set the clock right", "behind", behind.Round(time.Second))
	}
}
