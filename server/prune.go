package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"bayround/internal/command"
	"bayround/internal/photo"
	"bayround/internal/station"
)

// leastKeepDays is 15 months: for how long reports of what a daily check found are
// kept at least, by the GB Guide to maintaining roadworthiness.
const leastKeepDays = 460

const pruneHelp = `Drop what is older than 15 months, or than --keep-days, and what nothing rests on any more. Dropped
are whole rounds that have ended: what was answered in them, by whom, and their photos. Their
hashes stay, and with them the signed tree: the record still proves that it only grew, and that
nobody took anything out of it but what the station has signed for.

What stays, however old:
  - rounds that a newest answer, an open defect, something left undone or a point of a history
    comes from, and the rounds that closed what these had found
  - everything that was read with a gauge that was found wrong and not put right since
  - what was put in force, repairs, checks of gauges, who was erased
  - deliveries and counts of stock, and rounds in which some of it was used
So readiness, verdicts, defects and histories are afterwards what they were before. What was known
at an instant before can no longer be asked. The command ids of dropped rounds stay taken.

Your own rules may ask for longer than 15 months; the record is yours to keep. It cannot be
undone, but from a backup: make one first. Backups and exports hold what was dropped here, and
folders in evidence/ may.

The station must be stopped: a record belongs to one process at a time. If it is broken off, the next
start of the station finishes it or undoes it; do it again to free the space, too.`

// pruneFlags are what a pruning is told by.
type pruneFlags struct {
	data   string
	days   int
	short  bool
	dryRun bool
}

func newPrune(c *console) *cobra.Command {
	var f pruneFlags
	cmd := &cobra.Command{
		Use:   "prune",
		Short: "Drop rounds that are older than 15 months and that nothing rests on",
		Long:  pruneHelp,
		Example: `  server prune --data /var/lib/bayround --dry-run
  server prune --data /var/lib/bayround --keep-days 730`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := f.check(); err != nil {
				return err
			}
			report, err := station.Prune(cmd.Context(), station.PruneOptions{
				Dir: f.data, Keep: time.Duration(f.days) * 24 * time.Hour, DryRun: f.dryRun, Logger: offlineLog(c),
			})
			if err != nil {
				return err
			}
			photos := len(report.Photos)
			if !f.dryRun {
				if photos, err = f.sweep(report); err != nil {
					return err
				}
			}
			c.sayPruned(report, photos, f.dryRun)
			return nil
		},
	}
	cmd.Flags().StringVar(&f.data, "data", "data", "folder of the record")
	cmd.Flags().IntVar(&f.days, "keep-days", leastKeepDays, "for how many days everything is kept")
	cmd.Flags().BoolVar(&f.short, "below-15-months", false, "keep for less than 15 months all the same: only if your own rules say so")
	cmd.Flags().BoolVar(&f.dryRun, "dry-run", false, "only say what would be dropped")
	return cmd
}

func (f pruneFlags) check() error {
	if f.days < 1 {
		return command.Misuse("--keep-days %d: keep at least a day", f.days)
	}
	if f.days < leastKeepDays && !f.short {
		return command.Misuse("--keep-days %d is less than 15 months (%d days); what a daily check found is kept at least that long. If your own rules allow less, say --below-15-months", f.days, leastKeepDays)
	}
	return isRecord(f.data)
}

// sweep removes the photos that nothing names any more.
func (f pruneFlags) sweep(report station.Pruned) (removed int, err error) {
	folder := filepath.Join(f.data, photosFolder)
	if _, err := os.Stat(folder); errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	photos, err := photo.Open(photo.Options{Dir: folder})
	if err != nil {
		return 0, err
	}
	return photos.Sweep(
		func(sum string) bool { return report.Named[sum] },
		func(sum string) bool { return report.Photos[sum] }, report.Before)
}

func (c *console) sayPruned(r station.Pruned, photos int, dryRun bool) {
	did := "dropped"
	if dryRun {
		did = "would drop"
	}
	c.Say("%s %s with %s and %s, from before %s", did, count(r.Rounds, "round"), count(r.Events, "event"), count(photos, "photo"), day(r.Before))
	if r.KeptRounds > 0 {
		c.Say("%s from before then stay: something rests on them", count(r.KeptRounds, "round"))
	}
	if r.Doubted != "" {
		c.Say("%s was found wrong and not put right: what was read with it since it was last found good stays. Have it put right, check it, prune again", r.Doubted)
	}
	for _, vehicle := range r.Whole {
		c.Say("everything about %s stays: what would be left would not say the same of it", vehicle)
	}
}

// day is a day as people write it, in the computer's time zone.
func day(t time.Time) string {
	if t.IsZero() {
		return "the first day"
	}
	return fmt.Sprint(t.Local().Format("2 Jan 2006"))
}
