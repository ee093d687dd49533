package catalogue

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	pb "bayround/proto/bayround/v1"
)

// lines are the problems of an error, one a line; none for nil.
func lines(t *testing.T, err error) []string {
	t.Helper()
	if err == nil {
		return nil
	}
	problems, ok := errors.AsType[Problems](err)
	if !ok {
		t.Fatalf("the error is a %T, want Problems: %v", err, err)
	}
	return strings.Split(problems.Error(), "\n")
}

// refused checks that one file is refused with exactly these problems.
func refused(t *testing.T, content string, want ...string) {
	t.Helper()
	loaded, err := Load([]File{{Name: "f.yaml", Content: []byte(content)}})
	if diff := cmp.Diff(want, lines(t, err)); diff != "" {
		t.Errorf("problems (-want +got):\n%s", diff)
	}
	if err != nil && loaded != nil {
		t.Error("something came back beside the error")
	}
}

func TestLoad_SaysWhatIsNoYAML(t *testing.T) {
	for _, tc := range []struct{ name, content, want string }{
		{"bracket left open", "catalogue: [a", `f.yaml:1:1: the YAML cannot be read: did not find expected ',' or ']'; look at indentation, quotes and colons here and on the line above`},
		{"two colons", "a: b: c", `f.yaml:1:1: a colon stands where none can; put text that holds ": " in quotes, and indent the line like its neighbours`},
		{"tab", "catalogue:\n\tversion: 1", `f.yaml:2:1: a character stands here that cannot begin a value; indent with spaces, not tabs, and put such text in quotes`},
		{"quote left open", "catalogue:\n  version: '1\n", `f.yaml:2:3: a quote or bracket is never closed; close it`},
		{"out of step", "catalogue:\n  version: '1'\n items: []\n", `f.yaml:3:2: the line does not fit its neighbours; indent it like the other fields beside it`},
		{"out of step in a list", "stations:\n  - name: stations/a\n   title: b\n", `f.yaml:3:4: the line does not fit the list it stands in; begin it with "- " like the others, or indent it further`},
		{"no colon", "stations:\n  - name: stations/a\n    title\n", `f.yaml:3:5: a field has no colon; write it as "name: value"`},
		{"slip far below a block's start", "people:\n  - name: people/a\n    title: A\n    roles:\n      - ROLE_DRIVER\n    x: y: z\n", `f.yaml:6:5: a colon stands where none can; put text that holds ": " in quotes, and indent the line like its neighbours`},
		{"backslash", `x: "\q"`, `f.yaml:1:1: a backslash inside double quotes means something else; double the backslash, or use single quotes`},
		{"control character", "x: \x01", `f.yaml:1:1: a control character stands in the file; take it out`},
		{"not UTF-8", "a: b\nc: \xff\n", `f.yaml:2:4: a byte here is no UTF-8 text; save the file as UTF-8`},
		{"old line ends", "a: b\rc: d", `f.yaml:1:5: a line ends in an unusual character here; end lines with a plain line feed`},
		{"second document", "---\npeople: []\n---\npeople: []\n", `f.yaml:3:1: a second document begins here; put it into a file of its own`},
		{"tag", "people: !!seq []\n", `f.yaml:1:9: a tag (!) stands here; take it away: the field says what kind of value it holds`},
		{"deep", "people: " + strings.Repeat("[", 40) + strings.Repeat("]", 40), `f.yaml:1:41: values are nested more than 32 deep; no message goes that deep`},
		{"too long", strings.Repeat("#", 1<<20+1), `f.yaml:1:1: the file holds 1048577 bytes; at most 1048576; spread it over several files`},
	} {
		t.Run(tc.name, func(t *testing.T) { refused(t, tc.content, tc.want) })
	}
}

func TestLoad_RefusesAliases(t *testing.T) {
	refused(
		t, "people: &p []\nstations: *p\n",
		`f.yaml:1:9: an anchor (&) stands here; take it away: aliases are not used`,
		`f.yaml:2:11: an alias (*) stands here; write the value out: what applies must be readable where it stands`,
	)
	bomb := "a: &a [x,x,x,x,x,x,x,x,x,x]\n"
	for i := range 12 {
		name, before := string(rune('b'+i)), string(rune('a'+i))
		bomb += name + ": &" + name + " [" + strings.Repeat("*"+before+",", 10) + "]\n"
	}
	if _, err := Load([]File{{Name: "bomb.yaml", Content: []byte(bomb)}}); err == nil {
		t.Error("a bomb of aliases is not refused")
	}
}

func TestLoad_SaysWhatDoesNotFitTheMessage(t *testing.T) {
	for _, tc := range []struct {
		name, content string
		want          []string
	}{
		{"a list for a file", "- 1\n", []string{`f.yaml:1:1: a list stands where fields belong; give fields such as stations, vehicles or gauges`}},
		{"text for a file", "hello", []string{`f.yaml:1:1: a single value stands where fields belong; give fields such as stations, vehicles or gauges`}},
		{"unknown field", "statoins: []\n", []string{`f.yaml:1:1: "statoins" is no field of a station file; did you mean stations?`}},
		{"nothing after the colon", "stations:\n", []string{`f.yaml:1:1: stations has no value; give it one, or leave the line out`}},
		{"a value for a list", "stations: 3\n", []string{`f.yaml:1:11: stations is a list, and a single value stands here; begin each entry with "- "`}},
		{"empty entry", "stations:\n  -\n", []string{`f.yaml:2:4: an entry of stations is empty; give it a value, or leave the line out`}},
		{"a value for fields", "stations:\n  - 5\n", []string{`f.yaml:2:5: a single value stands where fields belong; give fields such as name, title or pressure_unit`}},
		{"a list for a value", "stations:\n  - name: [a]\n", []string{`f.yaml:2:11: a list stands where a single value belongs; write name: and the value on one line`}},
		{"a list for a name", "? [a]\n: b\n", []string{`f.yaml:1:3: a list stands where the name of a field belongs; write "name: value"`}},
		{"the same field twice", "stations:\n  - name: stations/a\n    name: stations/b\n", []string{`f.yaml:3:5: name is given twice, first on line 2; keep one of them`}},
		{"the other spelling", "stations:\n  - altitudeM: 3\n", []string{`f.yaml:2:5: "altitudeM" is no field of a station; did you mean altitude_m?`}},
		{"numbers", "stations:\n  - altitude_m: high\n    reference_celsius: .inf\n    minimum_crew: 2.5\n    turnout_goal_s: 99999999999\n", []string{
			`f.yaml:2:17: altitude_m is "high": it is no number; write a decimal number such as 8.5, without its unit`,
			`f.yaml:3:24: reference_celsius is ".inf": it is no number; write a decimal number such as 8.5, without its unit`,
			`f.yaml:4:19: minimum_crew is "2.5": it is no whole number; write digits only, without its unit`,
			`f.yaml:5:21: turnout_goal_s is "99999999999": it is no whole number; write digits only, without its unit`,
		}},
		{"enum words", "people:\n  - roles: [DRIVER, ROLE_UNSPECIFIED, ROLE_DRIVR, 3]\n", []string{
			`f.yaml:2:13: roles is "DRIVER": the word is not known; did you mean ROLE_DRIVER?`,
			`f.yaml:2:21: roles is "ROLE_UNSPECIFIED": it says nothing; write ROLE_DRIVER, ROLE_OFFICER, ROLE_DUTY_OFFICER, ROLE_WORKSHOP, ROLE_CONTROL or ROLE_ADMINISTRATOR`,
			`f.yaml:2:39: roles is "ROLE_DRIVR": the word is not known; did you mean ROLE_DRIVER?`,
			`f.yaml:2:51: roles is "3": the word is not known; write ROLE_DRIVER, ROLE_OFFICER, ROLE_DUTY_OFFICER, ROLE_WORKSHOP, ROLE_CONTROL or ROLE_ADMINISTRATOR`,
		}},
		{"times", "gauges:\n  - calibration_due: tomorrow\n", []string{`f.yaml:2:22: calibration_due is "tomorrow": it is no time; write it as 2026-11-25T07:30:00Z`}},
		{"durations and truth", "catalogue:\n  items:\n    - good_for: 8 days\n      cold_after: 200000h\n      must_not_miss: yes\n", []string{
			`f.yaml:3:17: good_for is "8 days": it is no duration; write hours as 14h, minutes as 15m, seconds as 30s`,
			`f.yaml:4:19: cold_after is "200000h": it is below zero or over ten years; write hours as 14h, minutes as 15m, seconds as 30s`,
			`f.yaml:5:22: must_not_miss is "yes": it is neither true nor false; write true or false`,
		}},
		{"both of a choice", "catalogue:\n  items:\n    - conditions:\n        - sound: true\n          fault: FLU-010-01\n", []string{`f.yaml:5:11: fault and sound exclude each other; keep the one that is true`}},
		{"what cannot be shown", "people:\n  - title: \"a\\x07b\"\n", []string{`f.yaml:2:12: title is "a\ab": it holds a character that cannot be shown; take it out`}},
		{"what only the station says", "people:\n  - name: people/a\n    title: A\n    erased: true\n    apart: AAAA\n", []string{
			`f.yaml:4:5: "erased" is no field of a person; there is name, title, roles, pin_argon2id, badge_hmac_sha256`,
			`f.yaml:5:5: "apart" is no field of a person; there is name, title, roles, pin_argon2id, badge_hmac_sha256`,
		}},
		{"a long slip", "people:\n  - title: A\n    " + strings.Repeat("x", 90) + ": 1\n", []string{
			`f.yaml:3:5: "` + strings.Repeat("x", 60) + `…" is no field of a person; there is name, title, roles, pin_argon2id, badge_hmac_sha256`,
		}},
	} {
		t.Run(tc.name, func(t *testing.T) { refused(t, tc.content, tc.want...) })
	}
}

func TestLoad_SaysWhichRuleOfTheContractIsBroken(t *testing.T) {
	for _, tc := range []struct {
		name, content string
		want          []string
	}{
		{"a station", "stations:\n  - name: Stations/A\n    pressure_unit: pascal\n    tread_unit: mm\n    altitude_m: 9000\n    time_zone: Europe/London\n    turnout_goal_s: 900\n", []string{
			`f.yaml:2:5: title is missing; give it`,
			`f.yaml:2:5: minimum_crew is missing; it must be greater than or equal to 1 and less than or equal to 9`,
			`f.yaml:2:11: name is "Stations/A"; write stations/ and a name in small letters, digits and single hyphens`,
			`f.yaml:3:20: pressure_unit is "pascal"; write bar, psi or kPa`,
			`f.yaml:5:17: altitude_m is 9000; it must be greater than or equal to -500 and less than or equal to 4000`,
			`f.yaml:7:21: turnout_goal_s is 900; it must be greater than 0 and less than or equal to 600`,
		}},
		{"people", "people:\n  - name: people/a\n    title: " + strings.Repeat("long ", 20) + "\n    roles: [ROLE_DRIVER, ROLE_DRIVER]\n  - name: people/b\n    title: B\n", []string{
			`f.yaml:3:12: title is 99 characters long; at most 80 fit`,
			`f.yaml:4:5: an entry of roles is given twice; keep one of them`,
			`f.yaml:5:5: roles is missing; give at least one`,
		}},
		{"a gauge", "gauges:\n  - name: gauges/g\n    title: G\n    station: stations/x\n    range: {least: 5, greatest: 2}\n    resolution: 0\n    max_permissible_error: 1\n", []string{
			`f.yaml:2:5: quantity is missing; give QUANTITY_PRESSURE, QUANTITY_PRESSURE_RATE, QUANTITY_LENGTH, QUANTITY_VOLTAGE, QUANTITY_TEMPERATURE or another of the 19 words that begin with QUANTITY_`,
			`f.yaml:5:5: this range cannot stand as it is; least must not lie above greatest`,
			`f.yaml:6:17: resolution is 0; it must be greater than 0`,
		}},
		{"a routine", "routines:\n  - name: routines/a\n    title: A\n", []string{`f.yaml:2:5: this routine cannot stand as it is; a routine names at least one trigger or item`}},
		{"a rule", "rule_packs:\n  - name: packs/a\n    version: '1'\n    title: A\n    authority: us\n    rules:\n      - id: a--b\n        scope: RULE_SCOPE_RESULT\n        grade: GRADE_DANGEROUS\n        effect: EFFECT_RESPONDING_WITHOUT_LIMIT\n        text: x\n        longest_deferral_days: 3\n        capabilities_lost: [Pump, a]\n", []string{
			"f.yaml:7:9: this rule cannot stand as it is; a rule needs faults, a `when` expression or a limit",
			"f.yaml:7:9: this rule cannot stand as it is; a rule that limits responding names at least one restriction",
			"f.yaml:7:9: this rule cannot stand as it is; a dangerous finding is never deferred",
			"f.yaml:7:9: source is missing; give its fields, such as title, clause or status",
			`f.yaml:7:13: id is "a--b"; write letters and digits with single hyphens or dots, such as tread-below-1-mm`,
			`f.yaml:13:29: capabilities_lost is "Pump"; write small letters with single spaces, such as crew seat`,
		}},
		{"a condition and a duration", "catalogue:\n  version: '1'\n  stops: [{id: s, order: 0, title: S}]\n  items:\n    - id: FLU-010\n      stop: s\n      family: F\n      title: T\n      prompt: Look.\n      answer_kind: ANSWER_KIND_CONDITION\n      conditions:\n        - id: sound\n          text: dry\n          sound: true\n        - id: a\n          text: b\n        - id: c\n          text: d\n          sound: false\n      state: {engine: ENGINE_STATE_OFF}\n      position: POSITION_OUTSIDE\n      fits_any: [powered]\n      repeat_over: REPEAT_OVER_ONCE\n      triggers: [TRIGGER_SHIFT]\n      good_for: 0s\n      source: us\n", []string{
			`f.yaml:15:11: neither sound nor fault is given; give one of them`,
			`f.yaml:19:18: sound is false; write true, or leave the line out`,
			`f.yaml:25:17: good_for is no time at all; write hours as 14h`,
		}},
	} {
		t.Run(tc.name, func(t *testing.T) { refused(t, tc.content, tc.want...) })
	}
}

// TestLoad_NeverShowsWhatMayBeAPIN: people write the PIN where its hash belongs,
// and the answer is kept in logs and terminals.
func TestLoad_NeverShowsWhatMayBeAPIN(t *testing.T) {
	const pin = "48219073"
	const right = "write the whole line that `kiosk pin` prints, or leave it out"
	for _, tc := range []struct{ name, value, want string }{
		{"the PIN itself", pin, "f.yaml:4:19: pin_argon2id is no Argon2id PHC string; " + right},
		{"in quotes", `"` + pin + `"`, "f.yaml:4:19: pin_argon2id is no Argon2id PHC string; " + right},
		{"half a hash", `"$argon2id$v=19$` + pin + `"`, "f.yaml:4:19: pin_argon2id is no Argon2id PHC string; " + right},
		{"a character that cannot be shown", `"` + pin + `\x07"`, "f.yaml:4:19: pin_argon2id is no Argon2id PHC string: it holds a character that cannot be shown; take it out"},
		{"a list", "[" + pin + "]", "f.yaml:4:19: a list stands where a single value belongs; write pin_argon2id: and the value on one line"},
		{"a block", "{pin: " + pin + "}", "f.yaml:4:19: a group of fields stands where a single value belongs; write pin_argon2id: and the value on one line"},
		{"a date", pin + "-01-01", "f.yaml:4:19: pin_argon2id is no Argon2id PHC string; " + right},
		{"a colon", pin + ": " + pin, "f.yaml:4:5: a colon stands where none can; put text that holds \": \" in quotes, and indent the line like its neighbours"},
		{"a quote left open", `"` + pin, "f.yaml:4:5: a quote or bracket is never closed; close it"},
		{"an escape", `"` + pin + `\q"`, "f.yaml:4:5: a backslash inside double quotes means something else; double the backslash, or use single quotes"},
		{"an anchor", "&" + pin + " a", "f.yaml:4:19: an anchor (&) stands here; take it away: aliases are not used"},
		{"an alias", "*" + pin, "f.yaml:4:5: an alias (*) stands here; take it away: aliases are not used; put text that begins with * in quotes"},
		{"a tag", "!" + pin + " a", "f.yaml:4:19: a tag (!) stands here; take it away: the field says what kind of value it holds"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			content := "people:\n  - name: people/a\n    title: A\n    pin_argon2id: " + tc.value + "\n    roles: [ROLE_DRIVER]\n"
			_, err := Load([]File{{Name: "f.yaml", Content: []byte(content)}})
			if got := strings.Join(lines(t, err), "\n"); got != tc.want || strings.Contains(got, pin) {
				t.Errorf("problems\n%s\nwant\n%s", got, tc.want)
			}
		})
	}
}

func TestLoad_ListsAllProblemsInOrder(t *testing.T) {
	_, err := Load([]File{
		{Name: "b.yaml", Content: []byte("people: 1\nstations: 2\n")},
		{Name: "a.yaml", Content: []byte("x: y: z")},
		{Name: "c.yaml", Content: []byte("people:\n  - name: people/a\n    title: A\n")},
		{Name: "c.yaml", Content: []byte("people: []")},
	})
	want := []string{
		`a.yaml:1:1: a colon stands where none can; put text that holds ": " in quotes, and indent the line like its neighbours`,
		`b.yaml:1:9: people is a list, and a single value stands here; begin each entry with "- "`,
		`b.yaml:2:11: stations is a list, and a single value stands here; begin each entry with "- "`,
		`c.yaml:1:1: two files have this name; rename one`,
		`c.yaml:2:5: roles is missing; give at least one`,
	}
	if diff := cmp.Diff(want, lines(t, err)); diff != "" {
		t.Errorf("problems (-want +got):\n%s", diff)
	}
}

func TestLoad_BoundsWhatItListsAndReads(t *testing.T) {
	_, err := Load([]File{{Name: "f.yaml", Content: []byte("people:\n" + strings.Repeat("  - 1\n", 5000))}})
	got := lines(t, err)
	if last := "f.yaml:502:5: more is wrong from here on; mend the others first"; len(got) != 501 || got[500] != last {
		t.Errorf("%d problems, the last %q; want 501, the last %q", len(got), got[len(got)-1], last)
	}
	big := make([]File, 40)
	for i := range big {
		big[i] = File{Name: strings.Repeat("x", i+1), Content: make([]byte, 1<<20)}
	}
	_, err = Load(big)
	if want := []string{":0:0: 40 files with 41943040 bytes are too much for one set; at most 2000 files and 8388608 bytes"}; !slices.Equal(lines(t, err), want) {
		t.Errorf("got %v, want %v", lines(t, err), want)
	}
}

func TestLoad_OrderOfFilesMakesNoDifference(t *testing.T) {
	files := Defaults()
	forward, err := Load(files)
	if err != nil {
		t.Fatal(err)
	}
	slices.Reverse(files)
	backward, err := Load(files)
	if err != nil {
		t.Fatal(err)
	}
	for _, pair := range [][2]any{{forward.Catalogue, backward.Catalogue}, {forward.Routines, backward.Routines}, {forward.RulePacks, backward.RulePacks}} {
		if diff := cmp.Diff(pair[0], pair[1], protocmp.Transform()); diff != "" {
			t.Errorf("(-forward +backward):\n%s", diff)
		}
	}
}

func TestLoad_NothingIsSomething(t *testing.T) {
	for _, files := range [][]File{nil, {{Name: "a.yaml"}}, {{Name: "a.yaml", Content: []byte("# only words\n")}}} {
		loaded, err := Load(files)
		if err != nil {
			t.Fatalf("%d files: %v", len(files), err)
		}
		if loaded.Catalogue != nil || len(loaded.Stations) != 0 {
			t.Errorf("%d files hold %v", len(files), loaded)
		}
		if problems := loaded.Check(&Library{Catalogue: &pb.Catalogue{}}); len(problems) != 0 {
			t.Errorf("nothing has problems: %v", problems)
		}
	}
}
