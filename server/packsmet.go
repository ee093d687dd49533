package main

import (
	"fmt"
	"strings"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// met says when a rule is met, a line for each thing that must hold.
func (d *ruleDoc) met(r *pb.Rule) (lines []string) {
	var seen []string
	for _, id := range r.GetFaults() {
		seen = append(seen, d.seenWords(id))
	}
	if len(seen) > 0 {
		lines = append(lines, "seen: "+strings.Join(seen, "; or "))
	}
	if r.GetWhen() != "" {
		words := code(r.GetWhen())
		if len(lines) > 0 {
			words = "and also " + words
		}
		lines = append(lines, words)
	}
	if l := r.GetLimit(); l != nil {
		lines = append(lines, limitRuleWords(l))
	}
	return lines
}

// seenWords is a fault as somebody sees it.
func (d *ruleDoc) seenWords(id string) string {
	words := d.conditions[id]
	if words == "" {
		words = d.faults[id].GetText()
	}
	if words == "" {
		return id
	}
	return words + " (" + id + ")"
}

// limitRuleWords says which bound a number must keep, and what is done near it.
func limitRuleWords(l *pb.Limit) string {
	bound := l.GetBound()
	if strings.ContainsAny(bound, "abcdefghijklmnopqrstuvwxyz?") { // more than a number
		bound = code(bound)
	}
	words := fmt.Sprintf("it is not kept that %s must be %s %s", numberWords(l.GetNumber()), rules.SideWords(l.GetSide()), strings.TrimSpace(bound+" "+l.GetUnit()))
	words += " (" + decisionWords(l)
	if l.GetGuardsLife() {
		words += "; guards life, so only a gauge in date proves it"
	}
	words += ")"
	if l.GetUncertainty() != "" {
		words += ", with the standard uncertainty " + code(l.GetUncertainty())
	}
	if l.GetWhy() != "" {
		words += "; why this limit: " + l.GetWhy()
	}
	return words
}

// decisionWords says what is done with uncertainty near a bound.
func decisionWords(l *pb.Limit) string {
	const usual = 0.975
	sure := l.GetConfidence()
	if sure == 0 {
		sure = usual
	}
	percent := fmt.Sprintf("%.4g %%", sure*100)
	switch l.GetDecision() {
	case pb.DecisionRule_DECISION_RULE_GUARDED:
		return "guarded, " + percent
	case pb.DecisionRule_DECISION_RULE_BENEFIT_OF_DOUBT:
		return "benefit of the doubt, " + percent
	}
	return "the number as it is"
}

// numberWords names the numbers that most rules look at; others stand as they are
// written.
func numberWords(expression string) string {
	words, ok := map[string]string{
		"o.value":            "the value",
		"o.share_of_target":  "the value as a share of what it should be",
		"o.tread_band_mm":    "the least tread in the best band of three quarters of the breadth",
		"o.tread_central_mm": "the least tread in the central three quarters of the breadth",
		"o.tread_least_mm":   "the least tread anywhere",
		"o.level":            "the level as a share between its marks",
	}[expression]
	if !ok {
		return code(expression)
	}
	return words
}
