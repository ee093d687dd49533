package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

// act is one thing a driver does, in the order of the plan.
type act struct {
	step   *pb.CheckStep
	begin  bool       // say that the step is begun
	result *pb.Result // record it; without device time, which the round's opening gives
	pause  *pauseFile // interrupt the round
}

// script works out everything that will be done before anything is: what stands
// in the file, for the steps that the plan really has. Ids follow from the key
// alone, so that doing it again does nothing twice.
func (r *roundFile) script(plan *pb.Plan, vehicle *pb.VehicleConfiguration) ([]act, error) {
	var acts []act
	var wrong []string
	used := map[*stepFile]bool{}
	for _, step := range plan.GetSteps() {
		said := r.saidOf(step)
		used[said] = true
		if said == nil && r.sound {
			said = &stepFile{given: []*givenFile{{}}}
		}
		if said == nil || said.skip {
			continue
		}
		more, err := r.actsOf(step, said, vehicle)
		if err != nil {
			wrong = append(wrong, err.Error())
		}
		acts = append(acts, more...)
		if said.pause != nil && !said.pause.resume {
			break
		}
	}
	for word, said := range r.steps {
		if !used[said] && !r.overruled(word, plan) {
			wrong = append(wrong, r.at(said.key, "%s asks for no %s; server show %s --routine %s lists what it asks for",
				plan.GetRoutine(), word, r.vehicle, strings.TrimPrefix(r.routine, "routines/")))
		}
	}
	if len(wrong) > 0 {
		return nil, command.MisusedBy(errors.New(strings.Join(wrong, "\n")))
	}
	return acts, nil
}

// saidOf is what the file says of a step: of the step itself, else of its item.
func (r *roundFile) saidOf(step *pb.CheckStep) *stepFile {
	if said := r.steps[step.GetStepId()]; said != nil {
		return said
	}
	return r.steps[step.GetItem()]
}

// overruled reports whether an entry is in the plan after all: an item of whose
// steps each has an entry of its own, or a step after a pause that stays.
func (r *roundFile) overruled(word string, plan *pb.Plan) bool {
	for _, step := range plan.GetSteps() {
		if step.GetItem() == word || step.GetStepId() == word {
			return true
		}
	}
	return false
}

// actsOf is what is done at one step.
func (r *roundFile) actsOf(step *pb.CheckStep, said *stepFile, vehicle *pb.VehicleConfiguration) ([]act, error) {
	var acts []act
	if said.begin {
		acts = append(acts, act{step: step, begin: true})
	}
	previous := ""
	for n, given := range said.given {
		result, err := r.result(step, given, vehicle)
		if err != nil {
			if given.at == nil {
				return nil, fmt.Errorf("%s: %w", r.file, err)
			}
			return nil, errors.New(r.at(given.at, "%v", err))
		}
		result.ResultId = r.id("result", step.GetStepId(), fmt.Sprint(n))
		if result.GetCure() != nil {
			result.Cure.FoundResultId = previous
		}
		previous = result.GetResultId()
		acts = append(acts, act{step: step, result: result})
	}
	if said.pause != nil {
		acts = append(acts, act{step: step, pause: said.pause})
	}
	return acts, nil
}

// id is a UUID that follows from the key of the round and the words alone.
func (r *roundFile) id(words ...string) string {
	space := uuid.NewSHA1(uuid.NameSpaceURL, []byte("bayround:player:"+r.key))
	return uuid.NewSHA1(space, []byte(strings.Join(words, "\n"))).String()
}

// roundName is the name of the round.
func (r *roundFile) roundName() string { return "rounds/" + r.id("round") }

// result is one answer as it is sent.
func (r *roundFile) result(step *pb.CheckStep, given *givenFile, vehicle *pb.VehicleConfiguration) (*pb.Result, error) {
	result := &pb.Result{
		StepId: step.GetStepId(), Person: r.driver, Device: r.device,
		Confirmed: given.confirmed, Note: given.note, LeftOpen: given.leftOpen, Correction: given.correction,
		LookedS: float64(step.GetLeastLookS()) + 1,
	}
	if given.looked != nil {
		result.LookedS = given.looked.Seconds()
	}
	if given.cure != nil {
		result.Cure = &pb.Cure{Done: given.cure.GetDone(), Amount: given.cure.GetAmount(), Unit: given.cure.GetUnit()}
	}
	if err := r.answer(result, step, given, vehicle); err != nil {
		return nil, err
	}
	beside, err := conditions(step, given.alsoSeen)
	if err != nil {
		return nil, err
	}
	result.AlsoSeen = beside.GetConditions()
	if result.GetReading() != nil || result.GetProfile() != nil {
		result.Gauge = given.gauge
		for _, part := range step.GetParts() {
			if result.GetGauge() == "" {
				result.Gauge = r.gauges[part.GetQuantity()]
			}
		}
	}
	return result, nil
}

// answer puts what the file says into a result.
func (r *roundFile) answer(into *pb.Result, step *pb.CheckStep, given *givenFile, vehicle *pb.VehicleConfiguration) error {
	switch {
	case given.sound():
		return r.soundAnswer(into, step, vehicle)
	case given.notChecked != 0:
		into.Answer = &pb.Result_NotChecked{NotChecked: &pb.NotChecked{Reason: given.notChecked}}
	case given.level != nil:
		into.Answer = &pb.Result_Level{Level: given.level}
	case given.profile != nil:
		into.Answer = &pb.Result_Profile{Profile: given.profile}
	case given.seen != nil:
		seen, err := conditions(step, given.seen)
		into.Answer = &pb.Result_Seen{Seen: seen}
		return err
	default:
		reading, err := readingOf(step, given.reading)
		into.Answer = &pb.Result_Reading{Reading: reading}
		return err
	}
	return nil
}

// readingOf sorts the values of a reading into the parts of a step.
func readingOf(step *pb.CheckStep, values map[string]amount) (*pb.Reading, error) {
	reading := &pb.Reading{}
	if only, ok := values[""]; ok {
		if len(step.GetParts()) != 1 {
			return nil, fmt.Errorf("%s reads %s; say which part each value is of", step.GetStepId(), partWords(step))
		}
		values = map[string]amount{step.GetParts()[0].GetId(): only}
	}
	for _, part := range step.GetParts() {
		if value, ok := values[part.GetId()]; ok {
			reading.Values = append(reading.Values, &pb.Value{Part: part.GetId(), AsTyped: value.value, Unit: value.unit})
		}
	}
	if len(reading.GetValues()) != len(values) || len(values) != len(step.GetParts()) {
		return nil, fmt.Errorf("%s reads %s, each once", step.GetStepId(), partWords(step))
	}
	return reading, nil
}

func partWords(step *pb.CheckStep) string {
	var ids []string
	for _, part := range step.GetParts() {
		ids = append(ids, part.GetId())
	}
	if len(ids) == 0 {
		return "nothing off an instrument"
	}
	return strings.Join(ids, ", ")
}
