package main

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

const explainHelp = `Say how a finding of now came about: what was read, by whom and with what, what was made of it,
which limit applied and why, how sure that is, and where the rule comes from.

Without a finding, list those of now; choose one by its number in that list, or by its id.`

const explainExample = `  server explain wn21        which findings are there?
  server explain wn21 1      how did the first come about?`

func newExplain(c *console) *cobra.Command {
	var address string
	cmd := &cobra.Command{
		Use:     "explain VEHICLE [FINDING]",
		Short:   "Say how a finding came about",
		Long:    explainHelp,
		Example: explainExample,
		Args:    oneOrTwo("name a vehicle, and a finding by its number or id"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return c.asking(address, func(s *remote) error {
				vehicle, err := s.vehicleMeant(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				found, err := s.findings(cmd.Context(), vehicle)
				if err != nil {
					return err
				}
				if len(args) == 1 {
					c.findingTable(args[0], found)
					return nil
				}
				id, err := chosen(found, args[1], vehicle)
				if err != nil {
					return err
				}
				return s.explain(cmd.Context(), c, vehicle, id)
			})
		},
	}
	serverFlag(cmd, &address)
	return cmd
}

// findings are those of now, of reasons and of open defects, each once: what takes
// most away first, then the gravest, else in the order of the reasons.
func (s *remote) findings(ctx context.Context, vehicle string) (all []*pb.Finding, err error) {
	readiness, err := s.readinessOf(ctx, []string{vehicle}, nil)
	if err != nil {
		return nil, err
	}
	take := func(f *pb.Finding) {
		there := func(g *pb.Finding) bool { return g.GetFindingId() == f.GetFindingId() }
		if f != nil && !slices.ContainsFunc(all, there) {
			all = append(all, f)
		}
	}
	for _, reason := range readiness[0].GetReasons() {
		take(reason.GetFinding())
	}
	for _, defect := range readiness[0].GetOpenDefects() {
		for _, f := range defect.GetFindings() {
			take(f)
		}
	}
	slices.SortStableFunc(all, func(a, b *pb.Finding) int {
		return cmp.Or(cmp.Compare(b.GetEffect(), a.GetEffect()), cmp.Compare(b.GetGrade(), a.GetGrade()))
	})
	return all, nil
}

// findingTable lists findings with the numbers by which one is chosen, of the vehicle that was asked about.
func (c *console) findingTable(asked string, all []*pb.Finding) {
	if len(all) == 0 {
		c.Say("there is no finding about %s now", asked)
		return
	}
	rows := [][]string{{"NO", "GRADE", "EFFECT", "RULE", "FINDING"}}
	for i, f := range all {
		rows = append(rows, []string{
			strconv.Itoa(i + 1), gradeWord(f.GetGrade()), effectWord(f.GetEffect()), lastPart(f.GetPack()) + " " + f.GetRule(), clipped(f.GetText()),
		})
	}
	c.columns(rows)
	c.Say("\nexplain one with: server explain %s NO", asked)
}

// chosen is the id of the finding that a person names by its number or its id.
func chosen(all []*pb.Finding, word, vehicle string) (string, error) {
	n, err := strconv.Atoi(word)
	switch {
	case err != nil:
		return word, nil
	case len(all) == 0:
		return "", command.Misuse("there is no finding about %s now", vehicle)
	case n < 1 || n > len(all):
		return "", command.Misuse("there is no finding number %d; %s has 1 to %d now", n, vehicle, len(all))
	}
	return all[n-1].GetFindingId(), nil
}

// explain prints how a finding came about.
func (s *remote) explain(ctx context.Context, c *console, vehicle, id string) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	resp, err := s.history.Explain(ctx, &pb.ExplainRequest{Vehicle: vehicle, FindingId: id})
	if err != nil {
		return err
	}
	f := resp.GetExplanation().GetFinding()
	c.Say("%s", f.GetText())
	c.Say("%s, %s  [%s]\n", gradeWord(f.GetGrade()), effectWord(f.GetEffect()), sourceWords(f))
	var rows [][]string
	before := ""
	for _, line := range resp.GetExplanation().GetLines() {
		label := partLabel(line.GetPart())
		if label == before {
			label = ""
		} else {
			before = label
		}
		rows = append(rows, []string{label, line.GetText()})
	}
	c.columns(rows)
	return nil
}

// partLabel is what a line of an explanation tells, in a word or two.
func partLabel(p pb.ExplanationPart) string {
	switch p {
	case pb.ExplanationPart_EXPLANATION_PART_READ:
		return "read"
	case pb.ExplanationPart_EXPLANATION_PART_MADE:
		return "made of it"
	case pb.ExplanationPart_EXPLANATION_PART_UNCERTAINTY:
		return "worth"
	case pb.ExplanationPart_EXPLANATION_PART_LIMIT:
		return "limit"
	case pb.ExplanationPart_EXPLANATION_PART_WHY:
		return "why this limit"
	case pb.ExplanationPart_EXPLANATION_PART_CONFIDENCE:
		return "how sure"
	case pb.ExplanationPart_EXPLANATION_PART_HISTORY:
		return "history"
	case pb.ExplanationPart_EXPLANATION_PART_MEANING:
		return "means"
	case pb.ExplanationPart_EXPLANATION_PART_SOURCE:
		return "source"
	}
	return "besides"
}

// gradeWord is a grade in a word.
func gradeWord(g pb.Grade) string {
	return strings.ToLower(strings.TrimPrefix(g.String(), "GRADE_"))
}

// effectWord says in a few words what a finding takes away.
func effectWord(e pb.Effect) string {
	switch e {
	case pb.Effect_EFFECT_NOTHING:
		return "takes nothing away"
	case pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT:
		return "may respond under limits"
	case pb.Effect_EFFECT_RESPONDING:
		return "must not respond"
	case pb.Effect_EFFECT_MOVING:
		return "must not move"
	}
	return "proves nothing"
}
