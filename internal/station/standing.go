package station

import (
	"time"

	pb "bayround/proto/bayround/v1"
)

// standing is a verdict and since when it holds, walked forward through the
// changes that time makes. It is the same however often and whenever it is
// asked for.
type standing struct {
	verdict  pb.Verdict
	since    time.Time
	at       time.Time // of the newest event of the vehicle, or the change by time after it
	until    time.Time // when verdict or reasons change by themselves; zero = never
	sequence int64     // of the newest event
}

// folding is the verdict at an instant and until when it holds by itself.
type folding func(at time.Time) (v pb.Verdict, until time.Time)

// walk moves the standing forward to an instant, change by change.
func (s standing) walk(fold folding, to time.Time) standing {
	for !s.until.IsZero() && !s.until.After(to) {
		at := s.until
		v, until := fold(at)
		if v != s.verdict {
			s.verdict, s.since = v, at
		}
		s.at, s.until = at, until
		if !until.IsZero() && !until.After(at) {
			s.until = at.Add(time.Second) // verdict promises it never is; do not hang on it
		}
	}
	return s
}

// after is the standing when an event has changed the input at an instant.
func (s standing) after(fold folding, at time.Time, sequence int64) standing {
	v, until := fold(at)
	if v != s.verdict {
		s.verdict, s.since = v, at
	}
	s.at, s.until, s.sequence = at, until, sequence
	return s
}

// encode makes the row of a standing right after an event.
func (s standing) encode() []byte {
	return record{}.number(1, int64(s.verdict)).instant(2, s.since).instant(3, s.at).number(4, s.sequence)
}
