package round

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"pgregory.net/rapid"

	pb "bayround/proto/bayround/v1"
)

// model is what a driver has given at one step, told apart from how the draft
// keeps it: each number as a line of keys, each condition as a set.
type model struct {
	section int
	grooves int    // of the tyre
	field   string // touched last
	keys    map[string]string
	touched map[string]bool
	counts  map[string]int
	mark    string
	share   string
	alone   bool
	note    string
}

func newModel() *model {
	return &model{section: 1, grooves: 4, keys: map[string]string{}, touched: map[string]bool{}, counts: map[string]int{}}
}

// anyAct is an act of the pad, the tiles or the slider, fitting or not.
func anyAct(t *rapid.T) Act {
	pick := func(label string, of ...string) string { return rapid.SampledFrom(of).Draw(t, label) }
	switch pick("act", "key", "key", "key", "field", "see", "count", "level", "section", "grooves", "note", "alone") {
	case "key":
		return Act{Name: "key", Values: map[string]string{"key": pick("key", "0", "1", "5", "9", ".", "-", "back", "clear")}}
	case "field":
		return Act{Name: "field", Values: map[string]string{"id": pick("field", "pressure", "odometer", "engine_hours", "1-1", "1-2", "1-3", "1-4", "2-1", "2-2", "2-3", "2-4")}}
	case "see":
		return Act{Name: "see", Values: map[string]string{"condition": pick("condition", "sound", "01", "02", "03")}}
	case "count":
		return Act{Name: "count", Values: map[string]string{"condition": pick("condition", "01", "02", "03"), "affected": pick("affected", "0", "1", "16", "17")}}
	case "level":
		return Act{Name: "level", Values: map[string]string{"mark": pick("mark", "below", "between", "above"), "fraction": pick("fraction", "0", "0.25", "1")}}
	case "section":
		return Act{Name: "section", Values: map[string]string{"n": pick("n", "1", "2", "3")}}
	case "grooves":
		return Act{Name: "grooves", Values: map[string]string{"n": pick("grooves", "1", "2", "3", "5", "12", "13")}}
	case "note":
		return Act{Name: "note", Values: map[string]string{"text": pick("text", "", "wet", "nail")}}
	}
	return Act{Name: "alone", Values: map[string]string{"on": pick("on", "", "1")}}
}

// follow takes an act that was carried out.
func (m *model) follow(step *pb.CheckStep, a Act) {
	v := a.Values
	switch a.Name {
	case "field":
		m.field = v["id"]
	case "section":
		m.section, _ = strconv.Atoi(v["n"])
		m.field = ""
	case "grooves": // a tyre has them all round; what was typed of one that is not there goes
		m.grooves, _ = strconv.Atoi(v["n"])
		m.field = ""
		for id := range m.keys {
			if _, groove, _ := strings.Cut(id, "-"); parsed(groove) > float64(m.grooves) {
				delete(m.keys, id)
			}
		}
	case "key":
		m.key(step, v["key"])
	case "see":
		m.see(step, v["condition"])
	case "count":
		if step.GetAlike() > 1 { // one of one is no count
			m.counts[v["condition"]], _ = strconv.Atoi(v["affected"])
		}
	case "level":
		m.mark, m.share = v["mark"], v["fraction"]
	case "note":
		m.note = v["text"]
	case "alone":
		m.alone = v["on"] != ""
	}
}

// key goes to the field that was touched, or else to the first empty one.
func (m *model) key(step *pb.CheckStep, key string) {
	var ids []string
	for i, p := range step.GetParts() {
		if step.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_READING {
			ids = append(ids, p.GetId())
		} else if i == 0 {
			for g := 1; g <= m.grooves; g++ {
				ids = append(ids, fmt.Sprintf("%d-%d", m.section, g))
			}
		}
	}
	field := m.field
	if !slices.Contains(ids, field) {
		field = ids[len(ids)-1]
		for _, id := range slices.Backward(ids) {
			if m.keys[id] == "" {
				field = id
			}
		}
	}
	m.field = field
	text := m.keys[field]
	switch {
	case key == "clear":
		text = ""
	case key == "back":
		text = text[:max(0, len(text)-1)]
	case key == "-" && strings.HasPrefix(text, "-"):
		text = text[1:]
	case key == "-":
		text = "-" + text
	case key == "." && strings.Contains(text, "."), len(text) >= 9:
	default:
		text += key
	}
	m.keys[field] = text
}

func (m *model) see(step *pb.CheckStep, id string) {
	delete(m.counts, id)
	if m.touched[id] {
		delete(m.touched, id)
		return
	}
	if id == "sound" {
		clear(m.touched)
		clear(m.counts)
	}
	delete(m.touched, "sound")
	m.touched[id] = true
}

// compare says how an answer differs from what was given; empty when it does not.
func (m *model) compare(step *pb.CheckStep, r *pb.Result) string {
	var told []string
	var beside []*pb.ConditionSeen
	switch a := r.GetAnswer().(type) {
	case *pb.Result_Reading:
		for _, v := range a.Reading.GetValues() {
			told = append(told, fmt.Sprintf("%s=%v", v.GetPart(), v.GetAsTyped()))
		}
		beside = r.GetAlsoSeen()
	case *pb.Result_Profile:
		for _, s := range a.Profile.GetSections() {
			for _, p := range s.GetPoints() {
				told = append(told, fmt.Sprintf("%.2f=%v", p.GetAcross(), p.GetAsTyped()))
			}
		}
		beside = r.GetAlsoSeen()
	case *pb.Result_Level:
		told = append(told, fmt.Sprintf("%v %v", a.Level.GetMark(), a.Level.GetFraction()))
		beside = r.GetAlsoSeen()
	case *pb.Result_Seen:
		beside = a.Seen.GetConditions()
	}
	for _, c := range beside {
		told = append(told, fmt.Sprintf("%s %d", c.GetCondition(), c.GetCount().GetAffected()))
	}
	slices.Sort(told)
	if want := m.told(step); !slices.Equal(told, want) {
		return fmt.Sprintf("it says %q, given was %q", told, want)
	}
	if r.GetNote() != m.note || r.GetAloneMethod() != m.alone {
		return fmt.Sprintf("note %q, alone %t", r.GetNote(), r.GetAloneMethod())
	}
	return ""
}

// told is everything that was given, as compare writes it.
func (m *model) told(step *pb.CheckStep) (told []string) {
	switch step.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_READING:
		for _, p := range step.GetParts() {
			told = append(told, fmt.Sprintf("%s=%v", p.GetId(), parsed(m.keys[p.GetId()])))
		}
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		for id, text := range m.keys {
			if text != "" {
				groove, _ := strconv.Atoi(id[2:])
				told = append(told, fmt.Sprintf("%.2f=%v", float64(groove-1)/float64(m.grooves-1), parsed(text)))
			}
		}
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		mark := map[string]pb.LevelMark{"below": 1, "between": 2, "above": 3}[m.mark]
		share := 0.0
		if m.mark == "between" {
			share = parsed(m.share)
		}
		told = append(told, fmt.Sprintf("%v %v", mark, share))
	}
	for id := range m.touched {
		told = append(told, fmt.Sprintf("%s %d", id, m.counts[id]))
	}
	slices.Sort(told)
	return told
}

func parsed(text string) float64 {
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		panic(err)
	}
	return x
}
