package catalogue

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// soundCatalogue is a small catalogue that nothing is wrong with.
const soundCatalogue = `catalogue:
  version: "1"
  stops:
    - id: front
      order: 0
      title: Front
    - id: rear
      order: 1
      title: Rear
  items:
    - id: FLU-010
      stop: front
      family: Fluids
      title: Oil
      prompt: Read the level {reading_method}.
      answer_kind: ANSWER_KIND_LEVEL
      faults:
        - {id: FLU-010-01, text: low, driver_does: Fill., source: us}
      state: {engine: ENGINE_STATE_COLD}
      position: POSITION_ENGINE_FLAP
      fits_any: [powered]
      repeat_over: REPEAT_OVER_ONCE
      fluid: FLUID_KIND_ENGINE_OIL
      triggers: [TRIGGER_SHIFT]
      must_not_miss: true
      least_look_s: 5
      good_for: 14h
      source: us
    - id: LMP-010
      stop: rear
      family: Lamps
      title: Lamps
      prompt: "{place}: look."
      answer_kind: ANSWER_KIND_CONDITION
      conditions:
        - {id: sound, text: lights, sound: true}
        - {id: "01", text: out, fault: LMP-010-01}
        - {id: "02", text: dim, fault: LMP-010-02}
      faults:
        - {id: LMP-010-01, text: out, driver_does: Mend., source: us}
        - {id: LMP-010-02, text: dim, driver_does: Mend., source: us}
      state: {engine: ENGINE_STATE_OFF}
      position: POSITION_OUTSIDE
      fits_any: [powered]
      repeat_over: REPEAT_OVER_LAMPS
      lamp_functions: [LAMP_FUNCTION_STOP]
      triggers: [TRIGGER_SHIFT]
      good_for: 14h
      source: us
    - id: TYR-010
      stop: rear
      family: Tyres
      title: Pressure
      prompt: "{place}: read it; placard {target} {unit}."
      answer_kind: ANSWER_KIND_READING
      parts:
        - id: pressure
          title: pressure
          quantity: QUANTITY_PRESSURE
          plausible: {least: 100, greatest: 1100}
          possible: {least: 0, greatest: 1300}
          usual_unit: bar
      state: {engine: ENGINE_STATE_OFF}
      position: POSITION_OUTSIDE
      fits_any: [powered]
      repeat_over: REPEAT_OVER_ALL_WHEELS
      triggers: [TRIGGER_WEEKLY]
      good_for: 192h
      source: us
`

// changed is text with each old replaced by its new; an old that is not there
// once fails the test, so that no row tests nothing.
func changed(t *testing.T, text string, pairs ...string) string {
	t.Helper()
	for i := 0; i+1 < len(pairs); i += 2 {
		if strings.Count(text, pairs[i]) == 0 {
			t.Fatalf("%q is not in the text", pairs[i])
		}
		text = strings.Replace(text, pairs[i], pairs[i+1], 1)
	}
	return text
}

func TestLoad_SoundCatalogueIsTaken(t *testing.T) {
	loaded, err := Load([]File{{Name: "f.yaml", Content: []byte(soundCatalogue)}})
	if err != nil {
		t.Fatal(err)
	}
	if got := len(loaded.Catalogue.GetItems()); got != 3 {
		t.Errorf("%d items, want 3", got)
	}
}

// beside gives the level of soundCatalogue conditions beside its value.
func beside(conditions string) []string {
	return []string{"answer_kind: ANSWER_KIND_LEVEL\n", "answer_kind: ANSWER_KIND_LEVEL\n      conditions: [" + conditions + "]\n"}
}

// oneMoreFault gives the level of soundCatalogue a second fault.
var oneMoreFault = []string{"      faults:\n", "      faults:\n        - {id: FLU-010-02, text: milky, driver_does: Tell., source: us}\n"}

// assisted makes the level of soundCatalogue one that needs an assistant.
func assisted(command, alone string) []string {
	return []string{
		"state: {engine: ENGINE_STATE_COLD}\n",
		"state: {engine: ENGINE_STATE_COLD, assistant: true}\n      assistant_command: \"" + command + "\"\n      alone_prompt: \"" + alone + "\"\n",
	}
}

// Beside a value some faults can be seen, others are named by rules alone; and
// what an assistant is told may speak of the place as a prompt does.
func TestLoad_TakesWhatStandsBesideAValue(t *testing.T) {
	for name, changes := range map[string][]string{
		"every fault can be seen":         beside("{id: low, text: low, fault: FLU-010-01}"),
		"one of two can be seen":          append(beside("{id: milky, text: milky, fault: FLU-010-02}"), oneMoreFault...),
		"a command and a way to do alone": assisted("Watch {place}.", "Look at {place} in a window; it reads {reading_method}."),
	} {
		t.Run(name, func(t *testing.T) {
			loaded, err := Load([]File{{Name: "f.yaml", Content: []byte(changed(t, soundCatalogue, changes...))}})
			if err != nil {
				t.Fatal(err)
			}
			item := loaded.Catalogue.GetItems()[0]
			if len(item.GetConditions()) == 0 && (item.GetAlonePrompt() == "" || item.GetAssistantCommand() == "") {
				t.Errorf("%s lost what was added to it: %v", item.GetId(), item)
			}
		})
	}
}

func TestLoad_ChecksItems(t *testing.T) {
	for _, tc := range []struct {
		name    string
		changes []string
		want    []string
	}{
		{"stop unknown", []string{"stop: front", "stop: fronnt"}, []string{
			`f.yaml:12:13: FLU-010 stands at the stop "fronnt", which the catalogue does not have; did you mean front?`,
		}},
		{"stop twice", []string{"id: rear\n      order: 1", "id: front\n      order: 1", "stop: rear", "stop: front", "stop: rear", "stop: front"}, []string{
			`f.yaml:7:7: stop front is given twice, first at f.yaml:4; keep one of them, or give one another name`,
		}},
		{"order twice", []string{"order: 1", "order: 0"}, []string{
			`f.yaml:8:14: stops front and rear both have order 0; number the stops in walking order, each once`,
		}},
		{"item twice", []string{"id: TYR-010", "id: FLU-010"}, []string{
			`f.yaml:50:7: item FLU-010 is given twice, first at f.yaml:11; keep one of them, or give one another name`,
		}},
		{"fault of another item", []string{"{id: FLU-010-01", "{id: FLU-011-01"}, []string{
			`f.yaml:18:16: fault FLU-011-01 stands under item FLU-010; a fault's id is its item's with two digits: FLU-010-01`,
		}},
		{"fault twice", []string{"{id: LMP-010-02, text: dim, driver", "{id: LMP-010-01, text: dim, driver", `{id: "02", text: dim, fault: LMP-010-02}`, `{id: "02", text: dim, fault: LMP-010-03}`}, []string{
			`f.yaml:38:40: condition "02" stands for LMP-010-03, which is no fault of LMP-010; name one of its own faults, or add the fault to the item`,
			`f.yaml:41:11: fault LMP-010-01 is given twice, first at f.yaml:40; keep one of them, or give one another name`,
		}},
		{"fault without condition", []string{`        - {id: "02", text: dim, fault: LMP-010-02}` + "\n", ""}, []string{
			`f.yaml:40:16: no condition of LMP-010 stands for fault LMP-010-02; add a condition that says what is seen, with this fault`,
		}},
		{"two conditions for one fault", []string{"fault: LMP-010-02}", "fault: LMP-010-01}"}, []string{
			`f.yaml:38:40: conditions "01" and "02" both stand for LMP-010-01; give each fault one condition`,
			`f.yaml:41:16: no condition of LMP-010 stands for fault LMP-010-02; add a condition that says what is seen, with this fault`,
		}},
		{"no sound condition", []string{`        - {id: sound, text: lights, sound: true}` + "\n", ""}, []string{
			`f.yaml:35:7: LMP-010 has 0 sound conditions; mark exactly one with sound: true`,
		}},
		{"two sound conditions", []string{`{id: "01", text: out, fault: LMP-010-01}`, `{id: sound, text: out, sound: true}`}, []string{
			`f.yaml:35:7: LMP-010 has 2 sound conditions; mark exactly one with sound: true`,
			`f.yaml:37:11: condition "sound" of LMP-010 is given twice, first at f.yaml:36; keep one of them, or give one another name`,
			`f.yaml:40:16: no condition of LMP-010 stands for fault LMP-010-01; add a condition that says what is seen, with this fault`,
		}},
		{"sound beside a value", beside("{id: low, text: low, sound: true}"), []string{
			`f.yaml:17:48: FLU-010 asks for a value, and one of its conditions is sound; take it away: beside a value, no condition given means that none was seen`,
		}},
		{"another's fault beside a value", beside("{id: low, text: low, fault: LMP-010-01}"), []string{
			`f.yaml:17:48: condition "low" stands for LMP-010-01, which is no fault of FLU-010; name one of its own faults, or add the fault to the item`,
		}},
		{"one fault twice beside a value", beside("{id: low, text: low, fault: FLU-010-01}, {id: dry, text: dry, fault: FLU-010-01}"), []string{
			`f.yaml:17:89: conditions "low" and "dry" both stand for FLU-010-01; give each fault one condition`,
		}},
		{"one id twice beside a value", append(beside("{id: low, text: low, fault: FLU-010-01}, {id: low, text: milky, fault: FLU-010-02}"), oneMoreFault...), []string{
			`f.yaml:17:61: condition "low" of FLU-010 is given twice, first at f.yaml:17; keep one of them, or give one another name`,
		}},
		{"alone where no assistant is needed", []string{"state: {engine: ENGINE_STATE_COLD}", "state: {engine: ENGINE_STATE_COLD}\n      alone_prompt: In the mirror."}, []string{
			`f.yaml:20:21: FLU-010 says how it is looked at without an assistant and needs none; take it away, or write assistant: true under state`,
		}},
		{"a command to nobody", []string{"state: {engine: ENGINE_STATE_COLD}", "state: {engine: ENGINE_STATE_COLD}\n      assistant_command: Hold."}, []string{
			`f.yaml:20:26: FLU-010 has a command for an assistant and needs none; take it away, or write assistant: true under state`,
		}},
		{"a command with an unknown word", assisted("Press {pedal}.", "Watch a window."), []string{
			`f.yaml:20:26: the assistant command of FLU-010 holds "{pedal}"; only {place}, {target}, {unit} or {reading_method} can be filled in`,
		}},
		{"alone with an unknown word", assisted("Press.", "Watch {lamp}."), []string{
			`f.yaml:21:21: the alone prompt of FLU-010 holds "{lamp}"; only {place}, {target}, {unit} or {reading_method} can be filled in`,
		}},
		{"lamps without function", []string{"      lamp_functions: [LAMP_FUNCTION_STOP]\n", ""}, []string{
			`f.yaml:45:20: LMP-010 is repeated over lamps and names no lamp function; list the functions it looks at under lamp_functions`,
		}},
		{"function without lamps", []string{"REPEAT_OVER_LAMPS", "REPEAT_OVER_ONCE"}, []string{
			`f.yaml:46:7: LMP-010 names lamp functions but is not repeated over lamps; write repeat_over: REPEAT_OVER_LAMPS, or take the functions away`,
		}},
		{"level of nothing", []string{"      fluid: FLUID_KIND_ENGINE_OIL\n", ""}, []string{
			`f.yaml:16:20: FLU-010 asks for a level and does not say of which fluid; add fluid, such as FLUID_KIND_COOLANT`,
		}},
		{"must not be missed", []string{"      least_look_s: 5\n", ""}, []string{
			`f.yaml:25:22: FLU-010 must not be missed and has no least time of looking; add least_look_s, in seconds`,
		}},
		{"reading of nothing", []string{"ANSWER_KIND_CONDITION", "ANSWER_KIND_READING"}, []string{
			`f.yaml:34:20: LMP-010 asks for a reading and says of nothing; list its values under parts`,
			`f.yaml:36:44: LMP-010 asks for a value, and one of its conditions is sound; take it away: beside a value, no condition given means that none was seen`,
		}},
		{"profile of a pressure", []string{"ANSWER_KIND_READING", "ANSWER_KIND_PROFILE"}, []string{
			`f.yaml:55:20: TYR-010 asks for a profile, which has one part, a length; give one part with QUANTITY_LENGTH`,
		}},
		{"parts of a level", []string{"ANSWER_KIND_READING", "ANSWER_KIND_LEVEL", "REPEAT_OVER_ALL_WHEELS", "REPEAT_OVER_ONCE\n      fluid: FLUID_KIND_FUEL"}, []string{
			`f.yaml:56:7: TYR-010 lists parts, which only readings and profiles have; take them away, or change answer_kind`,
		}},
		{"plausible beyond possible", []string{"greatest: 1100", "greatest: 1400"}, []string{
			`f.yaml:60:11: pressure of TYR-010 is plausible from 100 to 1400 but possible only from 0 to 1300; what is plausible must be possible: widen possible or narrow plausible`,
		}},
		{"unit of something else", []string{"usual_unit: bar", "usual_unit: mm"}, []string{
			`f.yaml:62:23: pressure of TYR-010 is entered in "mm", which cannot be turned into kPa; write kPa, bar, psi, mbar, kgf/cm2, atm or inHg`,
		}},
		{"part twice", []string{"          usual_unit: bar\n", "          usual_unit: bar\n        - {id: pressure, title: again, quantity: QUANTITY_COUNT, plausible: {least: 0, greatest: 1}, possible: {least: 0, greatest: 1}, usual_unit: \"1\"}\n"}, []string{
			`f.yaml:63:11: part "pressure" of TYR-010 is given twice, first at f.yaml:57; keep one of them, or give one another name`,
		}},
		{"prompt with an unknown word", []string{"{reading_method}", "{method}"}, []string{
			`f.yaml:15:15: the prompt of FLU-010 holds "{method}"; only {place}, {target}, {unit} or {reading_method} can be filled in`,
		}},
	} {
		t.Run(tc.name, func(t *testing.T) { refused(t, changed(t, soundCatalogue, tc.changes...), tc.want...) })
	}
}

const soundPack = `rule_packs:
  - name: packs/a
    version: "1"
    title: A
    authority: us
    rules:
      - {id: r1, scope: RULE_SCOPE_RESULT, faults: [LMP-010-01], grade: GRADE_MINOR, effect: EFFECT_NOTHING, text: out, source: {title: us, status: SOURCE_STATUS_COMMON_PRACTICE}}
`

func TestLoad_PutsFragmentsTogether(t *testing.T) {
	head, items, _ := strings.Cut(soundCatalogue, "  items:\n")
	second := changed(t, soundPack, "r1", "r2")
	loaded, err := Load([]File{
		{Name: "b.yaml", Content: []byte("catalogue:\n  version: \"1\"\n  items:\n" + items + soundPack)},
		{Name: "a.yaml", Content: []byte(head + second)},
	})
	if err != nil {
		t.Fatal(err)
	}
	if got := len(loaded.Catalogue.GetItems()) + len(loaded.Catalogue.GetStops()); got != 5 {
		t.Errorf("%d stops and items, want 5", got)
	}
	if len(loaded.RulePacks) != 1 || len(loaded.RulePacks[0].GetRules()) != 2 || loaded.RulePacks[0].GetRules()[0].GetId() != "r2" {
		t.Errorf("the pack is %v, want one with r2 of a.yaml and r1 of b.yaml", loaded.RulePacks)
	}
}

func TestLoad_RefusesFragmentsThatDisagree(t *testing.T) {
	for _, tc := range []struct {
		name   string
		second string
		want   []string
	}{
		{"versions of the catalogue", changed(t, soundCatalogue[:strings.Index(soundCatalogue, "  stops")], `"1"`, `"2"`), []string{
			`b.yaml:2:12: catalogue has version "2" here and "1" at a.yaml:2; all files of one set that hold parts of catalogue must agree`,
		}},
		{"versions of a pack", changed(t, soundPack, `"1"`, `"2"`, "r1", "r2"), []string{
			`b.yaml:3:14: packs/a has version "2" here and "1" at a.yaml:71; all files of one set that hold parts of packs/a must agree`,
		}},
		{"title and authority of a pack", changed(t, soundPack, "title: A", "title: B", "authority: us", "authority: them", "r1", "r2"), []string{
			`b.yaml:4:12: packs/a has title "B" here and "A" at a.yaml:71; all files of one set that hold parts of packs/a must agree`,
			`b.yaml:5:16: packs/a has authority "them" here and "us" at a.yaml:71; all files of one set that hold parts of packs/a must agree`,
		}},
		{"the same rule", soundPack, []string{
			`b.yaml:7:9: rule "r1" of packs/a is given twice, first at a.yaml:76; keep one of them, or give one another name`,
		}},
		{"the same item", "catalogue:\n  version: \"1\"\n  items:\n" + soundCatalogue[strings.Index(soundCatalogue, "    - id: TYR-010"):], []string{
			`b.yaml:4:7: item TYR-010 is given twice, first at a.yaml:50; keep one of them, or give one another name`,
		}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, err := Load([]File{{Name: "a.yaml", Content: []byte(soundCatalogue + soundPack)}, {Name: "b.yaml", Content: []byte(tc.second)}})
			if diff := cmp.Diff(tc.want, lines(t, err)); diff != "" {
				t.Errorf("problems (-want +got):\n%s", diff)
			}
		})
	}
}

func TestLoad_RefusesNamesakes(t *testing.T) {
	person := "people:\n  - {name: people/a, title: A, roles: [ROLE_DRIVER]}\n"
	_, err := Load([]File{{Name: "a.yaml", Content: []byte(person)}, {Name: "b.yaml", Content: []byte(person)}})
	want := []string{`b.yaml:2:5: people/a is given twice, first at a.yaml:2; keep one of them, or give one another name`}
	if diff := cmp.Diff(want, lines(t, err)); diff != "" {
		t.Errorf("problems (-want +got):\n%s", diff)
	}
}

func TestLoad_SaysNothingOfWhatAnUnreadableFileMayHold(t *testing.T) {
	head, items, _ := strings.Cut(soundCatalogue, "  items:\n")
	_, err := Load([]File{
		{Name: "stops.yaml", Content: []byte(head + " x\n")},
		{Name: "items.yaml", Content: []byte("catalogue:\n  version: \"1\"\n  items:\n" + changed(t, items, "least_look_s: 5", "least_look_s: 0"))},
	})
	want := []string{
		`items.yaml:18:22: FLU-010 must not be missed and has no least time of looking; add least_look_s, in seconds`,
		`stops.yaml:10:2: the line does not fit its neighbours; indent it like the other fields beside it`,
	}
	if diff := cmp.Diff(want, lines(t, err)); diff != "" {
		t.Errorf("problems (-want +got):\n%s", diff)
	}
}
