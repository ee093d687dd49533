package access

import (
	"fmt"
	"time"
)

// counter is how often in a row somebody, or a device, was wrong.
type counter struct {
	Failures int       `json:"failures"`
	Last     time.Time `json:"last"` // the newest failure
}

// limit says what failures in a row lead to.
type limit struct {
	waits  []time.Duration // after the third failure, the fourth and so on; the last one also after all later ones
	locked int             // from this many on nothing is tried until an officer unlocks; 0 = never
	fades  time.Duration   // failures are forgotten when none has come for so long; 0 = never
}

// firstWait is the failure that first leads to a wait.
const firstWait = 3

// ofPerson limits guessing at one person's PIN.
var ofPerson = limit{waits: []time.Duration{time.Second, 2 * time.Second, 5 * time.Minute}, locked: 10}

// ofDevice limits guessing at everybody's PIN from one tablet. It never locks
// and its waits stay short: one person at one tablet must not shut out a crew.
var ofDevice = limit{
	waits: []time.Duration{
		time.Second, 2 * time.Second, 4 * time.Second, 8 * time.Second, 16 * time.Second, 30 * time.Second,
	},
	fades: time.Hour,
}

// isLocked tells that an officer must unlock.
func (l limit) isLocked(c counter) bool { return l.locked > 0 && c.Failures >= l.locked }

// wait is the whole wait that a number of failures leads to.
func (l limit) wait(failures int) time.Duration {
	if failures < firstWait {
		return 0
	}
	return l.waits[min(failures-firstWait, len(l.waits)-1)]
}

// left is how much of the wait is left at an instant. When the clock was set
// back, the whole wait is left and no more.
func (l limit) left(c counter, now time.Time) time.Duration {
	whole := l.wait(c.Failures)
	return max(0, whole-max(0, now.Sub(c.Last)))
}

// failed is a counter after one more failure.
func (l limit) failed(c counter, now time.Time) counter {
	if l.fades > 0 && now.Sub(c.Last) > l.fades {
		c.Failures = 0
	}
	return counter{c.Failures + 1, now}
}

// sayWait is a wait as people are told it, rounded up.
func sayWait(d time.Duration) string {
	s := int((d + time.Second - 1) / time.Second)
	if s < 60 {
		return fmt.Sprintf("%d s", s)
	}
	return fmt.Sprintf("%d min", (s+59)/60)
}
