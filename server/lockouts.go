package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	pb "bayround/proto/bayround/v1"
)

const lockoutsHelp = `List who was locked out of a tablet by wrong PINs, and who let them in again, oldest first, as
the tablets told it and by their clocks. Who guessed nobody knows: it may have been somebody else.

An officer unlocks somebody on the page to sign in of that tablet, with the own PIN; "kiosk unlock"
does it where none can, and the record does not know by whom then. A tablet without the network
tells it later.`

func newLockOuts(c *console) *cobra.Command {
	var address, since string
	cmd := &cobra.Command{
		Use:     "lockouts",
		Short:   "List who was locked out of a tablet by wrong PINs, and who let them in again",
		Long:    lockoutsHelp,
		Example: "  server lockouts\n  server lockouts --since 2026-11-01",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			from, err := dayOf("since", since)
			if err != nil {
				return err
			}
			return c.asking(address, func(s *remote) error { return s.lockOuts(cmd.Context(), c, from) })
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().StringVar(&since, "since", "", "only what was done from this day on, as 2026-11-30")
	return cmd
}

// lockOuts prints what the record holds of people who were locked out.
func (s *remote) lockOuts(ctx context.Context, c *console, since time.Time) error {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Minute)
	defer cancel()
	defer c.working("the record is read")()
	stream, err := pb.NewJournalServiceClient(s.conn).Follow(ctx, &pb.FollowRequest{StopAtEnd: true})
	if err != nil {
		return err
	}
	var told []*pb.JournalEvent
	open := map[string]int64{} // by tablet and person: sequence of the lock
	for {
		message, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		for _, ev := range message.GetEvents().GetEvents() {
			switch {
			case ev.GetLockedOut() != nil:
				open[ev.GetDevice()+" "+ev.GetLockedOut().GetLocked()] = ev.GetSequence()
			case ev.GetUnlocked() != nil:
				delete(open, ev.GetDevice()+" "+ev.GetUnlocked().GetUnlocked())
			default:
				continue
			}
			if !ev.GetDeviceTime().AsTime().Before(since) {
				told = append(told, ev)
			}
		}
	}
	if len(told) == 0 {
		c.Say("nobody was locked out")
		return nil
	}
	now, rows := time.Now(), [][]string{{"WHEN", "TABLET", "PERSON", ""}}
	for _, ev := range told {
		rows = append(rows, lockRow(ev, now, open))
	}
	c.columns(rows)
	return nil
}

// lockRow is the line of one event.
func lockRow(ev *pb.JournalEvent, now time.Time, open map[string]int64) []string {
	who, what := ev.GetUnlocked().GetUnlocked(), "let in again by a command on the tablet"
	if officer := ev.GetPerson(); officer != "" {
		what = "let in again by " + lastPart(officer)
	}
	if lock := ev.GetLockedOut(); lock != nil {
		who, what = lock.GetLocked(), fmt.Sprintf("locked out by %d wrong PINs", lock.GetFailures())
		if open[ev.GetDevice()+" "+who] == ev.GetSequence() {
			what += "; still locked out"
		}
	}
	return []string{instant(ev.GetDeviceTime().AsTime(), now), ev.GetDevice(), lastPart(who), what}
}
