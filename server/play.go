package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

const playHelp = `Carry out a round that stands in a file, as a tablet would: open it, record every answer,
pause and resume where the file says so, end it. Then print what was found and what the
vehicle may do now.

For demonstrations, tests and training. No answer comes from nowhere: the file says each of
them, or that everything not listed is sound. The file's words:

  key, vehicle, routine, driver, assistant, device, conditions, gauges,
  answer (sound or nothing), nominal, steps, end (finish, give_up, leave_open), note

  steps:
    TYR-121/axle-2-offside-inner: {reading: 6.1 bar, note: nail in the tread}
    FLU-010: {level: below, then: [{cure: {done: topped up, amount: 1.5 L}, level: 0.8}]}
    LMP-020: {seen: LMP-020-01}
    AMB-030: {reading: {main: 150 bar, portable: 140 bar}, also_seen: AMB-030-02}
    WIN-010: {not_checked: no_assistant}

testdata/demo/rounds holds whole ones. When something breaks off half-way, play it again: ids
follow from the key (or from the content of a file without one), so nothing is recorded twice.
For the same reason a file that was played to its end does nothing more; --again makes it a
new round.`

const playExample = `  server play testdata/demo/rounds/01-wn11-shift.yaml
  server play --again testdata/demo/rounds/01-wn11-shift.yaml
  server play --key 2026-02-03-morning round.yaml
  server play --each round.yaml                a line for each answer, once it is safely kept`

type playFlags struct {
	server string
	key    string
	again  bool
	each   bool
}

func newPlay(c *console) *cobra.Command {
	var f playFlags
	cmd := &cobra.Command{
		Use:     "play ROUND.yaml…",
		Short:   "Carry out a round that stands in a file",
		Long:    playHelp,
		Example: playExample,
		Args:    atLeastOne("name the round files to play"),
		RunE: func(cmd *cobra.Command, args []string) error {
			files, err := f.files(args)
			if err != nil {
				return err
			}
			return c.asking(f.server, func(s *remote) error {
				for _, file := range files {
					if err := s.play(cmd.Context(), c, file, f.each); err != nil {
						return err
					}
				}
				return nil
			})
		},
	}
	serverFlag(cmd, &f.server)
	cmd.Flags().StringVar(&f.key, "key", "", "play under this key instead of the file's own")
	cmd.Flags().BoolVar(&f.again, "again", false, "make it a new round, though it was played before")
	cmd.Flags().BoolVar(&f.each, "each", false, "print a line for each answer once it is safely kept")
	return cmd
}

// files reads all rounds before the first is played.
func (f *playFlags) files(names []string) ([]*roundFile, error) {
	var files []*roundFile
	for _, name := range names {
		file, err := readRoundFile(name)
		if err != nil {
			return nil, err
		}
		if f.key != "" {
			file.key = f.key
		}
		if f.again {
			file.key += " again " + uuid.NewString()
		}
		files = append(files, file)
	}
	return files, nil
}

// play carries out one round and prints what came of it.
func (s *remote) play(ctx context.Context, c *console, file *roundFile, each bool) error {
	var err error
	if file.vehicle, err = s.vehicleMeant(ctx, file.vehicle); err != nil {
		return err
	}
	acts, err := s.prepare(ctx, file)
	if err != nil {
		return err
	}
	total := 0
	for _, a := range acts {
		if a.result != nil {
			total++
		}
	}
	progress := progress{console: c, of: total, each: each, name: file.vehicle}
	p := &player{station: s, file: file, heard: progress.heard}
	readiness, err := p.play(ctx, acts)
	progress.end()
	if err != nil {
		return err
	}
	c.Say("%s, %s: %s%s", file.vehicle, file.routine, count(total, "answer"), progress.beforeWords())
	c.sayFound(p.found)
	c.sayVerdict(readiness)
	return nil
}

// progress tells how far a round is: on a terminal in one line that is written
// over, with --each in a line for each answer.
type progress struct {
	*console
	name         string
	done, of     int
	before       int // of them recorded by an earlier try
	each, turned bool
}

func (p *progress) heard(a act, resp *pb.RecordResultResponse) {
	p.done++
	if resp.GetRepeatedBefore() {
		p.before++
	}
	switch {
	case p.each:
		p.Say("recorded %s %s event %d", a.step.GetStepId(), resp.GetResultId(), resp.GetSequence())
	case p.OnTerminal():
		p.turned = true
		_, _ = fmt.Fprintf(p.Out, "\r\x1b[K%s  %d of %d  %s", p.name, p.done, p.of, a.step.GetTitle())
	}
}

// end clears the line that was written over.
func (p *progress) end() {
	if p.turned {
		_, _ = fmt.Fprint(p.Out, "\r\x1b[K")
	}
}

func (p *progress) beforeWords() string {
	if p.before == 0 {
		return ""
	}
	return fmt.Sprintf(", %d of them recorded before", p.before)
}

// sayFound prints what the rules said, worst first.
func (c *console) sayFound(found []finding) {
	slices.SortStableFunc(found, func(a, b finding) int { return int(b.what.GetGrade() - a.what.GetGrade()) })
	for _, f := range found {
		grade := strings.TrimPrefix(f.what.GetGrade().String(), "GRADE_")
		line := fmt.Sprintf("  %-9s %s: %s", grade, titleOf(f.step), f.what.GetText())
		if f.putRight {
			line += " – put right and read again"
		}
		c.Say("%s  [%s]", line, sourceWords(f.what))
	}
}

// titleOf is a step and what its title does not yet say of its place.
func titleOf(step *pb.CheckStep) string {
	title := step.GetTitle()
	said := strings.FieldsFunc(strings.ToLower(title), betweenWords)
	for _, part := range strings.Split(step.GetPlace().GetTitle(), ", ") {
		isSaid := func(word string) bool { return slices.Contains(said, word) }
		if part != "" && !slices.ContainsFunc(strings.FieldsFunc(strings.ToLower(part), betweenWords), isSaid) {
			title += ", " + part
		}
	}
	return title
}

func betweenWords(r rune) bool { return r == ' ' || r == ',' }

func sourceWords(f *pb.Finding) string {
	return strings.TrimSpace(f.GetSource().GetTitle() + " " + f.GetSource().GetClause())
}

// sayVerdict prints the verdict with all its reasons and the ways back.
func (c *console) sayVerdict(r *pb.Readiness) {
	m := markOf(r.GetVerdict())
	c.Say("%s  since %s", m.paint(m.shape+"  "+verdict.Spoken(r)+"  "+wordsOf(r), c.colourful()), instant(r.GetSince().AsTime(), time.Now()))
	for _, limit := range r.GetRestrictions() {
		c.Say("  limit: %s", limit.GetText())
	}
	for _, reason := range r.GetReasons() {
		c.Say("  %s", reason.GetText())
	}
	for _, way := range r.GetWaysBack() {
		c.Say("  way back: %s", way.GetText())
	}
}
