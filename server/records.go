package main

import (
	"bytes"
	"context"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/command"
	"bayround/internal/roundrecord"
	pb "bayround/proto/bayround/v1"
)

const recordsHelp = `Find rounds, newest first: by vehicle, by who drove or assisted, by the day they were opened, by
what was found; by several of these together. Days are those of this computer's time zone, both included.

--defect takes the name of a defect, as "server defect list" shows it: rounds are found in which it was
found, or its step was looked at again afterwards. Or it takes words: a round is found when one of its
findings has them all in its text, its step or its fault, whatever the case. With words every round's
answers are read, which takes time.

csv and jsonl hold every value of the rounds that are found, as "server record" does for one.
When there are more rounds than --limit, the last line says with which --page to go on, and the rest as it was.`

const recordsExample = `  server records --vehicle wn21
  server records --person fennigar --from 2026-11-01 --to 2026-11-30
  server records --vehicle wn21 --defect "inner tyre"
  server records --defect wn21/3f2a9c0b1d2e -o jsonl
  server records --unsigned
  server records --from 2026-11-01 --limit 200 -o csv > november.csv`

// recordsFlags are what records is told.
type recordsFlags struct {
	address, output, vehicle, person, from, to, defect, page string
	unsigned                                                 bool
	limit                                                    int
	since, until                                             time.Time // zero for no bound
}

func newRecords(c *console) *cobra.Command {
	var f recordsFlags
	cmd := &cobra.Command{
		Use:     "records",
		Short:   "Find rounds by vehicle, person, day or defect",
		Long:    recordsHelp,
		Example: recordsExample,
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := f.check(); err != nil {
				return err
			}
			return c.asking(f.address, func(s *remote) error { return f.run(cmd.Context(), c, s) })
		},
	}
	serverFlag(cmd, &f.address)
	flags := cmd.Flags()
	flags.StringVar(&f.vehicle, "vehicle", "", "only rounds of this vehicle")
	flags.StringVar(&f.person, "person", "", "only rounds this person drove or assisted in")
	flags.StringVar(&f.from, "from", "", "only rounds opened on this day or later, for instance 2026-11-01")
	flags.StringVar(&f.to, "to", "", "only rounds opened on this day or before")
	flags.StringVar(&f.defect, "defect", "", "only rounds in which this defect, or something with these words, was found")
	flags.BoolVar(&f.unsigned, "unsigned", false, "only rounds that wait for an officer's signature")
	flags.IntVar(&f.limit, "limit", 50, "greatest number of rounds, at most 200")
	flags.StringVar(&f.page, "page", "", "go on where an earlier answer ended")
	flags.StringVarP(&f.output, "output", "o", "table", "table, csv or jsonl")
	return cmd
}

// check reads what was said and refuses what cannot be meant.
func (f *recordsFlags) check() (err error) {
	if f.output != "table" && f.output != "csv" && f.output != "jsonl" {
		return command.Misuse("-o %q: say table, csv or jsonl", f.output)
	}
	if f.limit < 1 || f.limit > 200 {
		return command.Misuse("--limit %d: say 1 to 200", f.limit)
	}
	if f.since, err = dayOf("from", f.from); err != nil {
		return err
	}
	if f.until, err = dayOf("to", f.to); err != nil {
		return err
	}
	if !f.until.IsZero() {
		f.until = f.until.AddDate(0, 0, 1) // to the end of that day
	}
	if !f.since.IsZero() && !f.until.IsZero() && !f.since.Before(f.until) {
		return command.Misuse("--from %s is after --to %s", f.from, f.to)
	}
	return nil
}

// dayOf is the beginning of a day here; zero when none is said.
func dayOf(flag, day string) (time.Time, error) {
	if day == "" {
		return time.Time{}, nil
	}
	at, err := time.ParseInLocation(time.DateOnly, day, time.Local)
	if err != nil {
		return at, command.Misuse("--%s %q: say a day as 2026-11-30", flag, day)
	}
	return at, nil
}

func (f *recordsFlags) run(ctx context.Context, c *console, s *remote) error {
	found, next, err := f.find(ctx, &gathering{station: s})
	if err != nil {
		return err
	}
	if f.output == "table" {
		c.recordTable(found, time.Now())
	} else {
		var lines bytes.Buffer
		if err := layouts[f.output](&lines, found...); err != nil {
			return err
		}
		if _, err := c.Out.Write(lines.Bytes()); err != nil {
			return err
		}
	}
	if next != "" { // beside the answer, so that a file holds nothing but lines
		c.Complain("there may be more: go on with --page %s", next)
	}
	return nil
}

// find gathers rounds until there are enough. The token goes on behind the last round
// that was looked at.
func (f *recordsFlags) find(ctx context.Context, g *gathering) (found []*roundrecord.Record, next string, err error) {
	vehicle, err := g.station.vehicleMeant(ctx, f.vehicle)
	if err != nil {
		return nil, "", err
	}
	for token := f.page; ; {
		resp, err := g.station.rounds.ListRounds(ctx, &pb.ListRoundsRequest{
			PageSize: int32(f.limit - len(found)), PageToken: token, Vehicle: vehicle, Person: inCollection("people", f.person),
			OpenedFrom: bound(f.since), OpenedBefore: bound(f.until), Defect: f.named(), AwaitingOfficer: f.unsigned,
		})
		if err != nil {
			return nil, "", err
		}
		for _, round := range resp.GetRounds() {
			record, err := f.gather(ctx, g, round)
			if err != nil {
				return nil, "", err
			}
			if !f.words() || len(f.matching(record)) > 0 {
				found = append(found, record)
			}
		}
		token = resp.GetNextPageToken()
		if token == "" || len(found) >= f.limit {
			return found, token, nil
		}
	}
}

// bound is a bound as it is asked for; nil for none.
func bound(at time.Time) *timestamppb.Timestamp {
	if at.IsZero() {
		return nil
	}
	return timestamppb.New(at)
}

// nameOfDefect is how defects are named to a person.
var nameOfDefect = regexp.MustCompile(`^(vehicles/[a-z0-9-]+/defects|[a-z0-9-]+)/([0-9a-f]{12}|stop-[0-9a-f]{20})$`)

// named is the defect that --defect names; empty when it names none.
func (f *recordsFlags) named() string {
	if !nameOfDefect.MatchString(f.defect) {
		return ""
	}
	return defectName(f.defect)
}

// words tells that --defect holds words.
func (f *recordsFlags) words() bool { return f.defect != "" && f.named() == "" }

// gather asks for as much of a round as is needed.
func (f *recordsFlags) gather(ctx context.Context, g *gathering, round *pb.Round) (*roundrecord.Record, error) {
	if f.output == "table" && !f.words() {
		return &roundrecord.Record{Round: round}, nil
	}
	return g.recordOf(ctx, round)
}

// matching are the findings of a round that have all the words.
func (f *recordsFlags) matching(r *roundrecord.Record) []roundrecord.Found {
	return slices.DeleteFunc(r.Found(), func(found roundrecord.Found) bool {
		text := strings.ToLower(found.GetText() + " " + found.GetFault() + " " + strings.Join(found.GetStepIds(), " "))
		for _, word := range strings.Fields(strings.ToLower(f.defect)) {
			if !strings.Contains(text, word) {
				return true
			}
		}
		return false
	})
}

// recordTable prints one row for each round.
func (c *console) recordTable(found []*roundrecord.Record, now time.Time) {
	if len(found) == 0 {
		c.Say("no round is kept of which all that is true")
		return
	}
	rows := [][]string{{"OPENED", "VEHICLE", "ROUTINE", "DRIVER", "ASSISTANT", "STATE", "ANSWERED", "NOT CHECKED", "SIGNED", "ROUND"}}
	for _, r := range found {
		rows = append(rows, []string{
			instant(r.Round.GetOpened().AsTime(), now), lastPart(r.Round.GetVehicle()), lastPart(r.Round.GetRoutine()),
			lastPart(r.Round.GetDriver()), orDash(lastPart(r.Round.GetAssistant())), r.State(),
			strconv.Itoa(int(r.Round.GetAnswered())) + " of " + strconv.Itoa(int(r.Round.GetSteps())),
			strconv.Itoa(int(r.Round.GetNotChecked())), r.SignedWords(), lastPart(r.Round.GetName()),
		})
	}
	c.columns(rows)
}
