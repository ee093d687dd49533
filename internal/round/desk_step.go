package round

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// lit is the step in the light.
func (d *Desk) lit() (*pb.CheckStep, error) {
	if step := d.scene.stepOf(d.session.Step); step != nil {
		return step, nil
	}
	return nil, fault.New(fault.Precondition, "NO_STEP", "no step is open; choose one")
}

// enterInto is called when the driver begins to answer: what the step undoes
// physically is undone from now on. Merely looking at it on the screen undoes nothing.
func (d *Desk) enterInto(ctx context.Context, step *pb.CheckStep) error {
	if d.mustTellControl(step) {
		return controlNotTold()
	}
	return d.beginStep(ctx, step)
}

// beginStep says that what the step undoes is undone from now on.
func (d *Desk) beginStep(ctx context.Context, step *pb.CheckStep) error {
	s, now, id := d.session, d.now(), step.GetStepId()
	if at := s.Engine.coldAt(step, now); at.After(now) {
		return fault.New(fault.Precondition, "ENGINE_TOO_WARM",
			"wait for a cold engine until %s, or leave it not checked because the engine is warm", d.clock(at))
	}
	if step.GetUndoS() == 0 || s.Begun {
		return nil
	}
	return d.command(ctx, &pending{Kind: commandBegin}, &pb.BeginStepRequest{
		RequestId: uuid.NewString(), Round: s.Round, StepId: id, DeviceTime: d.deviceTime(), ControlTold: slices.Contains(s.Told, id),
	})
}

func (d *Desk) begun(_ context.Context, req *pb.BeginStepRequest, _ *pb.BeginStepResponse) error {
	d.session.Begun = d.session.Begun || req.GetStepId() == d.session.Step
	return nil
}

// mustTellControl tells that control was not told of a step yet that it must be told of.
func (d *Desk) mustTellControl(step *pb.CheckStep) bool {
	return step.GetTellControlFirst() && !slices.Contains(d.session.Told, step.GetStepId())
}

func controlNotTold() error {
	return fault.New(fault.Precondition, "CONTROL_NOT_TOLD", "tell control first, by radio or telephone, and say here that it agreed")
}

// tellControl takes the driver's word that control was told and agreed. With it the
// step is begun: who said so, and when, stands in the record.
func (d *Desk) tellControl(ctx context.Context, _ Act) error {
	step, err := d.lit()
	switch {
	case err != nil:
		return err
	case !step.GetTellControlFirst():
		return fault.New(fault.Precondition, "NOTHING_TO_TELL", "control need not be told of this step")
	case !d.mustTellControl(step):
		return nil
	}
	before := d.session.Told
	d.session.Told = append(slices.Clip(before), step.GetStepId())
	if err = d.beginStep(ctx, step); err != nil && d.session.Pending == nil {
		d.session.Told = before
	}
	return err
}

// enter goes to the next empty number, or records when there is none.
func (d *Desk) enter(ctx context.Context, a Act) error {
	step, err := d.lit()
	if err != nil {
		return err
	}
	draft := d.session.Draft
	if draft.taking(step) == watched {
		return d.enterWatched(ctx, a, step)
	}
	active := draft.active(step)
	if _, whole := number(draft.Texts[active]); active != "" && !whole {
		return fault.New(fault.Precondition, "NOT_READY", "this is no number yet: %q", draft.Texts[active])
	}
	for _, id := range draft.fieldIDs(step, draft.section()) {
		if _, whole := number(draft.Texts[id]); !whole {
			d.session.Draft, err = draft.withField(step, id)
			return err
		}
	}
	return d.record(ctx, a)
}

// record records the answer as it stands.
func (d *Desk) record(ctx context.Context, a Act) error { return d.recordAs(ctx, a, false) }

// confirm records an unusual value that was looked at once more.
func (d *Desk) confirm(ctx context.Context, a Act) error {
	if d.session.Confirm == "" {
		return fault.New(fault.Precondition, "NOTHING_TO_CONFIRM", "there is nothing to confirm; record the answer")
	}
	return d.recordAs(ctx, a, true)
}

func (d *Desk) recordAs(ctx context.Context, a Act, confirmed bool) error {
	step, err := d.lit()
	if err != nil {
		return err
	}
	if err := d.mayRecord(step); err != nil {
		return err
	}
	s := d.session
	if !d.sayLeft(step, a) {
		return nil
	}
	result := d.resultOf(step)
	s.Draft.answerInto(result, step)
	result.Note, result.Worse = s.Draft.comparedNote(result.GetNote()), s.Draft.Compared == comparedWorse
	result.Confirmed, result.Gauge = confirmed, d.gaugeFor(step)
	result.Cure = s.Cure.message(step)
	if err := d.enterInto(ctx, step); err != nil {
		return err
	}
	if err := d.tellEngineAnew(ctx, step); err != nil {
		return err
	}
	return d.send(ctx, step, result, s.Draft.typedWords(step))
}

// sayLeft takes how the place is left, and tells that it was said. What takes a
// while to put back is asked after; the view puts the question.
func (d *Desk) sayLeft(step *pb.CheckStep, a Act) bool {
	s := d.session
	switch a.Values["left"] {
	case "shut":
		s.Draft.Left = leftPutBack
	case "open":
		s.Draft.Left = leftOpen
	}
	s.AskLeft = step.GetUndoS() >= leftAsked && s.Draft.Left == leftUnsaid
	if step.GetUndoS() == 0 {
		s.Draft.Left = leftUnsaid
	}
	return !s.AskLeft
}

// mayRecord refuses what is not an answer yet.
func (d *Desk) mayRecord(step *pb.CheckStep) error {
	if needs := d.needs(step); needs != "" {
		return fault.New(fault.Precondition, "NOT_READY", "%s first", needs)
	}
	if held := d.heldUntil(step); d.now().Before(held) {
		return fault.New(fault.Precondition, "LOOK_LONGER", "this one must not be missed: look for %d s before you answer; %d s to go",
			step.GetLeastLookS(), seconds(held.Sub(d.now())))
	}
	return nil
}

// needs is what is missing before the answer can be recorded, in words.
func (d *Desk) needs(step *pb.CheckStep) string {
	s := d.session
	alone := step.GetState().GetAssistant() && s.Assistant == ""
	switch {
	case d.mustTellControl(step):
		return "tell control"
	case alone && step.GetAlonePrompt() == "":
		return "get somebody to assist, or leave it not checked: no assistant;"
	case alone && !s.Draft.Alone:
		return "look by the method for one alone and say so"
	case d.gaugeFor(step) == "" && gaugedAs(step, d.scene.gauges) != pb.Quantity_QUANTITY_UNSPECIFIED:
		return "say which gauge is in your hand"
	case d.proofAt(step) != "" && s.Draft.Proof == "":
		return "answer the question"
	}
	return cmp.Or(s.Draft.hindrance(step), s.Draft.lackingCount(step, d.counts))
}

// counts tells that it is asked how many show a fault.
func (d *Desk) counts(fault string) bool {
	asked, err := d.twin.Counts(d.session.Vehicle, fault)
	return asked || err != nil // better once too often
}

// heldUntil is when the least time of looking ends; zero when the step does not hold.
func (d *Desk) heldUntil(step *pb.CheckStep) time.Time {
	if !step.GetMustNotMiss() || step.GetLeastLookS() == 0 {
		return time.Time{}
	}
	left := d.session.lit.Add(time.Duration(step.GetLeastLookS()) * time.Second).Sub(d.wall())
	return d.now().Add(left)
}

// gaugeFor is the gauge in hand for a step; empty when none is needed or known.
func (d *Desk) gaugeFor(step *pb.CheckStep) string {
	return d.session.Gauges[gaugedAs(step, d.scene.gauges)]
}

// proofAt is the question that the round puts at a step; empty when it puts none.
func (d *Desk) proofAt(step *pb.CheckStep) string {
	for _, p := range d.scene.round.GetSpotProofs() {
		if p.GetStepId() == step.GetStepId() {
			return p.GetQuestion()
		}
	}
	return ""
}

// skip records that nobody looked, and why.
func (d *Desk) skip(ctx context.Context, a Act) error {
	step, err := d.lit()
	if err != nil {
		return err
	}
	why, known := reasonOf(a.Values["reason"])
	if !known {
		return fault.New(fault.Invalid, "REASON_UNKNOWN", "say why it is not checked: choose one of the reasons")
	}
	note := cmp.Or(a.Values["note"], d.session.Draft.Note)
	result := d.resultOf(step)
	result.Answer = &pb.Result_NotChecked{NotChecked: &pb.NotChecked{Reason: why}}
	result.Note, result.Photos = note, slices.Clone(d.session.Draft.Photos)
	return d.send(ctx, step, result, answerWords(step, result))
}

// resultOf is what all results of a step have, beside the answer.
func (d *Desk) resultOf(step *pb.CheckStep) *pb.Result {
	s, last := d.session, step.GetLast()
	return &pb.Result{
		ResultId: uuid.NewString(), StepId: step.GetStepId(), Person: s.Driver, Device: d.device,
		DeviceTime: d.deviceTime(), DeviceAheadS: d.deviceAhead(), LookedS: s.Looked.Seconds(),
		Correction: s.Correct && s.Cure == nil && last.GetRound() == s.Round && last.GetPerson() == s.Driver,
	}
}

// send records a result on the twin.
func (d *Desk) send(ctx context.Context, step *pb.CheckStep, result *pb.Result, words string) error {
	s := d.session
	p := &pending{
		Kind: commandRecord, Answer: words, Open: d.scene.openAt(s.Vehicle, step.GetStepId()),
		Astray: d.astray(step.GetStepId()),
	}
	if step.GetLast() != nil {
		var err error
		if p.Former, err = proto.Marshal(step.GetLast()); err != nil {
			return err
		}
	}
	return d.command(ctx, p, &pb.RecordResultRequest{Round: d.session.Round, Result: result})
}

// recorded shows what the answer means, and lights the next step.
func (d *Desk) recorded(ctx context.Context, req *pb.RecordResultRequest, resp *pb.RecordResultResponse) error {
	s, r, p := d.session, req.GetResult(), d.session.Pending
	step := d.scene.stepOf(r.GetStepId())
	if step == nil {
		return fault.New(fault.Lost, "NO_STEP", "the step of the answer is not in the plan of the round")
	}
	answered, err := proto.Marshal(resp)
	if err != nil {
		return err
	}
	if err := d.look(ctx); err != nil {
		return err
	}
	s.Given = &given{
		StepID: step.GetStepId(), Title: step.GetTitle(), Answer: p.Answer, Former: p.Former, Response: answered,
		Closed: ended(p.Open, d.scene.openAt(s.Vehicle, step.GetStepId())), CanCure: d.canCure(step, r, resp.GetFindings()), At: d.now().Round(0),
	}
	if ranBy(step) && r.GetNotChecked() == nil {
		s.Engine.Ran = d.now().Round(0)
	}
	s.Again = without(s.Again, step.GetStepId())
	s.Passed, s.LeftOut = without(s.Passed, step.GetStepId()), without(s.LeftOut, step.GetStepId())
	s.Cure, s.Step, s.At = nil, "", step.GetStepId()
	if p.Astray {
		return d.goOn(ctx, s.At, whyAstray)
	}
	return d.goOn(ctx, s.At, undisturbed)
}

// ended says in words which defects are no longer open.
func ended(before, after []open) (words []string) {
	for _, o := range before {
		if !slices.ContainsFunc(after, func(still open) bool { return still.Name == o.Name }) {
			words = append(words, o.Words)
		}
	}
	return words
}

// canCure tells that something was found which can be put right on the spot.
func (d *Desk) canCure(step *pb.CheckStep, r *pb.Result, findings []*pb.Finding) bool {
	if r.GetNotChecked() != nil {
		return false
	}
	for _, f := range findings {
		if d.scene.curable[f.GetFault()] {
			return true
		}
	}
	for _, c := range slices.Concat(r.GetSeen().GetConditions(), r.GetAlsoSeen()) {
		if known := conditionOf(step, c.GetCondition()); d.scene.curable[known.GetFault()] {
			return true
		}
	}
	return false
}
