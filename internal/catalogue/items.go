package catalogue

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// inspector gathers what is wrong with one loaded resource.
type inspector struct {
	loaded   *Loaded
	name     string // resource name, as Place knows it
	problems Problems
}

// wrong notes a problem at a path within the resource.
func (in *inspector) wrong(path, wrong, right string) {
	file, line, column := in.loaded.Place(in.name, path)
	in.problems = append(in.problems, Problem{
		File: file, Line: line, Column: column, Path: join(in.name, path), Wrong: wrong, Right: right,
	})
}

// checkCatalogue checks what the catalogue says of itself. Unless the whole set
// could be read, nothing is said of what seems missing.
func (l *Loaded) checkCatalogue(whole bool) Problems {
	if l.Catalogue == nil {
		return nil
	}
	in := &inspector{loaded: l, name: catalogueName}
	stops := in.checkStops()
	first := map[string]int{}
	for i, item := range l.Catalogue.GetItems() {
		path := fmt.Sprintf("items[%d]", i)
		if before, known := first[item.GetId()]; known && item.GetId() != "" {
			in.again(path, "item "+item.GetId(), fmt.Sprintf("items[%d]", before))
			continue
		}
		first[item.GetId()] = i
		if whole && item.GetStop() != "" && !slices.Contains(stops, item.GetStop()) {
			in.wrong(path+".stop", fmt.Sprintf("%s stands at the stop %s, which the catalogue does not have", item.GetId(), shown(item.GetStop())), suggestion(item.GetStop(), stops))
		}
		in.checkItem(path, item)
	}
	in.checkCircuits(whole)
	in.checkAfter(whole)
	return in.problems
}

// again complains about the second thing of one name, and says where the first is.
func (in *inspector) again(path, name, first string) {
	file, line, _ := in.loaded.Place(in.name, first)
	in.wrong(path, fmt.Sprintf("%s is given twice, first at %s:%d", name, file, line), "keep one of them, or give one another name")
}

// checkStops checks that ids and orders of stops are unlike, and lists the ids.
func (in *inspector) checkStops() []string {
	var ids []string
	places, orders := map[string]string{}, map[int32]string{}
	for i, stop := range in.loaded.Catalogue.GetStops() {
		path := fmt.Sprintf("stops[%d]", i)
		if before, known := places[stop.GetId()]; known {
			in.again(path, "stop "+stop.GetId(), before)
			continue
		}
		if before, known := orders[stop.GetOrder()]; known {
			in.wrong(path+".order", fmt.Sprintf("stops %s and %s both have order %d", before, stop.GetId(), stop.GetOrder()), "number the stops in walking order, each once")
		}
		places[stop.GetId()], orders[stop.GetOrder()] = path, stop.GetId()
		ids = append(ids, stop.GetId())
	}
	return ids
}

// checkItem checks one item by itself.
func (in *inspector) checkItem(path string, item *pb.Item) {
	in.checkFaults(path, item)
	in.checkConditions(path, item)
	in.checkParts(path, item)
	in.checkPrompts(path, item)
	lamps := item.GetRepeatOver() == pb.RepeatOver_REPEAT_OVER_LAMPS
	switch {
	case lamps && len(item.GetLampFunctions()) == 0:
		in.wrong(path+".repeat_over", item.GetId()+" is repeated over lamps and names no lamp function", "list the functions it looks at under lamp_functions")
	case !lamps && len(item.GetLampFunctions()) > 0:
		in.wrong(path+".lamp_functions", item.GetId()+" names lamp functions but is not repeated over lamps", "write repeat_over: REPEAT_OVER_LAMPS, or take the functions away")
	}
	if item.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_LEVEL && item.GetFluid() == pb.FluidKind_FLUID_KIND_UNSPECIFIED {
		in.wrong(path+".answer_kind", item.GetId()+" asks for a level and does not say of which fluid", "add fluid, such as FLUID_KIND_COOLANT")
	}
	if item.GetMustNotMiss() && item.GetLeastLookS() == 0 {
		in.wrong(path+".must_not_miss", item.GetId()+" must not be missed and has no least time of looking", "add least_look_s, in seconds")
	}
}

// checkFaults checks that faults belong to their item and are there once.
func (in *inspector) checkFaults(path string, item *pb.Item) {
	seen := map[string]string{}
	for i, fault := range item.GetFaults() {
		at := fmt.Sprintf("%s.faults[%d]", path, i)
		if !strings.HasPrefix(fault.GetId(), item.GetId()+"-") && fault.GetId() != "" {
			in.wrong(at+".id", fmt.Sprintf("fault %s stands under item %s", fault.GetId(), item.GetId()), "a fault's id is its item's with two digits: "+item.GetId()+"-01")
		}
		if before, known := seen[fault.GetId()]; known {
			in.again(at, "fault "+fault.GetId(), before)
			continue
		}
		seen[fault.GetId()] = at
	}
}

// checkConditions checks that every condition but a sound one stands for a fault
// of its own. Of an item that asks for conditions exactly one is sound and no
// fault is left over; beside a value none is sound, and rules name the other faults.
func (in *inspector) checkConditions(path string, item *pb.Item) {
	sound, keyed := in.checkKeys(path, item)
	asked := item.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_CONDITION
	switch {
	case !asked && len(sound) > 0:
		for _, at := range sound {
			in.wrong(at+".sound", item.GetId()+" asks for a value, and one of its conditions is sound", "take it away: beside a value, no condition given means that none was seen")
		}
		return
	case !asked:
		return
	case len(sound) > 1 && slices.Contains(item.GetTriggers(), pb.Trigger_TRIGGER_AFTER_WHEEL_FITTED): // done, or nothing was to be done
	case len(sound) != 1:
		in.wrong(path+".conditions", fmt.Sprintf("%s has %s", item.GetId(), count(len(sound), "sound condition")), "mark exactly one with sound: true")
	}
	for i, fault := range item.GetFaults() {
		if keyed[fault.GetId()] == "" && fault.GetId() != "" {
			in.wrong(fmt.Sprintf("%s.faults[%d].id", path, i), fmt.Sprintf("no condition of %s stands for fault %s", item.GetId(), fault.GetId()), "add a condition that says what is seen, with this fault")
		}
	}
}

// checkKeys checks ids and faults of an item's conditions, and returns the places
// of the sound ones and the condition that each fault is keyed to.
func (in *inspector) checkKeys(path string, item *pb.Item) (sound []string, keyed map[string]string) {
	own, ids := map[string]bool{}, map[string]string{}
	for _, fault := range item.GetFaults() {
		own[fault.GetId()] = true
	}
	keyed = map[string]string{}
	for i, condition := range item.GetConditions() {
		at := fmt.Sprintf("%s.conditions[%d]", path, i)
		if before, known := ids[condition.GetId()]; known {
			in.again(at, "condition "+shown(condition.GetId())+" of "+item.GetId(), before)
		}
		ids[condition.GetId()] = at
		fault := condition.GetFault()
		switch before, known := keyed[fault]; {
		case condition.GetSound():
			sound = append(sound, at)
		case fault == "":
		case !own[fault]:
			in.wrong(at+".fault", fmt.Sprintf("condition %s stands for %s, which is no fault of %s", shown(condition.GetId()), fault, item.GetId()), "name one of its own faults, or add the fault to the item")
		case known:
			in.wrong(at+".fault", fmt.Sprintf("conditions %s and %s both stand for %s", before, shown(condition.GetId()), fault), "give each fault one condition")
		default:
			keyed[fault] = shown(condition.GetId())
		}
	}
	return sound, keyed
}

// checkParts checks that the values asked for suit the kind of answer.
func (in *inspector) checkParts(path string, item *pb.Item) {
	parts, kind := item.GetParts(), item.GetAnswerKind()
	switch {
	case kind == pb.AnswerKind_ANSWER_KIND_READING && len(parts) == 0:
		in.wrong(path+".answer_kind", item.GetId()+" asks for a reading and says of nothing", "list its values under parts")
	case kind == pb.AnswerKind_ANSWER_KIND_PROFILE && (len(parts) != 1 || parts[0].GetQuantity() != pb.Quantity_QUANTITY_LENGTH):
		in.wrong(path+".answer_kind", item.GetId()+" asks for a profile, which has one part, a length", "give one part with QUANTITY_LENGTH")
	case len(parts) > 0 && (kind == pb.AnswerKind_ANSWER_KIND_LEVEL || kind == pb.AnswerKind_ANSWER_KIND_CONDITION):
		in.wrong(path+".parts", item.GetId()+" lists parts, which only readings and profiles have", "take them away, or change answer_kind")
	}
	seen := map[string]string{}
	for i, part := range parts {
		at := fmt.Sprintf("%s.parts[%d]", path, i)
		if before, known := seen[part.GetId()]; known {
			in.again(at, "part "+shown(part.GetId())+" of "+item.GetId(), before)
		}
		seen[part.GetId()] = at
		in.checkPart(at, item.GetId(), part)
	}
}

// checkPart checks one value's ranges and unit.
func (in *inspector) checkPart(path, item string, part *pb.ReadingPart) {
	plausible, possible := part.GetPlausible(), part.GetPossible()
	if plausible != nil && possible != nil && (plausible.GetLeast() < possible.GetLeast() || plausible.GetGreatest() > possible.GetGreatest()) {
		in.wrong(path+".plausible", fmt.Sprintf("%s of %s is plausible from %v to %v but possible only from %v to %v", part.GetId(), item,
			plausible.GetLeast(), plausible.GetGreatest(), possible.GetLeast(), possible.GetGreatest()), "what is plausible must be possible: widen possible or narrow plausible")
	}
	kept := UnitOf(part.GetQuantity())
	if kept == "" || part.GetUsualUnit() == "" {
		return
	}
	if _, err := measure.Convert(1, part.GetUsualUnit(), kept); err != nil {
		in.wrong(path+".usual_unit", fmt.Sprintf("%s of %s is entered in %s, which cannot be turned into %s", part.GetId(), item, shown(part.GetUsualUnit()), kept),
			"write "+either(measure.Units(kept)))
	}
}

// promptWord finds what is filled into a prompt.
var promptWord = regexp.MustCompile(`\{[^{}]*\}?|\}`)

// checkPrompts checks that the texts an item tells people ask only for words that
// can be filled in, and that only an item that needs an assistant speaks of one.
func (in *inspector) checkPrompts(path string, item *pb.Item) {
	known := []string{"{place}", "{target}", "{unit}", "{reading_method}"}
	for _, text := range []struct{ field, words string }{
		{"prompt", item.GetPrompt()}, {"alone_prompt", item.GetAlonePrompt()}, {"assistant_command", item.GetAssistantCommand()},
	} {
		for _, word := range promptWord.FindAllString(text.words, -1) {
			if !slices.Contains(known, word) {
				in.wrong(path+"."+text.field, fmt.Sprintf("the %s of %s holds %s", strings.ReplaceAll(text.field, "_", " "), item.GetId(), shown(word)), "only "+either(known)+" can be filled in")
			}
		}
	}
	if item.GetState().GetAssistant() {
		return
	}
	if item.GetAlonePrompt() != "" {
		in.wrong(path+".alone_prompt", item.GetId()+" says how it is looked at without an assistant and needs none", "take it away, or write assistant: true under state")
	}
	if item.GetAssistantCommand() != "" {
		in.wrong(path+".assistant_command", item.GetId()+" has a command for an assistant and needs none", "take it away, or write assistant: true under state")
	}
}
