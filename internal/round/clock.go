package round

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"

	"bayround/internal/durable"
)

// clockSlack is how much the station's word may differ from what the clock tells
// before it is believed anew: less than that is the way it came.
const clockSlack = time.Second

// clockKept is how old the file may grow while the clock is right: after a restart
// a clock that shows an earlier time has lost it.
const clockKept = time.Hour

// Clock is a tablet's clock put right by the station of record's. From the
// station's newest word on it counts by what no one can set, so that a clock set
// forward or back in the middle of a round changes nothing. While the station was
// never heard, the device's clock is what there is.
//
// How far the device's clock is off is kept as JSON in the file clock.json, written
// beside the old one, synced and put in its place.
type Clock struct {
	device func() time.Time
	steady func(shown time.Time) time.Duration
	dir    string
	log    *slog.Logger

	mu    sync.Mutex
	known bool          // guarded by mu: right and at mean something
	right time.Time     // guarded by mu: the right time when steady told at
	at    time.Duration // guarded by mu
	kept  keptClock     // guarded by mu: what the file holds
}

// keptClock is what the file holds.
type keptClock struct {
	Version int           `json:"version"` // clockVersion
	Lag     time.Duration `json:"lag_ns"`  // what must be added to the device's clock
	At      time.Time     `json:"at"`      // the right time when that was so
}

const (
	clockVersion = 1
	clockName    = "clock.json"
)

// ClockConfig says what a clock goes by.
type ClockConfig struct {
	// Device is the device's clock; nil for time.Now.
	Device func() time.Time
	// Steady is how long a clock that nobody can set has run when Device showed an
	// instant; nil for the instants' monotonic readings.
	Steady func(shown time.Time) time.Duration
	// Dir is where it keeps how far the device's clock is off.
	Dir string
	// Log hears what people who run the tablet should know; nil for silence.
	Log *slog.Logger
}

// OpenClock opens a clock as it was. Where the file cannot be read, or the device's
// clock has evidently been lost since, nothing is known until the station is heard.
func OpenClock(cfg ClockConfig) (*Clock, error) {
	c := &Clock{device: cfg.Device, steady: cfg.Steady, dir: cfg.Dir, log: cfg.Log}
	if c.device == nil {
		c.device = time.Now
	}
	shown := c.device()
	if c.steady == nil {
		c.steady = func(later time.Time) time.Duration { return later.Sub(shown) }
	}
	if c.log == nil {
		c.log = slog.New(slog.DiscardHandler)
	}
	if err := os.MkdirAll(c.dir, 0o700); err != nil {
		return nil, fmt.Errorf("making the clock's directory: %w", err)
	}
	told, err := c.read()
	if err != nil {
		return nil, err
	}
	if told {
		c.known, c.right, c.at = true, shown.Round(0).Add(c.kept.Lag), c.steady(shown)
	}
	if c.known && c.right.Before(c.kept.At) {
		c.log.Warn("this tablet's clock shows an earlier time than when it was stopped; it is believed as it is until the station is heard", "shows", shown)
		c.known = false
	}
	return c, nil
}

// read reads the file, and tells whether it says anything. One that a newer program has
// written is refused.
func (c *Clock) read() (told bool, err error) {
	name := filepath.Join(c.dir, clockName)
	b, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if newer := refuseNewer("CLOCK_NEWER", name, b, clockVersion); newer != nil {
		return false, newer
	}
	if err == nil {
		err = json.Unmarshal(b, &c.kept)
	}
	if err == nil && c.kept.Version != clockVersion {
		err = fmt.Errorf("it is of version %d, and this program knows version %d", c.kept.Version, clockVersion)
	}
	if err != nil {
		c.log.Warn("how far this tablet's clock is off cannot be read; it is believed until the station is heard", "cause", err)
		c.kept = keptClock{}
	}
	return err == nil, nil
}

// Now is the right time, as far as it is known. It has no monotonic reading.
func (c *Clock) Now() time.Time { return c.Right(c.device()) }

// Right is the right time when the device's clock showed an instant that it has
// just shown.
func (c *Clock) Right(shown time.Time) time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.rightLocked(shown)
}

func (c *Clock) rightLocked(shown time.Time) time.Time {
	if !c.known {
		return shown.Round(0)
	}
	return c.right.Add(c.steady(shown) - c.at)
}

// Ran is how long a clock that nobody can set had run when the device's showed an
// instant.
func (c *Clock) Ran(shown time.Time) time.Duration { return c.steady(shown) }

// Known tells that the station was heard, now or before.
func (c *Clock) Known() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.known
}

// Heard takes what the station's clock shows now, and tells whether that is news.
func (c *Clock) Heard(station time.Time) (news bool) {
	shown := c.device()
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.known && station.Sub(c.rightLocked(shown)).Abs() < clockSlack {
		return false
	}
	c.known, c.right, c.at = true, station.Round(0).UTC(), c.steady(shown)
	return true
}

// Keep puts on disk how far the device's clock is off, where the file does not say
// it already.
func (c *Clock) Keep() error {
	shown := c.device()
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.known {
		return nil
	}
	right := c.rightLocked(shown)
	next := keptClock{Version: clockVersion, Lag: right.Sub(shown.Round(0)), At: right}
	if c.kept.Version == clockVersion && (next.Lag-c.kept.Lag).Abs() < clockSlack && next.At.Sub(c.kept.At) < clockKept {
		return nil
	}
	b, err := json.MarshalIndent(next, "", "  ")
	if err == nil {
		err = durable.Replace(filepath.Join(c.dir, clockName), append(b, '\n'))
	}
	if err != nil {
		return fmt.Errorf("keeping how far the clock is off: %w", err)
	}
	c.kept = next
	return nil
}
