package round

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

func TestPressed_MakesANumberAsItIsTyped(t *testing.T) {
	for _, tc := range []struct {
		keys, want string
		value      float64 // when it is a number
		number     bool
	}{
		{"", "", 0, false},
		{"8", "8", 8, true},
		{"8.", "8.", 0, false},
		{"8.4", "8.4", 8.4, true},
		{"8.40", "8.40", 8.4, true},
		{".5", ".5", 0.5, true},
		{".", ".", 0, false},
		{"8..4", "8.4", 8.4, true},
		{"8.4.1", "8.41", 8.41, true},
		{"-12", "-12", -12, true},
		{"12-", "-12", -12, true},
		{"12--", "12", 12, true},
		{"-", "-", 0, false},
		{"-.5", "-.5", -0.5, true},
		{"0042", "0042", 42, true},
		{"84B", "8", 8, true},
		{"8B", "", 0, false},
		{"BBB", "", 0, false},
		{"84C", "", 0, false},
		{"84C5", "5", 5, true},
		{"1234567890", "123456789", 123456789, true},
	} {
		text := ""
		for _, key := range tc.keys {
			name := map[rune]string{'B': "back", 'C': "clear"}[key]
			if name == "" {
				name = string(key)
			}
			var ok bool
			if text, ok = pressed(text, name); !ok {
				t.Fatalf("%s: there is no key %q", tc.keys, name)
			}
		}
		x, isNumber := number(text)
		if text != tc.want || isNumber != tc.number || x != tc.value {
			t.Errorf("keys %s give %q = %v (%t), want %q = %v (%t)", tc.keys, text, x, isNumber, tc.want, tc.value, tc.number)
		}
	}
	for _, key := range []string{"", "x", "10", "+", "e", "٣", ","} {
		if text, ok := pressed("8", key); ok || text != "8" {
			t.Errorf("key %q makes %q", key, text)
		}
	}
}

func FuzzNumber(f *testing.F) {
	for _, text := range []string{"8.4", "-.5", "1e3", "0x1p-2", "Inf", "NaN", "1_0", "+1", "--1", "8.", "", "-"} {
		f.Add(text)
	}
	plain := regexp.MustCompile(`^-?([0-9]+(\.[0-9]+)?|\.[0-9]+)$`)
	f.Fuzz(func(t *testing.T, text string) {
		x, ok := number(text)
		want, err := strconv.ParseFloat(text, 64)
		if should := plain.MatchString(text) && err == nil; ok != should || ok && x != want {
			t.Errorf("%q is %v (%t), want %v (%t)", text, x, ok, want, should)
		}
	})
}

// steps of each kind.
var (
	pressureStep = &pb.CheckStep{
		StepId: "TYR-010/axle-1-nearside", AnswerKind: pb.AnswerKind_ANSWER_KIND_READING, Units: []string{"bar"}, Axle: 1,
		Parts: []*pb.ReadingPart{{
			Id: "pressure", Title: "cold pressure", Quantity: pb.Quantity_QUANTITY_PRESSURE, UsualUnit: "bar",
			Plausible: &pb.Range{Least: 500, Greatest: 1000}, Possible: &pb.Range{Least: 0, Greatest: 1200},
		}},
		Conditions: []*pb.Condition{{Id: "03", Text: "valve leaks", Meaning: &pb.Condition_Fault{Fault: "TYR-010-03"}}},
	}
	hoursStep = &pb.CheckStep{
		StepId: "INS-050/driver-seat", AnswerKind: pb.AnswerKind_ANSWER_KIND_READING, Units: []string{"km", "h"},
		Parts: []*pb.ReadingPart{
			{Id: "odometer", Title: "kilometres", Quantity: pb.Quantity_QUANTITY_DISTANCE},
			{Id: "engine_hours", Title: "engine hours", Quantity: pb.Quantity_QUANTITY_RUNNING_TIME},
		},
	}
	treadStep = &pb.CheckStep{
		StepId: "TYR-030/axle-1-nearside", AnswerKind: pb.AnswerKind_ANSWER_KIND_PROFILE, Units: []string{"mm"},
		Parts: []*pb.ReadingPart{{Id: "tread", Title: "tread depth", Quantity: pb.Quantity_QUANTITY_LENGTH}},
	}
	levelStep = &pb.CheckStep{
		StepId: "FLU-010/engine-oil", AnswerKind: pb.AnswerKind_ANSWER_KIND_LEVEL,
		Conditions: []*pb.Condition{{Id: "02", Text: "milky", Meaning: &pb.Condition_Fault{Fault: "FLU-010-02"}}},
	}
	lampStep = &pb.CheckStep{
		StepId: "LMP-060/stop-nearside", AnswerKind: pb.AnswerKind_ANSWER_KIND_CONDITION, Alike: 16,
		Conditions: []*pb.Condition{
			{Id: "sound", Text: "lit, whole", Meaning: &pb.Condition_Sound{Sound: true}},
			{Id: "01", Text: "out", Meaning: &pb.Condition_Fault{Fault: "LMP-060-01"}},
			{Id: "02", Text: "lens broken", Meaning: &pb.Condition_Fault{Fault: "LMP-060-02"}},
		},
	}
)

// typist makes a draft by a line of acts, each "name value…"; what is refused
// fails the test.
func typist(t *testing.T, step *pb.CheckStep, line ...string) draft {
	t.Helper()
	d := draft{}
	for _, act := range line {
		next, err := edited(d, step, actOf(act))
		if err != nil {
			t.Fatalf("%s: %v", act, err)
		}
		d = next
	}
	return d
}

// actOf reads "name name=value…".
func actOf(text string) Act {
	words := strings.Fields(text)
	a := Act{Name: words[0], Values: map[string]string{}}
	for _, w := range words[1:] {
		name, value, _ := strings.Cut(w, "=")
		a.Values[name] = value
	}
	return a
}

func TestDraft_SaysWhatIsMissing(t *testing.T) {
	for _, tc := range []struct {
		why  string
		step *pb.CheckStep
		acts []string
		want string
	}{
		{"nothing typed", pressureStep, nil, "enter cold pressure"},
		{"half a number", pressureStep, []string{"key key=8", "key key=."}, "enter cold pressure"},
		{"a number", pressureStep, []string{"key key=8"}, ""},
		{"a fault without the number", pressureStep, []string{"see condition=03"}, "enter cold pressure"},
		{"the second of two", hoursStep, []string{"key key=8"}, "enter engine hours"},
		{"no depth", treadStep, nil, "enter 4 depths, outer edge to inner edge"},
		{"three depths", treadStep, []string{"field id=1-1", "key key=9", "field id=1-2", "key key=9", "field id=1-3", "key key=9"}, "enter all 4 depths at place 1"},
		{"no level", levelStep, nil, "set the level"},
		{"a level", levelStep, []string{"level mark=below"}, ""},
		{"no condition", lampStep, nil, "say what you see"},
		{"the sound one", lampStep, []string{"see condition=sound"}, ""},
		{"a fault", lampStep, []string{"see condition=01"}, ""},
		{"an unknown kind", &pb.CheckStep{}, nil, "this step cannot be answered here"},
	} {
		if got := typist(t, tc.step, tc.acts...).hindrance(tc.step); got != tc.want {
			t.Errorf("%s: %q, want %q", tc.why, got, tc.want)
		}
	}
}

// How many show a fault is asked of those faults alone of which rules ask it.
func TestDraft_AsksHowManyShowAFault(t *testing.T) {
	for _, tc := range []struct {
		acts  []string
		asked string // faults, by their last digit
		want  string
	}{
		{[]string{"see condition=sound"}, "12", ""},
		{[]string{"see condition=01"}, "12", "say how many of 16: out"},
		{[]string{"see condition=01"}, "2", ""},
		{[]string{"see condition=01", "count condition=01 affected=3"}, "12", ""},
		{[]string{"see condition=01", "count condition=01 affected=3", "see condition=02"}, "12", "say how many of 16: lens broken"},
		{[]string{"see condition=01", "count condition=01 affected=3", "see condition=02"}, "1", ""},
	} {
		asked := func(fault string) bool { return strings.Contains(tc.asked, fault[len(fault)-1:]) }
		if got := typist(t, lampStep, tc.acts...).lackingCount(lampStep, asked); got != tc.want {
			t.Errorf("%v, asked of %s: %q, want %q", tc.acts, tc.asked, got, tc.want)
		}
	}
}

func TestDraft_RefusesWhatIsNotThere(t *testing.T) {
	for _, tc := range []struct {
		step   *pb.CheckStep
		act    string
		reason string
	}{
		{pressureStep, "field id=tread", "FIELD_UNKNOWN"},
		{lampStep, "key key=8", "FIELD_UNKNOWN"},
		{pressureStep, "key key=x", "KEY_UNKNOWN"},
		{treadStep, "section n=4", "SECTION_UNKNOWN"},
		{treadStep, "section n=0", "SECTION_UNKNOWN"},
		{treadStep, "section n=x", "SECTION_UNKNOWN"},
		{treadStep, "field id=2-1", "FIELD_UNKNOWN"},
		{pressureStep, "section n=1", "SECTION_UNKNOWN"},
		{levelStep, "level mark=full", "LEVEL_UNKNOWN"},
		{levelStep, "level mark=between fraction=1.1", "LEVEL_UNKNOWN"},
		{levelStep, "level mark=between fraction=NaN", "LEVEL_UNKNOWN"},
		{levelStep, "level mark=between fraction=x", "LEVEL_UNKNOWN"},
		{lampStep, "level mark=below", "LEVEL_UNKNOWN"},
		{lampStep, "see condition=09", "CONDITION_UNKNOWN"},
		{lampStep, "count condition=01 affected=1", "COUNT_OF_NOTHING"},
		{levelStep, "note text=" + strings.Repeat("x", 1001), "NOTE_TOO_LONG"},
		{levelStep, "proof text=" + strings.Repeat("x", 41), "PROOF_TOO_LONG"},
	} {
		before := draft{Texts: map[string]string{"pressure": "8"}}
		after, err := edited(before, tc.step, actOf(tc.act))
		var f *fault.Fault
		if !errors.As(err, &f) || f.Reason != tc.reason {
			t.Errorf("%s: %v, want %s", tc.act, err, tc.reason)
		}
		if after.Texts["pressure"] != "8" || len(after.Seen) > 0 || after.Mark != 0 {
			t.Errorf("%s was refused and changed the draft to %+v", tc.act, after)
		}
	}
	seenFirst := typist(t, lampStep, "see condition=01")
	for _, n := range []string{"0", "17", "-1", "x", "99999999999"} {
		if _, err := edited(seenFirst, lampStep, actOf("count condition=01 affected="+n)); err == nil {
			t.Errorf("%s of 16 was taken", n)
		}
	}
	if _, err := edited(typist(t, lampStep, "see condition=sound"), lampStep, actOf("count condition=sound affected=1")); err == nil {
		t.Error("sound was counted")
	}
}

func TestDraft_WhatIsSoundStandsAlone(t *testing.T) {
	for _, tc := range []struct{ acts, want string }{
		{"sound", "lit, whole"},
		{"sound sound", ""},
		{"01", "out"},
		{"01 02", "out; lens broken"},
		{"02 01", "out; lens broken"},
		{"01 sound", "lit, whole"},
		{"01 02 sound", "lit, whole"},
		{"sound 02", "lens broken"},
		{"01 02 01", "lens broken"},
	} {
		d := draft{}
		for _, id := range strings.Fields(tc.acts) {
			var err error
			if d, err = d.withSeen(lampStep, id); err != nil {
				t.Fatal(err)
			}
		}
		if got := d.typedWords(lampStep); got != tc.want {
			t.Errorf("touching %s says %q, want %q", tc.acts, got, tc.want)
		}
	}
}

func TestDraft_SaysTheAnswerAsItWasTyped(t *testing.T) {
	for _, tc := range []struct {
		step *pb.CheckStep
		acts []string
		want string
	}{
		{pressureStep, []string{"key key=8", "key key=.", "key key=4", "key key=0"}, "8.40 bar"},
		{pressureStep, []string{"key key=8", "see condition=03"}, "8 bar; valve leaks"},
		{hoursStep, []string{"key key=9", "field id=engine_hours", "key key=7"}, "kilometres 9 km; engine hours 7 h"},
		{levelStep, []string{"level mark=between fraction=0.8", "see condition=02"}, "between the marks, 80 %; milky"},
		{levelStep, []string{"level mark=above fraction=0.8"}, "above the upper mark"},
		{lampStep, []string{"see condition=01", "count condition=01 affected=3"}, "out (3 of 16)"},
		{levelStep, []string{"level mark=below", "see condition=02", "count condition=02 affected=1"}, "below the lower mark; milky"},
	} {
		if got := typist(t, tc.step, tc.acts...).typedWords(tc.step); got != tc.want {
			t.Errorf("%v says %q, want %q", tc.acts, got, tc.want)
		}
	}
}

// Whatever is touched in whatever order, the answer holds exactly what the driver
// gave: no value, condition or level that was not given, and none left out.
func TestDraft_TheAnswerIsWhatWasGiven(t *testing.T) {
	all := []*pb.CheckStep{pressureStep, hoursStep, treadStep, levelStep, lampStep}
	rapid.Check(t, func(rt *rapid.T) {
		step := rapid.SampledFrom(all).Draw(rt, "step")
		m, d := newModel(), draft{}
		for range rapid.IntRange(0, 30).Draw(rt, "acts") {
			a := anyAct(rt)
			next, err := edited(d, step, a)
			if err == nil {
				m.follow(step, a)
			}
			d = next
		}
		if d.hindrance(step) != "" {
			return
		}
		r := &pb.Result{}
		d.answerInto(r, step)
		if why := m.compare(step, r); why != "" {
			rt.Fatalf("%s: %s\nanswer %v\nmodel %+v", step.GetStepId(), why, r, m)
		}
	})
}

// A tyre has from two to twelve grooves; their depths are spread evenly from the
// outer edge to the inner one, and one groove less takes its depths at every place.
func TestDraft_AsManyGroovesAsTheTyreHas(t *testing.T) {
	step := &pb.CheckStep{AnswerKind: pb.AnswerKind_ANSWER_KIND_PROFILE, Parts: []*pb.ReadingPart{{Id: "tread", UsualUnit: "mm"}}}
	for n := 2; n <= 12; n++ {
		d, err := draft{}.withGrooves(step, n)
		if err != nil {
			t.Fatal(err)
		}
		ids := d.fieldIDs(step, 1)
		if len(ids) != n || d.hindrance(step) != fmt.Sprintf("enter %d depths, outer edge to inner edge", n) {
			t.Fatalf("%d grooves: fields %v, lacks %q", n, ids, d.hindrance(step))
		}
		for i, id := range ids {
			if i == n-1 && d.hindrance(step) == "" {
				t.Errorf("%d grooves: %d depths are enough", n, i)
			}
			d.Texts[id] = "8"
		}
		if d.hindrance(step) != "" {
			t.Errorf("%d grooves: lacks %q", n, d.hindrance(step))
		}
		for i, p := range d.profile(step).GetSections()[0].GetPoints() {
			if want := float64(i) / float64(n-1); math.Abs(p.GetAcross()-want) > 1e-9 {
				t.Errorf("%d grooves: number %d lies at %v, want %v", n, i+1, p.GetAcross(), want)
			}
			if fieldTitle(step, i, n) == "" {
				t.Errorf("%d grooves: number %d has no name", n, i+1)
			}
		}
	}
	d := draft{Texts: map[string]string{"1-1": "8", "1-4": "7", "3-4": "6", "3-10": "5"}, Grooves: 10, Section: 3}
	fewer, err := d.withGrooves(step, 3)
	if err != nil || len(fewer.Texts) != 1 || fewer.Texts["1-1"] != "8" || len(d.Texts) != 4 {
		t.Errorf("%v: of %v is left %v", err, d.Texts, fewer.Texts)
	}
	for _, n := range []int{-1, 0, 1, 13} {
		if _, err := d.withGrooves(step, n); err == nil {
			t.Errorf("%d grooves were taken", n)
		}
	}
}
