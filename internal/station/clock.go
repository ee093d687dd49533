package station

import (
	"time"
)

// anchor ties the station's time to the computer's clock: what both showed
// when the newest event happened.
type anchor struct {
	station time.Time // of the newest event; zero when there is none
	raw     time.Time // as the clock gave it, with its monotonic reading if it has one
}

// read is the station's time while the clock shows raw. It never runs back, and
// it goes on while the clock does: when somebody sets the clock back, time
// passes on from the newest event, for answers must go stale all the same.
func (a anchor) read(raw time.Time) time.Time {
	shown := raw.Round(0).UTC()
	if a.station.IsZero() {
		return shown
	}
	return later(shown, a.station.Add(max(raw.Sub(a.raw), 0)))
}

// clock is the station's time for readers.
func (s *Station) clock() time.Time {
	return s.current.Load().anchor.read(s.now())
}

// instant is the time of the next command. Each has its own, later than that
// of every command before.
func (s *Station) instant() (at, raw time.Time) {
	raw = s.now()
	a := s.work.anchor
	s.noteClock(a.station.Sub(raw))
	at = a.read(raw)
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
