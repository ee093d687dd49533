package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/google/uuid"

	"bayround/internal/catalogue"
	wendmoor "bayround/internal/county"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

// livePast makes the record in the demonstration's folder with the county's
// fifteen months in it, and closes it again. The station is opened with a clock
// that stands where the past has come to, so that every event bears the time at
// which it happened.
func (f *demoFlags) livePast(ctx context.Context, c *console, files []*pb.NamedFile) (err error) {
	if err := os.MkdirAll(f.data, 0o700); err != nil {
		return command.MisusedBy(err)
	}
	now := time.Now()
	clock := wendmoor.NewClock(wendmoor.Begin(now))
	// No logger: to a log every answer that a device delivers late is worth a line.
	st, err := station.Open(ctx, station.Options{Dir: f.data, Now: clock.Now, Defaults: catalogue.Defaults()})
	if err != nil {
		return fmt.Errorf("opening the record of the past in %s: %w", f.data, err)
	}
	defer func() { err = errors.Join(err, st.Close()) }()
	if _, err := st.Apply(ctx, &pb.ApplyRequest{RequestId: uuid.NewString(), Files: files}); err != nil {
		return err
	}
	past := wendmoor.Past{Station: st, Clock: clock, Now: now}
	if c.OnTerminal() {
		past.Lived = func(ago int) {
			_, _ = fmt.Fprintf(c.Out, "\r\x1b[K%d days before today", ago)
		}
	}
	begun := time.Now()
	lived, err := past.Live(ctx)
	if c.OnTerminal() {
		_, _ = fmt.Fprint(c.Out, "\r\x1b[K")
	}
	if err != nil {
		return fmt.Errorf("living through the past: %w", err)
	}
	c.Say("%d days before today in %.1f s: %s, %s, %s, %s", wendmoor.Days, time.Since(begun).Seconds(),
		count(int(lived.Rounds), "round"), count(int(lived.Results), "answer"),
		count(int(lived.Repairs), "repair"), count(int(lived.Checks), "comparison")+" of a gauge")
	return nil
}
