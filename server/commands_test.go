package main

import (
	"encoding/json"
	"encoding/xml"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"bayround/internal/command"
	pb "bayround/proto/bayround/v1"
)

func TestRun_ExitCodesTellWhatHappened(t *testing.T) {
	s := filled(t)
	nobody := "127.0.0.1:1"
	empty, onlyPhotos := t.TempDir(), t.TempDir()
	if err := os.Mkdir(filepath.Join(onlyPhotos, photosFolder), 0o700); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		why  string
		args []string
		code int
		says string
	}{
		{"help is an answer", []string{"--help"}, command.ExitDone, ""},
		{"nothing asked is help", nil, command.ExitDone, ""},
		{"no such command", []string{"dance"}, command.ExitMisused, "dance"},
		{"no such flag", []string{"readiness", "--loud"}, command.ExitMisused, "--loud"},
		{"an argument is missing", []string{"play"}, command.ExitMisused, "round files"},
		{"an argument too many", []string{"show", "wn11", "wn12"}, command.ExitMisused, "one vehicle"},
		{"a format that is none", []string{"readiness", "-o", "xml"}, command.ExitMisused, "xml"},
		{"a file that is not there", []string{"apply", "nowhere.yaml", "--server", s.address}, command.ExitMisused, "nowhere.yaml"},
		{"a folder without files", []string{"apply", empty, "--server", s.address}, command.ExitMisused, "no .yaml file"},
		{"a vehicle nobody knows", []string{"readiness", "wn99", "--server", s.address}, command.ExitRefused, "wn99"},
		{"a walk and a configuration", []string{"show", "wn11", "--walk", "--configuration"}, command.ExitMisused, "ask for one of them"},
		{"alone, but no walk", []string{"show", "wn11", "--alone"}, command.ExitMisused, "add --walk"},
		{"a time, but no walk", []string{"show", "wn11", "--within", "6m"}, command.ExitMisused, "add --walk"},
		{"a time of no whole seconds", []string{"show", "wn11", "--walk", "--within", "1.5s"}, command.ExitMisused, "whole seconds"},
		{"a picture, but no walk", []string{"show", "wn11", "-o", "svg"}, command.ExitMisused, "add --walk"},
		{"a walk of a routine nobody knows", []string{"show", "wn11", "--walk", "--routine", "yearly", "--server", s.address}, command.ExitRefused, "yearly"},
		{"a routine nobody knows", []string{"show", "wn11", "--routine", "yearly", "--server", s.address}, command.ExitRefused, "yearly"},
		{"nobody there", []string{"readiness", "--server", nobody}, command.ExitNotThere, "cannot be reached: 127.0.0.1:1"},
		{"no record", []string{"verify", "--data", filepath.Join(empty, "none")}, command.ExitMisused, "no record"},
		{"photos alone are no record", []string{"verify", "--data", onlyPhotos}, command.ExitMisused, "only photos"},
		{"an empty folder is no record", []string{"rebuild", "--data", empty}, command.ExitMisused, "is empty"},
		{"plain text for everybody", []string{"serve", "--data", empty, "--listen", "0.0.0.0:0"}, command.ExitMisused, "more than this machine"},
		{"plain text to another machine", []string{"readiness", "--server", "192.0.2.7:7443"}, command.ExitMisused, "in plain text"},
		{"metrics for everybody", []string{"serve", "--data", empty, "--metrics", "0.0.0.0:0"}, command.ExitMisused, "--insecure-listen-anywhere"},
		{"a tablet nobody named", []string{"enrol"}, command.ExitMisused, "name the tablet"},
		{"an enrolment in plain text", []string{"enrol", "tablet-2", "--server", s.address}, command.ExitRefused, "plain text"},
		{"a role that is none", []string{"admit", "control", "--role", "king", "-o", empty, "--server", s.address}, command.ExitMisused, "system, workshop, officer or administrator"},
		{"a log of no known kind", []string{"serve", "--data", empty, "--log-format", "xml"}, command.ExitMisused, "text or json"},
		{"a watch has no exit code", []string{"readiness", "--watch", "--exit-code", "--server", s.address}, command.ExitMisused, "--watch"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			got := do(t, tc.args...)
			if got.code != tc.code {
				t.Errorf("exit code %d, want %d\n%s", got.code, tc.code, got.err)
			}
			requireIn(t, got.err, tc.says)
			if tc.code == command.ExitDone && got.out == "" {
				t.Error("nothing was printed")
			}
		})
	}
}

// What a station refuses of a request is called by the flag or argument that gave it.
func TestRefusal_NamesWhatWasTyped(t *testing.T) {
	t.Setenv("BAYROUND_SERVER", filled(t).address)
	for _, tc := range []struct {
		line, says, never string
	}{
		{"records --person No_Body --limit 3", "--person must be a name like", "\n  person"},
		{"records --page never", "\n  --page: ", "\n  page_token"},
		{"defect show wn11", "DEFECT must be the name of a defect", "\n  name"},
		{"defect stop wn11 --person arkwith --reason rust --step tyre", "--step must be a step of the plan", "step_ids"},
		{"defect end-deferral wn11 --person arkwith --because rust", "DEFECT must be the name of a defect", "\n  defect"},
		{"defect list --reporter No_Body", "--reporter must be", "\n  reporter"},
		{"callsign move WN11 --to wn90 --person No_Body --reason off --control-told", "--person must be", "\n  person"},
		{"callsign move WN11 --to wn90 --person osgarry --reason off", "--control-told", "\n  control_told"},
		{"stock history skarholm-quay Engine_Oil", "MATERIAL must be", "\n  material"},
		{"wheel wn11 axle-1-nearside --person No_Body", "--person must be", "\n  person"},
		{"erase No_Body --by arkwith --reason left", "PERSON must be", "\n  person"},
		{"watches No_Where", "STATION must be", "\n  station"},
	} {
		got := do(t, strings.Fields(tc.line)...)
		if got.code != command.ExitRefused || !strings.Contains(got.err, tc.says) || strings.Contains(got.err, tc.never) {
			t.Errorf("server %s: exit code %d\n%s", tc.line, got.code, got.err)
		}
	}
}

func TestHelp_EveryCommandHasAnExampleAndFullWords(t *testing.T) {
	var walk func(*cobra.Command)
	walk = func(cmd *cobra.Command) {
		for _, sub := range cmd.Commands() {
			walk(sub)
		}
		if cmd.Name() == "help" || cmd.Name() == "completion" || cmd.HasParent() && cmd.Parent().Name() == "completion" {
			return // cobra's own
		}
		if cmd.Short == "" || cmd.Long == "" {
			t.Errorf("%s has no help", cmd.CommandPath())
		}
		if cmd.Example == "" && cmd.Name() != "version" {
			t.Errorf("%s has no example", cmd.CommandPath())
		}
	}
	walk(newRoot(&console{}))
	help := must(t, "--help")
	for _, code := range []string{"  0  ", "  1  ", "  2  ", "  3  ", "  4  ", "  5  ", "  6  "} {
		requireIn(t, help, code)
	}
}

func TestApply_ShowsWhatWouldChangeAndRefusesWhole(t *testing.T) {
	s := filled(t)
	folder := t.TempDir()
	people := filepath.Join(folder, "people.yaml")
	writeFile(t, people, "people:\n  - {name: people/newcomer, title: New Comer, roles: [ROLE_DRIVER]}\n")
	writeFile(t, filepath.Join(folder, roundsFolder, "round.yaml"), "a round file: is no configuration\n")

	requireIn(t, must(t, "apply", folder, "--check", "--server", s.address), "new      people/newcomer")
	requireIn(t, must(t, "apply", folder, "--server", s.address), "new      people/newcomer", "in force since event")
	requireIn(t, must(t, "apply", folder, "--server", s.address), "nothing changes")

	writeFile(t, people, "people:\n  - {name: people/newcomer, title: Renamed, roles: [ROLE_DRIVER]}\n")
	requireIn(t, must(t, "apply", folder, "--check", "--server", s.address), "changed  people/newcomer", "title: given → another one given")

	writeFile(t, filepath.Join(folder, "zz.yaml"), "people:\n  - {name: people/other, title: Other,\n     roles: [ROLE_DANCER]}\n")
	got := do(t, "apply", folder, "--server", s.address)
	if got.code != command.ExitRefused {
		t.Errorf("exit code %d, want %d", got.code, command.ExitRefused)
	}
	requireIn(t, got.err, filepath.Join(folder, "zz.yaml")+":3:")
	requireIn(t, must(t, "apply", people, "--check", "--server", s.address), "changed  people/newcomer") // the former stayed
}

func TestReadiness_ShowsTheVerdictInWordsShapesAndCodes(t *testing.T) {
	checkedWN21(t)
	table := must(t, "readiness")
	requireIn(t, table, "[^]  WN11  FIT TO RESPOND", "(-)  WN21  DO NOT MOVE", ": ?  WN12  NOT PROVEN – ")
	if strings.Contains(table, "\x1b") {
		t.Error("colour where there is no terminal")
	}
	if strings.Index(table, "WN21") > strings.Index(table, "WN11") {
		t.Error("the worst does not stand first")
	}
	var all struct {
		Readiness []struct{ Vehicle, Verdict string }
	}
	if err := json.Unmarshal([]byte(must(t, "readiness", "-o", "json", "wn11", "vehicles/wn21")), &all); err != nil {
		t.Fatal(err)
	}
	if len(all.Readiness) != 2 || all.Readiness[0].Verdict != "VERDICT_FIT" || all.Readiness[1].Verdict != "VERDICT_UNFIT" {
		t.Errorf("as JSON: %+v", all)
	}
	for vehicles, code := range map[string]int{"wn11": 0, "WN12": 13, "wn21": 15, "wn11 wn12": 13, "wn11 wn12 wn21": 15} {
		if got := do(t, append([]string{"readiness", "--exit-code"}, strings.Fields(vehicles)...)...); got.code != code || got.err != "" {
			t.Errorf("%s: exit code %d (%q), want %d", vehicles, got.code, got.err, code)
		}
	}
}

func TestShow_PrintsAPlanAndAVehicleThatCanBeAppliedAgain(t *testing.T) {
	t.Setenv("BAYROUND_SERVER", filled(t).address)
	plan := must(t, "show", "WN21", "--routine", "weekly")
	requireIn(t, plan, "vehicles/wn21, routines/weekly", "TYR-121/axle-2-offside-inner", "read bar, about 8.5 bar", "! must not be missed")
	var asJSON struct {
		Steps []struct {
			StepID string `json:"step_id"`
		}
	}
	if err := json.Unmarshal([]byte(must(t, "show", "wn21", "--routine", "weekly", "-o", "json")), &asJSON); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(plan, "/"); len(asJSON.Steps) == 0 || n < len(asJSON.Steps) {
		t.Errorf("%d steps as JSON, and the table shows fewer", len(asJSON.Steps))
	}
	requireIn(t, must(t, "show", "wn21", "-o", "yaml"), "step_id: ")

	file := filepath.Join(t.TempDir(), "wn21.yaml")
	writeFile(t, file, must(t, "show", "wn21", "--configuration"))
	requireIn(t, must(t, "apply", file), "nothing changes")
	requireIn(t, must(t, "show", "wn21", "--configuration", "-o", "json"), `"vehicles/wn21"`)
}

func TestShow_PrintsAndDrawsAWalk(t *testing.T) {
	t.Setenv("BAYROUND_SERVER", filled(t).address)
	table := must(t, "show", "wn11", "--walk")
	requireIn(t, table, "vehicles/wn11, routines/shift, with an assistant: ", "HALT", "STOP", "TAKES", "ignition on", "assistant outside, driver in the cab",
		"THIS WALK", "ITEM AFTER ITEM", "assistant needed", "Proven: no order of these steps costs less",
		"at which a turnout takes more than the goal of 80 s; tell control first")
	requireIn(t, must(t, "show", "t1", "--walk"), "put it back when the walk is done:\n     PRE-030/")
	requireIn(t, must(t, "show", "wn12", "--walk", "--alone", "--routine", "monthly"), "1 step before what ought to be done first", "BRA-150/driver-seat before BRA-030/")
	alone := must(t, "show", "wn13", "--walk", "--alone")
	requireIn(t, alone, "alone: ", "cannot be done alone, and has no other accepted way")
	if strings.Contains(alone, "assistant needed") {
		t.Error("whoever walks alone needs no assistant")
	}
	var asJSON struct{ Walk, Naive struct{ Halts []struct{} } }
	if err := json.Unmarshal([]byte(must(t, "show", "wn11", "--walk", "-o", "json")), &asJSON); err != nil {
		t.Fatal(err)
	}
	if n := len(asJSON.Walk.Halts); n < 20 || !strings.Contains(table, fmt.Sprintf("at %d halts", n)) || len(asJSON.Naive.Halts) < n {
		t.Errorf("%d halts as JSON, %d item after item", n, len(asJSON.Naive.Halts))
	}
	requireIn(t, must(t, "show", "wn11", "--walk", "-o", "yaml"), "walk:", "step_ids:")
	picture := must(t, "show", "wn11", "--walk", "-o", "svg")
	if !strings.HasPrefix(picture, "<svg ") || !strings.HasSuffix(picture, "</svg>\n") || xml.Unmarshal([]byte(picture), &struct{}{}) != nil {
		t.Errorf("no picture: %.200s", picture)
	}
	requireIn(t, must(t, "show", "wn11", "--walk", "--within", "1m"), "What must not be missed takes", "more than the 1m0s there are", "left out, because the time does not reach")
	if short := must(t, "show", "wn11", "--walk", "--within", "15m"); strings.Contains(short, "What must not be missed takes") {
		t.Errorf("a quarter of an hour does not reach: %s", short)
	}
}

func TestWalkTable_TellsWhatIsProvenAndWhatIsKept(t *testing.T) {
	kept := 4.2
	var out strings.Builder
	newConsole(&out, &out).walkTable(&pb.GetWalkResponse{
		Walk: &pb.Walk{
			CostS: 100, BoundS: 97.5, KeptCostsS: &kept, LeftOut: []string{"B/1", "A/1"},
			Halts: []*pb.Halt{{StopTitle: "Front", WayM: 2.04, WayS: 3, Changes: []string{"ignition on"}, StepIds: []string{"C/1"}, Assistant: true}},
		},
		Naive: &pb.Walk{CostS: 150},
	})
	requireIn(t, out.String(), "1     Front  outside, with the assistant  2.0 m  3.0 s  1      ignition on", "weighted              100.0 s    150.0 s",
		"costs less by more than 2.5 %", "another costs 4.2 s less", "2 steps left out, because the time does not reach; stays unproven:\n     A/1\n     B/1")
}

func TestVersion_SaysSomething(t *testing.T) {
	requireIn(t, must(t, "version"), "bayround", "go1.")
}

func writeFile(t *testing.T, name, content string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
}
