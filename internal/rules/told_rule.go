package rules

import (
	"cmp"
	"fmt"
	"strings"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// tellLimit says which limit or condition applied, and why this one.
func (a *account) tellLimit() {
	const part = pb.ExplanationPart_EXPLANATION_PART_LIMIT
	if a.rule == nil {
		a.say(part, "No rule of this vehicle's packs speaks of it.")
		return
	}
	r, judged := a.rule.rule, a.finding.GetLimit()
	words := []string{}
	if judged != nil && len(a.looked) == 1 && a.rule.limit != nil {
		as := a.rule.limit.shownFor(a.looked[0])
		words = append(words, fmt.Sprintf("%s must be %s %s", a.rule.limit.numberWords(a.looked[0]), sides[judged.GetSide()], as.exact(judged.GetBound())))
	}
	if a.finding.GetFault() != "" && len(r.GetFaults()) > 0 {
		words = append(words, fmt.Sprintf("%s is seen", a.judge.faultWords(a.finding.GetFault())))
	}
	if len(words) == 0 { // a condition alone: what the rule says of it are its words
		words = append(words, strings.TrimSuffix(a.finding.GetText(), "."))
	}
	text := fmt.Sprintf("Rule %s: %s", r.GetId(), strings.Join(words, "; "))
	if r.GetWhen() != "" {
		text += fmt.Sprintf(" [where %s]", oneLine(r.GetWhen()))
	}
	line := a.say(part, text+".")
	if judged != nil {
		arrives(line, judged.GetBound(), judged.GetUnit())
	}
	a.say(pb.ExplanationPart_EXPLANATION_PART_WHY, a.whyWords())
}

func (j *Judge) faultWords(id string) string {
	if text := j.engine.known.faults[id].GetText(); text != "" {
		return text
	}
	return "fault " + id
}

func (a *account) whyWords() string {
	r := a.rule.rule
	var words []string
	if why := r.GetLimit().GetWhy(); why != "" {
		words = append(words, why)
	}
	if r.GetForVehicles() != "" {
		words = append(words, "it is for vehicles where "+oneLine(r.GetForVehicles()))
	}
	if len(words) == 0 {
		words = append(words, "it is for every vehicle under this pack")
	}
	return sentence(fmt.Sprintf("%s (%s)", strings.Join(words, "; "), a.rule.pack.authority))
}

// decisions words what is done near a bound; never changed.
var decisions = map[pb.DecisionRule]string{
	pb.DecisionRule_DECISION_RULE_SIMPLE:           "the number is taken as it is and the risk is shared",
	pb.DecisionRule_DECISION_RULE_GUARDED:          "kept only when that is sure, and not kept only when that is sure",
	pb.DecisionRule_DECISION_RULE_BENEFIT_OF_DOUBT: "not kept only when that is sure",
}

// tellConfidence says how sure the outcome is.
func (a *account) tellConfidence() {
	const part = pb.ExplanationPart_EXPLANATION_PART_CONFIDENCE
	judged := a.finding.GetLimit()
	switch {
	case judged == nil && a.finding.GetEffect() == pb.Effect_EFFECT_UNSPECIFIED:
		a.say(part, "It could not be worked out, and what cannot be worked out proves nothing.")
		return
	case judged == nil && a.finding.GetFault() != "" && len(a.rule.faults()) > 0:
		a.say(part, "What was seen is taken as it was seen.")
		return
	case judged == nil:
		a.say(part, "The numbers are taken as they are.")
		return
	}
	words := []string{decisions[judged.GetDecision()]}
	if judged.GetDecision() != pb.DecisionRule_DECISION_RULE_SIMPLE {
		words = append(words, fmt.Sprintf("sure is P %s", rounded(judged.GetConfidence(), mostShown, true)))
	}
	known := judged.GetStandardUncertainty() > 0
	if known {
		words = append(words, "P that it is kept is "+chance(judged.GetProbabilityKept()))
	}
	outcome := "not kept"
	if judged.GetOutcome() == pb.LimitOutcome_LIMIT_OUTCOME_CANNOT_TELL {
		outcome = "so nobody can tell: " + judged.GetWhy()
	}
	said := a.say(part, sentence(strings.Join(append(words, outcome), "; ")))
	if known {
		arrives(said, judged.GetProbabilityKept(), "")
	}
}

func (r *compiled) faults() []string {
	if r == nil {
		return nil
	}
	return r.rule.GetFaults()
}

// EffectWords is what a finding takes away, as a sentence without its full stop.
func EffectWords(e pb.Effect) string { return effects[e] }

// GradeWords is how serious a finding is; "not graded" where nobody has said.
func GradeWords(g pb.Grade) string { return cmp.Or(grades[g], "not graded") }

// StatusWords is how sure the source of a rule is; empty where it is not said.
func StatusWords(s pb.SourceStatus) string { return statuses[s] }

// effects words what an effect takes away; never changed.
var effects = map[pb.Effect]string{
	pb.Effect_EFFECT_UNSPECIFIED:              "Proves nothing: the vehicle is unproven until this is looked at again",
	pb.Effect_EFFECT_NOTHING:                  "Takes nothing away: it is put right in its turn",
	pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT: "The vehicle responds under a limit",
	pb.Effect_EFFECT_RESPONDING:               "The vehicle does not respond; it may be moved to repair",
	pb.Effect_EFFECT_MOVING:                   "The vehicle is not moved",
}

// grades words how serious a finding is; never changed.
var grades = map[pb.Grade]string{
	pb.Grade_GRADE_MINOR: "minor", pb.Grade_GRADE_MAJOR: "major", pb.Grade_GRADE_DANGEROUS: "dangerous",
}

// tellMeaning says what the finding means for the vehicle.
func (a *account) tellMeaning() {
	f := a.finding
	words := []string{effects[f.GetEffect()]}
	for _, r := range f.GetRestrictions() {
		words = append(words, r.GetText())
	}
	if len(f.GetCapabilitiesLost()) > 0 {
		words = append(words, "without "+strings.Join(f.GetCapabilitiesLost(), ", "))
	}
	if grade := grades[f.GetGrade()]; grade != "" {
		words = append(words, "graded "+grade)
	}
	if days := f.GetLongestDeferralDays(); days > 0 {
		words = append(words, fmt.Sprintf("may be deferred %d days", days))
	}
	a.say(pb.ExplanationPart_EXPLANATION_PART_MEANING, strings.Join(words, "; ")+"."+a.runFlat())
}

// runFlat is the caution of a tyre so soft that it may have been run flat.
func (a *account) runFlat() string {
	if len(a.looked) != 1 {
		return ""
	}
	o := a.looked[0]
	if !o.GetHasValue() || !coldPressure(o.GetStep()) || !(o.GetShareOfTarget() < measure.RunFlatShare) || o.GetTarget() <= 0 {
		return ""
	}
	return " Below 80 % of its pressure a tyre counts as run flat: its walls have bent and heated, and it can burst. Do not inflate it before it was taken off and examined by someone trained for it (common practice; local rules come first)."
}

// statuses words how sure a source is; never changed.
var statuses = map[pb.SourceStatus]string{
	pb.SourceStatus_SOURCE_STATUS_VERIFIED:        "seen in the published text",
	pb.SourceStatus_SOURCE_STATUS_FROM_MEMORY:     "from memory, the text was not seen",
	pb.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE: "common practice, no published text",
	pb.SourceStatus_SOURCE_STATUS_SERVICE_POLICY:  "the service's own decision",
}

// tellSource says where the rule comes from.
func (a *account) tellSource() {
	source := a.finding.GetSource()
	if source == nil {
		return
	}
	text := source.GetTitle()
	if source.GetClause() != "" {
		text += ", " + source.GetClause()
	}
	if status := statuses[source.GetStatus()]; status != "" {
		text += "; " + status
	}
	a.say(pb.ExplanationPart_EXPLANATION_PART_SOURCE, fmt.Sprintf("%s. Rule pack %s %s.", text, strings.TrimPrefix(a.finding.GetPack(), "packs/"), a.finding.GetPackVersion()))
}
