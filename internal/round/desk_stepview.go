package round

import (
	"context"
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// stepView is the step in the light with the answer being made. What was answered
// before is not in it.
func (d *Desk) stepView(ctx context.Context, marks []Mark) *Step {
	s, now := d.session, d.now()
	step, place := d.scene.stepOf(s.Step), placeOf(marks, s.Step)
	if step == nil {
		return nil
	}
	v := &Step{
		CheckStep: unanswered(step), Entry: d.entryView(ctx, step), Gauge: d.scene.gauge(d.gaugeFor(step)),
		NeedsGauge: gaugedAs(step, d.scene.gauges) != pb.Quantity_QUANTITY_UNSPECIFIED,
		Alone:      step.GetState().GetAssistant() && s.Assistant == "", AloneMethod: s.Draft.Alone,
		HeldUntil: d.heldUntil(step), Correcting: s.Correct, CanCure: d.canCureNow(step), Confirm: s.Confirm, AskLeft: s.AskLeft, MustTellControl: d.mustTellControl(step),
		FirstOfStop: place == 0 || marks[place-1].Stop != marks[place].Stop,
	}
	if at := s.Engine.coldAt(step, now); at.After(now) {
		v.ColdAt = &at
	}
	if s.Way != nil && s.Way.Told == step.GetStepId() {
		v.NewWay = s.Way.Why.said()
	}
	ready := d.scene.readiness[s.Vehicle]
	for _, one := range d.known(ready.GetOpenDefects(), marks) {
		if one.GetStepId() == step.GetStepId() {
			v.Known = append(v.Known, one)
		}
	}
	v.AskKnown = d.asksKnown(step)
	for _, u := range ready.GetUndone() {
		if u.GetStepId() == step.GetStepId() {
			v.Undoes = u.GetUndoS()
		}
	}
	if s.Cure != nil {
		found, err := d.given(&s.Cure.Found)
		if err != nil {
			d.log.Error("what is being put right cannot be shown", "cause", err)
		}
		v.Cure = found
	}
	return v
}

// unanswered is a step without its newest result: the former answer is shown after
// today's, and never before.
func unanswered(step *pb.CheckStep) *pb.CheckStep {
	bare := proto.CloneOf(step)
	bare.Last = nil
	return bare
}

func (d *Desk) entryView(ctx context.Context, step *pb.CheckStep) Entry {
	s := d.session
	e := Entry{
		Kind: step.GetAnswerKind(), Fields: d.fieldViews(step), Mark: s.Draft.Mark, Fraction: s.Draft.Fraction,
		Choices: d.choiceViews(ctx, step), Note: s.Draft.Note, Photos: s.Draft.Photos, Needs: d.needs(step),
	}
	e.Taking, e.ByHand = d.takingView(step), s.Draft.ByHand
	if step.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_PROFILE {
		e.Section, e.Fewer, e.More = s.Draft.section(), max(s.Draft.grooves()-1, fewestGrooves), min(s.Draft.grooves()+1, mostGrooves)
		for n := 1; n <= mostSections; n++ {
			e.Sections = append(e.Sections, s.Draft.typed(step, n))
		}
	}
	if question := d.proofAt(step); question != "" {
		e.Proof = &Proof{Question: question, Text: s.Draft.Proof}
	}
	e.Ready = e.Needs == ""
	return e
}

func (d *Desk) fieldViews(step *pb.CheckStep) []Field {
	draft := d.session.Draft
	active, gauge := draft.active(step), d.scene.gauge(d.gaugeFor(step))
	ids := draft.fieldIDs(step, draft.section())
	fields := make([]Field, len(ids))
	for i, id := range ids {
		part := i
		if step.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_PROFILE {
			part = 0
		}
		fields[i] = Field{ID: id, Title: fieldTitle(step, i, len(ids)), Text: draft.Texts[id], Active: id == active}
		if part >= len(step.GetParts()) {
			continue
		}
		if draft.taking(step) == watched {
			fields[i].Title, fields[i].Unit = "pressure", unitWords(pressureUnit(step))
			continue
		}
		p, unit := step.GetParts()[part], unitAt(step, part)
		fields[i].Again = strings.Join(draft.Again, ", ")
		if _, whole := number(fields[i].Text); whole && len(draft.Again) > 0 {
			fields[i].Mean = plain(mean(draft.readings(p)))
		}
		fields[i].CanAgain = draft.againAt(step) && gaugedAs(step, d.scene.gauges) != pb.Quantity_QUANTITY_UNSPECIFIED
		fields[i].Unit, fields[i].Range = unitWords(unit), rangeWords(p.GetPlausible(), p.GetQuantity(), unit)
		if gauge.GetQuantity() == p.GetQuantity() {
			fields[i].Resolution = resolutionWords(gauge, unit)
		}
	}
	return fields
}

// fieldTitle names one number: a part, or a groove from the outer edge.
func fieldTitle(step *pb.CheckStep, i, of int) string {
	switch {
	case step.GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_PROFILE:
		return step.GetParts()[i].GetTitle()
	case of == usualGrooves:
		return [usualGrooves]string{"outer edge", "outer middle", "inner middle", "inner edge"}[i]
	case i == 0:
		return "outer edge"
	case i == of-1:
		return "inner edge"
	}
	return fmt.Sprintf("groove %d of %d", i+1, of)
}

// choiceViews are the conditions; of those that were touched it is said what they
// would mean.
func (d *Desk) choiceViews(ctx context.Context, step *pb.CheckStep) []Choice {
	choices := make([]Choice, len(step.GetConditions()))
	for i, c := range step.GetConditions() {
		choices[i] = Choice{Condition: c}
		at := d.session.Draft.seenAt(c.GetId())
		if at < 0 {
			continue
		}
		choices[i].Chosen, choices[i].Affected = true, d.session.Draft.Seen[at].Affected
		if c.GetFault() != "" {
			if step.GetAlike() > 1 && d.counts(c.GetFault()) {
				choices[i].Of = step.GetAlike()
			}
			choices[i].Meaning, choices[i].Verdict = d.meaningOf(ctx, step, c, choices[i].Affected)
		}
	}
	return choices
}

// meaningOf asks the rules what a fault would mean if it were recorded.
func (d *Desk) meaningOf(ctx context.Context, step *pb.CheckStep, c *pb.Condition, affected int32) (string, pb.Verdict) {
	one := &pb.ConditionSeen{Condition: c.GetId()}
	if affected > 0 && step.GetAlike() > 1 {
		one.Count = &pb.Count{Affected: affected, Of: step.GetAlike()}
	}
	findings, err := d.twin.Consider(ctx, d.session.Vehicle, step.GetStepId(), []*pb.ConditionSeen{one})
	if err != nil {
		d.log.Error("what a fault would mean cannot be said", "step", step.GetStepId(), "cause", err)
		return "", pb.Verdict_VERDICT_UNSPECIFIED
	}
	f := worst(findings)
	if f == nil {
		return "nothing is said of it: the vehicle proves nothing here", pb.Verdict_VERDICT_UNPROVEN
	}
	return findingWords(f), verdict.OfEffect(f.GetEffect())
}

// former is the result before; nil when there was none.
func (g *given) former() (*pb.Result, error) {
	if len(g.Former) == 0 {
		return nil, nil
	}
	r := &pb.Result{}
	if err := proto.Unmarshal(g.Former, r); err != nil {
		return nil, fault.New(fault.Lost, "ANSWER_UNREADABLE", "the answer before cannot be read from the session file").Because(err)
	}
	return r, nil
}
