package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"bayround/internal/command"
	"bayround/internal/fault"
	"bayround/internal/station"
)

const repairHelp = `Put a record that is damaged, or that has lost its newest events, together again: from what can still be
read of it, from the copies that tablets have offered to the station, and from the files named
with --from: exports, copies of tablets, folders of backups. Every event is held against what the
station has signed; in the end everything together must have the root of the highest checkpoint that is
known. Then it takes the place of the damaged store, which is kept whole in the folder
evidence, and the station notes in its record what was brought back and from where.

The damaged store is never written to; it is read from a copy, so there must be room for two more of
it on the disk. A repair that breaks off changes nothing, or is finished at the next start.

When copies are missing it says which events, since when, and on which devices they may be;
nothing is changed. Fetch those copies first. Only when there is none any more can a person accept the
loss: the record then goes on from what is left, and tells for ever that it was so, by whom and why.
What was checked since is unproven and must be checked again.

When nothing is wrong it says so and changes nothing. The station must be stopped. At its start a
station does the same by itself, when nothing needs to be accepted.`

// repairFlags are what repair is told.
type repairFlags struct {
	data   string
	from   []string
	dryRun bool
	accept bool
	person string
	reason string
}

func newRepair(c *console) *cobra.Command {
	var f repairFlags
	cmd := &cobra.Command{
		Use:   "repair",
		Short: "Put a damaged record together again from what is left and from copies",
		Long:  repairHelp,
		Example: `  server repair --data /var/lib/bayround --dry-run
  server repair --data /var/lib/bayround --from tablet-2.record --from /mnt/stick/2026-02-03
  server repair --data /var/lib/bayround --accept-loss --person arkwith --reason "both tablets burnt"`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd.Context(), c) },
	}
	flags := cmd.Flags()
	flags.StringVar(&f.data, "data", "data", "folder of the record; its station must be stopped")
	flags.StringArrayVar(&f.from, "from", nil, "record file, or folder of a backup, to take events from; may be given several times")
	flags.BoolVar(&f.dryRun, "dry-run", false, "only say what would be done")
	flags.BoolVar(&f.accept, "accept-loss", false, "go on from what is left when events are missing for good")
	flags.StringVar(&f.person, "person", "", "person who accepts the loss, people/arkwith or arkwith")
	flags.StringVar(&f.reason, "reason", "", "why the loss is accepted, in words")
	return cmd
}

func (f *repairFlags) run(ctx context.Context, c *console) error {
	if err := isRecord(f.data); err != nil {
		return err
	}
	o := station.MendOptions{Dir: f.data, DryRun: f.dryRun, Now: time.Now(), Logger: offlineLog(c)}
	if f.accept != (f.person != "" && f.reason != "") {
		return command.Misuse("--accept-loss, --person and --reason belong together: it stays in the record who accepted the loss and why")
	}
	if f.accept {
		o.Loss = &station.Loss{Person: inCollection("people", f.person), Reason: f.reason}
	}
	for _, name := range f.from {
		file, err := recordIn(name)
		if err != nil {
			return err
		}
		o.Files = append(o.Files, file)
	}
	report, err := station.Mend(ctx, o)
	if err != nil {
		return err
	}
	return f.say(c, report)
}

// recordIn is the record file itself, or the one of a backup.
func recordIn(name string) (string, error) {
	info, err := os.Stat(name)
	if err != nil {
		return "", command.Misuse("there is no such copy: %w", err)
	}
	if info.IsDir() {
		name = filepath.Join(name, recordName)
	}
	return name, nil
}

// say says what was found and done. What is missing ends with the exit code of a
// damaged record.
func (f *repairFlags) say(c *console, r station.MendReport) error {
	if r.Problem == "" {
		c.Say("nothing is wrong: %d events, root %s; nothing was changed", r.Reached, r.Root)
		return nil
	}
	c.Say("what is wrong: %s", r.Problem)
	for _, s := range r.Sources {
		c.Say("%s", copyWords(s))
	}
	switch {
	case r.Enough && r.Done:
		c.Say("repaired: %d events, root %s%s", r.Reached, r.Root, refilledWords(r))
	case r.Enough:
		c.Say("it can be repaired: all %d events are there%s; nothing was changed", r.Reached, refilledWords(r))
	case r.Done:
		c.Say("the loss is accepted: the record goes on from its first %d of %d events; the newest is of %s", r.Reached, r.Known, whenWords(r.Newest))
		c.Say("what was checked after that is not known any more: check it again")
	default:
		f.sayMissing(c, r)
	}
	for _, name := range r.Nameless {
		c.Say("the name of %s cannot be read any more: tell the station who that is again (server apply)", name)
	}
	if r.Done {
		c.Say("the old store is kept in %s", filepath.Join(f.data, "evidence"))
	}
	if r.Enough || r.Done {
		return nil
	}
	return fault.New(fault.Lost, "EVENTS_MISSING", "the record cannot be repaired from what there is; nothing was changed")
}

func copyWords(s station.MendSource) string {
	words := s.Name + ": "
	if s.First == 0 {
		words += "nothing of it can be used"
	} else {
		words += fmt.Sprintf("events %d to %d, %d of them taken", s.First, s.Last, s.Used)
	}
	if s.Trouble != "" {
		words += "; " + s.Trouble
	}
	return words
}

func refilledWords(r station.MendReport) string {
	if r.Refilled == nil {
		return ""
	}
	return fmt.Sprintf(", of which from copies: %s", strings.Join(r.Refilled.GetSources(), "; "))
}

// sayMissing says which events are missing, where they may be, and what else can be done.
func (f *repairFlags) sayMissing(c *console, r station.MendReport) {
	c.Say("not all of it is there: the station has signed for %d events, and without a gap there are the first %d; the newest of these is of %s", r.Known, r.Reached, whenWords(r.Newest))
	for _, gap := range r.Missing {
		c.Say("missing: events %d to %d", gap.First, gap.Last)
	}
	if devices := slices.Sorted(maps.Keys(r.Devices)); len(devices) > 0 {
		c.Say("devices that fed the record, and may hold a copy of what is missing:")
		for _, device := range devices {
			c.Say("  %s, last heard of %s", device, whenWords(r.Devices[device]))
		}
		c.Say("start the station and let each of them connect: it offers what it holds. Or name files: exports, backups (--from)")
	}
	if r.Reached == 0 {
		c.Say("nothing is left to go on from: when no copy is left either, make a new record in an empty folder")
		return
	}
	c.Say("when no copy is left: server repair --data %s --accept-loss --person WHO --reason WHY keeps the first %d events and gives up the others", f.data, r.Reached)
}

func whenWords(t time.Time) string {
	if t.IsZero() {
		return "no known time"
	}
	return t.UTC().Format(time.RFC3339)
}

// openMended opens the station, after it has repaired its record when there is need and
// what there is suffices. inVain tells that further copies of its end would not help.
func openMended(ctx context.Context, c *console, f *serveFlags, logger *slog.Logger) (st *station.Station, inVain bool, err error) {
	st, err = openStation(ctx, c, f, logger)
	if err == nil && !st.Behind() || err != nil && !fault.Is(err, fault.Lost) {
		return st, false, err
	}
	if err == nil {
		if err := st.Close(); err != nil {
			return nil, false, err
		}
	}
	logger.Warn("the record is damaged or behind; looking for what it can be repaired from")
	report, rerr := station.Mend(ctx, station.MendOptions{Dir: f.data, Now: time.Now(), Logger: logger})
	if rerr == nil && report.Done {
		logger.Warn("the record has repaired itself", "events", report.Reached, "root", report.Root, "refilled", report.Refilled.GetSources(), "was", report.Problem)
	} else {
		logger.Error("the record cannot repair itself from what is here; see server repair", "missing", report.Missing, "cause", rerr)
	}
	again, oerr := openStation(ctx, c, f, logger)
	if oerr != nil {
		return nil, true, errors.Join(oerr, rerr)
	}
	return again, rerr != nil || !endMissing(report), nil
}

// endMissing tells whether the newest events are among those that are missing: then
// the copy of a tablet can help.
func endMissing(r station.MendReport) bool {
	n := len(r.Missing)
	return n > 0 && r.Missing[n-1].Last == r.Known
}
