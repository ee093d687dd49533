package main

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

// wellFormed is the beginning of every good round file.
const wellFormed = "vehicle: wn11\nroutine: shift\ndriver: arkwith\n"

func TestRoundFile_SaysWhatIsWrongAndWhere(t *testing.T) {
	for _, tc := range []struct{ why, content, says string }{
		{"nothing at all", "", "no YAML"},
		{"no mapping", "just words", "round.yaml:1:1: here must be words with values"},
		{"broken YAML", "vehicle: [", "no YAML"},
		{"two documents", wellFormed + "---\nvehicle: wn12\n", "one file is one round"},
		{"a word that is not known", wellFormed + "vehicel: wn12\n", `round.yaml:4:1: "vehicel" is not known here; known are answer,`},
		{"a word twice", wellFormed + "driver: venholt\n", `round.yaml:4:1: "driver" stands here twice`},
		{"no vehicle", "routine: shift\ndriver: arkwith\n", "round.yaml:1:1: vehicle is missing"},
		{"no driver", "vehicle: wn11\nroutine: shift\n", "driver is missing"},
		{"a list for a word", "vehicle: [wn11]\nroutine: shift\ndriver: a\n", "round.yaml:1:10: here must be one value"},
		{"an answer that is none", wellFormed + "answer: yes please\n", "say sound, nothing"},
		{"an end that is none", wellFormed + "end: stop\n", "say finish, give_up, leave_open"},
		{"giving up without a word", wellFormed + "end: give_up\n", "note is missing"},
		{"no length of time", wellFormed + "conditions: {engine_stopped_ago: long}\n", `round.yaml:4:34: "long" is no length of time`},
		{"no temperature", wellFormed + "conditions: {ambient_celsius: cold}\n", `"cold" is no number`},
		{"no quantity", wellFormed + "gauges: {weather: g-07}\n", `"weather" is no quantity`},
		{"a value without a unit", wellFormed + "nominal: {ELE-010: 25.6}\n", "no value with a unit"},
		{"a value that is no number", wellFormed + "nominal: {ELE-010: full V}\n", "no value with a unit"},
		{"two kinds of answer", wellFormed + "steps:\n  FLU-010: {level: below, seen: sound}\n", "round.yaml:5:3: one answer is of one kind"},
		{"two kinds of answer later", wellFormed + "steps:\n  FLU-010: {level: below, then: [{level: 0.5, seen: sound}]}\n", "one answer is of one kind"},
		{"a fault beside nothing", wellFormed + "steps:\n  FLU-010: {also_seen: FLU-010-02}\n", "round.yaml:5:3: also_seen stands beside a reading, a profile or a level"},
		{"a fault beside conditions", wellFormed + "steps:\n  LMP-020: {seen: LMP-020-01, also_seen: LMP-020-02}\n", "round.yaml:5:3: also_seen stands beside"},
		{"a fault beside what nobody looked at", wellFormed + "steps:\n  FLU-010: {level: 0.5, then: [{not_checked: no_time, also_seen: FLU-010-02}]}\n", "round.yaml:5:32: also_seen stands beside"},
		{"a count beside a level that is none", wellFormed + "steps:\n  FLU-010: {level: 0.5, also_seen: {FLU-010-02: many}}\n", "say for instance 2 of 4"},
		{"an answer that is skipped", wellFormed + "steps:\n  FLU-010: {skip: true, level: 0.5}\n", "what is skipped has no answer"},
		{"a level beyond the marks", wellFormed + "steps:\n  FLU-010: {level: 1.5}\n", "round.yaml:5:20: a level is below, above, or the share"},
		{"a reason that is none", wellFormed + "steps:\n  WIN-010: {not_checked: tired}\n", `"tired" is not known here; say turnout,`},
		{"a count that is none", wellFormed + "steps:\n  LMP-020: {seen: {LMP-020-01: some}}\n", "say for instance 2 of 4"},
		{"one depth", wellFormed + "steps:\n  TYR-130: {profile: {depths: [8]}}\n", "at least two depths"},
		{"a unit of depth", wellFormed + "steps:\n  TYR-130: {profile: {unit: cm, depths: [8, 8]}}\n", "say mm, in/32"},
		{"a flag that is none", wellFormed + "steps:\n  HVE-020: {begin: maybe}\n", "say true, false"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			_, err := parseRoundFile("round.yaml", []byte(tc.content))
			if err == nil || !strings.Contains(err.Error(), tc.says) {
				t.Errorf("it says %v, want %q", err, tc.says)
			}
			if command.CodeOf(err) != command.ExitMisused {
				t.Errorf("exit code %d", command.CodeOf(err))
			}
		})
	}
}

func TestRoundFile_NamesEveryMistakeAtOnce(t *testing.T) {
	_, err := parseRoundFile("round.yaml", []byte(wellFormed+"answer: no\nend: no\nsteps:\n  A: {level: 9}\n"))
	if lines := strings.Split(err.Error(), "\n"); len(lines) != 3 {
		t.Errorf("3 mistakes are told as %d:\n%v", len(lines), err)
	}
}

func TestRoundFile_IsReadAsItIsWritten(t *testing.T) {
	r, err := parseRoundFile("round.yaml", []byte(`
key: &k a-key
vehicle: vehicles/wn11
routine: routines/weekly
driver: people/arkwith
assistant: venholt
device: tablet-1
conditions: {engine_stopped_ago: 90m, ambient_celsius: -4.5}
gauges: {pressure: g-07}
answer: sound
nominal: {ELE-010: 25.6 V, PMP-040.loss: 0.03 bar/min}
steps:
  TYR-130: {profile: {unit: in/32, sections: [[5, 4, 5], [5, 5]]}}
  FLU-010:
    level: below
    note: *k
    then:
      - {cure: {done: topped up, amount: 1.5 L}, level: 0.8, looked: 9s}
  LMP-020: {seen: {LMP-020-01: 2 of 4}, left_open: true, confirmed: true}
  WIN-010: {not_checked: no_assistant}
  HVE-020: {begin: true, seen: [a, b], pause_after: {note: call, resume: false}}
end: leave_open
note: see you
`))
	if err != nil {
		t.Fatal(err)
	}
	if r.key != "a-key" || r.vehicle != "vehicles/wn11" || r.routine != "routines/weekly" || r.driver != "people/arkwith" ||
		r.helper != "people/venholt" || r.device != "tablet-1" || r.end != endLeaveOpen || r.note != "see you" || !r.sound {
		t.Errorf("read as %+v", r)
	}
	if *r.engineStopped != 90*time.Minute || *r.ambient != -4.5 {
		t.Errorf("conditions: %v ago, %v degrees", *r.engineStopped, *r.ambient)
	}
	if r.gauges[pb.Quantity_QUANTITY_PRESSURE] != "gauges/g-07" {
		t.Errorf("gauges: %v", r.gauges)
	}
	if r.nominal["ELE-010"] != (amount{25.6, "V"}) || r.nominal["PMP-040.loss"] != (amount{0.03, "bar/min"}) {
		t.Errorf("nominal: %v", r.nominal)
	}
	wantProfile := &pb.TreadProfile{Unit: "in/32", Sections: []*pb.TreadSection{
		{Points: []*pb.TreadPoint{{Across: 0, AsTyped: 5}, {Across: 0.5, AsTyped: 4}, {Across: 1, AsTyped: 5}}},
		{Points: []*pb.TreadPoint{{Across: 0, AsTyped: 5}, {Across: 1, AsTyped: 5}}},
	}}
	if diff := cmp.Diff(wantProfile, r.steps["TYR-130"].given[0].profile, protocmp.Transform()); diff != "" {
		t.Errorf("profile (-want +got):\n%s", diff)
	}
	oil := r.steps["FLU-010"].given
	if len(oil) != 2 || oil[0].level.GetMark() != pb.LevelMark_LEVEL_MARK_BELOW || oil[0].note != "a-key" ||
		oil[1].level.GetFraction() != 0.8 || oil[1].cure.GetAmount() != 1.5 || oil[1].cure.GetUnit() != "L" || *oil[1].looked != 9*time.Second {
		t.Errorf("found, cured, read again: %+v", oil)
	}
	lamp := r.steps["LMP-020"].given[0]
	if lamp.seen[0].word != "LMP-020-01" || lamp.seen[0].count.GetAffected() != 2 || lamp.seen[0].count.GetOf() != 4 || !lamp.leftOpen || !lamp.confirmed {
		t.Errorf("seen: %+v", lamp)
	}
	if r.steps["WIN-010"].given[0].notChecked != pb.NotCheckedReason_NOT_CHECKED_REASON_NO_ASSISTANT {
		t.Errorf("not checked: %+v", r.steps["WIN-010"].given[0])
	}
	if hv := r.steps["HVE-020"]; !hv.begin || len(hv.given[0].seen) != 2 || hv.pause.note != "call" || hv.pause.resume || !hv.pause.makeSafe {
		t.Errorf("begun and paused: %+v", hv)
	}
}

func TestRoundFile_WithoutAKeyIsKeyedByItsContent(t *testing.T) {
	read := func(content string) *roundFile {
		r, err := parseRoundFile("round.yaml", []byte(content))
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	a, again, b := read(wellFormed), read(wellFormed), read(wellFormed+"answer: sound\n")
	if a.roundName() != again.roundName() {
		t.Error("the same file is another round")
	}
	if a.roundName() == b.roundName() {
		t.Error("another file is the same round")
	}
	keyed, changed := read(wellFormed+"key: k\n"), read(wellFormed+"key: k\nanswer: sound\n")
	if keyed.roundName() != changed.roundName() || keyed.id("result", "A", "0") == keyed.id("result", "A", "1") {
		t.Error("the key does not make the ids")
	}
}

func TestRoundFile_TheCountysRoundsAreGood(t *testing.T) {
	for _, name := range []string{"01-wn11-shift.yaml", "06-wn21-weekly.yaml", "10-wn31-shift.yaml"} {
		if _, err := readRoundFile(round(t, name)); err != nil {
			t.Error(err)
		}
	}
}

func FuzzParseRoundFile(f *testing.F) {
	f.Add(wellFormed + "answer: sound\nsteps: {FLU-010: {level: below, then: [{cure: x, level: 1}]}}\n")
	f.Add("a: &a {b: *a}\n")
	f.Add("? [a]\n: b\n")
	f.Fuzz(func(t *testing.T, content string) {
		if _, err := parseRoundFile("round.yaml", []byte(content)); err != nil && command.CodeOf(err) != command.ExitMisused {
			t.Errorf("%q is refused with exit code %d", content, command.CodeOf(err))
		}
	})
}
