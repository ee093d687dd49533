package main

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/command"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// roundIDs are the rounds that "server records" lists, newest first.
func roundIDs(t *testing.T, args ...string) []string {
	t.Helper()
	return regexp.MustCompile(`[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}`).FindAllString(must(t, append([]string{"records"}, args...)...), -1)
}

func TestRecord_OfAStationThatWasFilled(t *testing.T) {
	checkedWN21(t)
	of21 := roundIDs(t, "--vehicle", "wn21")
	if len(of21) != 2 {
		t.Fatalf("rounds of WN21: %q", of21)
	}
	t.Run("the page", func(t *testing.T) {
		page := must(t, "record", of21[0])
		requireIn(t, page, "WN21: record of a round", "Oleta Fennigar (fennigar)", "Wystan Corrabell (corrabell)", "3.9 bar", "DO NOT MOVE",
			"No defect found at 3 of 3 steps.", "verifier key bayround/station&#43;", "Every step of the plan was answered.")
	})
	t.Run("as values", func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "round.csv")
		requireIn(t, must(t, "record", "rounds/"+of21[0], "-o", file), "written to "+file)
		content, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(strings.NewReader(string(content))).ReadAll()
		if err != nil || len(rows) < 94 {
			t.Fatalf("%d lines, %v", len(rows), err)
		}
		flat := slices.IndexFunc(rows, func(row []string) bool { return slices.Contains(row, "TYR-121/axle-2-offside-inner") })
		if kpa := rows[flat][slices.Index(rows[0], "value_kpa")]; kpa != "390" {
			t.Errorf("3.9 bar stands there as %q kPa", kpa)
		}
		if got := strings.Count(must(t, "records", "--vehicle", "wn21", "-o", "jsonl"), "\n"); got < 223 {
			t.Errorf("%d values in the 223 answers of two rounds", got)
		}
	})
	t.Run("as a proof", func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "round.proof")
		must(t, "record", of21[0], "-o", file)
		content, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		key := regexp.MustCompile(`(?m)^key (\S+)$`).FindStringSubmatch(string(content))[1]
		requireIn(t, must(t, "verify-record", file, "--key", key), "proven: all of this stands in the record of the station with the key "+key,
			"No event of the round from ", " is left out", "WN21: record of a round", "3.9 bar, with G-11", "FOUND: DANGEROUS, MAJOR, MINOR. Limit: ", "No defect found. Limit: ",
			"Every step of the plan was answered.", "Finished on the device by fennigar", "Verdict shown", "Nobody signed: what else was open then")
		unknown := must(t, "verify-record", file)
		requireIn(t, unknown, "NOT PROVEN WHOSE IT IS", "3.9 bar")
		if strings.Contains(unknown, "proven: all") || strings.Contains(string(content), "Oleta") {
			t.Errorf("without a key it is said to be proven, or a name stands in it:\n%s", unknown)
		}
		for what, change := range map[string][2]string{
			"another key":       {key, strings.Replace(key, "station", "station2", 1)},
			"a path of another": {"\npath ", "\npath " + strings.Repeat("A", 43) + "= "},
			"cut off":           {"\ncheckpoint\n", "\n"},
		} {
			spoilt := filepath.Join(t.TempDir(), "spoilt.proof")
			writeFile(t, spoilt, strings.Replace(string(content), change[0], change[1], 1))
			if got := do(t, "verify-record", spoilt, "--key", key); got.code != command.ExitDamaged || got.out != "" {
				t.Errorf("%s: exit code %d\n%s", what, got.code, got.out)
			}
		}
		if got := do(t, "verify-record", file+"x"); got.code != command.ExitMisused {
			t.Errorf("no file: exit code %d", got.code)
		}
	})
	t.Run("found", func(t *testing.T) {
		for _, tc := range []struct {
			args []string
			want int
		}{
			{nil, 4},
			{[]string{"--person", "corrabell", "--vehicle", "wn21"}, 2},
			{[]string{"--person", "nobody"}, 0},
			{[]string{"--defect", "INNER tyre"}, 1},
			{[]string{"--defect", "inner mast"}, 0},
			{[]string{"--to", "2001-01-01"}, 0},
			{[]string{"--from", "2001-01-01"}, 4},
			{[]string{"--from", "2999-01-01"}, 0},
		} {
			if got := roundIDs(t, tc.args...); len(got) != tc.want {
				t.Errorf("%q: %d rounds, want %d", tc.args, len(got), tc.want)
			}
		}
	})
	t.Run("what became of it", func(t *testing.T) {
		listed := must(t, "defect", "list", "--vehicle", "wn21", "--grade", "dangerous")
		defect := regexp.MustCompile(`wn21/\S+`).FindString(listed)
		if found := roundIDs(t, "--defect", defect); defect == "" || !slices.Equal(found, of21[:1]) {
			t.Errorf("by the name %q of its defect %q is found, want %q; listed is\n%s", defect, found, of21[:1], listed)
		}
		for _, layout := range []string{"csv", "jsonl"} {
			with := []string{"records", "--vehicle", "wn21", "--person", "corrabell", "--from", "2001-01-01", "-o", layout, "--defect", defect}
			if values := must(t, with...); !strings.Contains(values, of21[0]) || strings.Contains(values, of21[1]) {
				t.Errorf("%s of the rounds with %s: is round %s alone in\n%.400s", layout, defect, of21[0], values)
			}
			if none := must(t, append(with, "--to", "2001-01-02")...); strings.Count(none, "\n") > 1 || strings.Contains(none, of21[0]) {
				t.Errorf("%s of no round:\n%.400s", layout, none)
			}
		}
		must(t, "defect", "acknowledge", defect, "--person", "steddow", "--planned", "2096-03-06", "--note", "tyre ordered")
		must(t, "defect", "rectify", defect, "--person", "steddow", "--done", "tyre renewed", "--part", "inner tyre")
		requireIn(t, must(t, "record", of21[0]), "<dt>Defect</dt><dd>"+defect+", repaired, to be checked again</dd>", "tyre ordered", "tyre renewed (inner tyre)")
	})
	t.Run("page by page", func(t *testing.T) {
		var all []string
		for args := []string{"records", "--limit", "1"}; len(all) < 9; {
			got := do(t, args...)
			all = append(all, regexp.MustCompile(`[0-9a-f-]{36}`).FindString(got.out))
			token := regexp.MustCompile(`--page (\S+)`).FindStringSubmatch(got.err)
			if token == nil {
				break
			}
			args = []string{"records", "--limit", "1", "--page", token[1]}
		}
		if whole := roundIDs(t); !slices.Equal(all, whole) {
			t.Errorf("page by page %q, whole %q", all, whole)
		}
	})
	t.Run("refused", func(t *testing.T) {
		for _, tc := range []struct {
			args []string
			code int
			says string
		}{
			{[]string{"record", "00000000-0000-0000-0000-000000000000"}, command.ExitRefused, "rounds/00000000"},
			{[]string{"record", of21[0], "-o", "round.pdf"}, command.ExitMisused, "html, csv, jsonl or proof"},
			{[]string{"records", "--from", "yesterday"}, command.ExitMisused, "2026-11-30"},
			{[]string{"records", "--from", "2026-02-02", "--to", "2026-02-01"}, command.ExitMisused, "is after"},
			{[]string{"records", "--defect", "wn21/000000000000"}, command.ExitRefused, "wn21/defects/000000000000"},
			{[]string{"records", "--limit", "0"}, command.ExitMisused, "1 to 200"},
			{[]string{"records", "-o", "xml"}, command.ExitMisused, "table, csv or jsonl"},
		} {
			got := do(t, tc.args...)
			if got.code != tc.code || got.out != "" {
				t.Errorf("%q: exit code %d, %s", tc.args, got.code, got.out)
			}
			requireIn(t, got.err, tc.says)
		}
	})
}

// Events whose content was dropped tell no time, and so lead the search for the opening of a round
// astray when they stand within it: then the record is read from its first event on.
func TestRecord_IsWholeWhereDroppedEventsStandWithinIt(t *testing.T) {
	data, clock := t.TempDir(), stationtest.NewClock()
	clock.Advance(time.Now().AddDate(-2, 0, 0).Sub(clock.Now()))
	k := stationtest.OpenWith(t, clock, station.Options{Dir: data, Now: clock.Now, Defaults: stationtest.Small()})
	end := func(round string) {
		if _, err := k.FinishRound(t.Context(), &pb.FinishRoundRequest{RequestId: k.ID(), Round: round}); err != nil {
			t.Fatal(err)
		}
	}
	long := k.OpenRound("vehicles/p1", "routines/shift")
	k.Record(long, stationtest.Seen("GLA-010/windscreen", "sound"))
	for range 20 { // the newest and the one before it count; the others are dropped, and the search by halving meets them first
		clock.Advance(8 * time.Hour)
		round := k.OpenRound("vehicles/p2", "routines/shift")
		k.Record(round, stationtest.Seen("GLA-010/windscreen", "sound"))
		end(round)
	}
	end(long)
	k.Close()
	requireIn(t, must(t, "prune", "--data", data), "dropped 18 rounds with 54 events")
	t.Setenv("BAYROUND_SERVER", serving(t, data).address)
	page := must(t, "record", long)
	requireIn(t, page, "3 events, numbers ")
	if strings.Contains(page, "Not all that was recorded") {
		t.Error("the opening of the round was not found")
	}
	file := filepath.Join(t.TempDir(), "round.proof")
	must(t, "record", long, "-o", file)
	requireIn(t, must(t, "verify-record", file), "No event of the round from ")
}
