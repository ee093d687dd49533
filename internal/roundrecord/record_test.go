package roundrecord_test

import (
	"encoding/csv"
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/roundrecord"
	pb "bayround/proto/bayround/v1"
)

const hostile = `<script>alert("x")</script>`

// small is a round of four steps: a pressure read low, put right and read again, a
// condition, one not checked and one nobody answered.
func small() *roundrecord.Record {
	at := timestamppb.New(time.Date(2026, 2, 3, 7, 30, 0, 0, time.UTC))
	low := &pb.Finding{
		FindingId: "low", Text: "Pressure 6.1 bar " + hostile, Grade: pb.Grade_GRADE_MAJOR, Effect: pb.Effect_EFFECT_RESPONDING,
		Source: &pb.Source{Title: "Directive 2014/45/EU", Clause: "Annex I, 5.2.3", Status: pb.SourceStatus_SOURCE_STATUS_VERIFIED},
		Pack:   "packs/p", Rule: "low", StepIds: []string{"TYR-010/a"},
	}
	pressure := func(bar float64) *pb.Result_Reading {
		return &pb.Result_Reading{Reading: &pb.Reading{Values: []*pb.Value{{Part: "pressure", AsTyped: bar, Unit: "bar", Si: bar * 100}}}}
	}
	answers := []*pb.ResultRecorded{
		{Result: &pb.Result{StepId: "TYR-010/a", Answer: pressure(6.1), Gauge: "gauges/g-1"}, Findings: []*pb.Finding{low}},
		{Result: &pb.Result{StepId: "TYR-010/a", Answer: pressure(8.5), Cure: &pb.Cure{Done: "inflated"}}},
		{Result: &pb.Result{StepId: "ENG-010/b", Note: "=1+1", Answer: &pb.Result_Seen{Seen: &pb.ConditionsSeen{Conditions: []*pb.ConditionSeen{{Condition: "sound"}}}}}},
		{Result: &pb.Result{StepId: "ENG-020/c", Answer: &pb.Result_NotChecked{NotChecked: &pb.NotChecked{Reason: pb.NotCheckedReason_NOT_CHECKED_REASON_ENGINE_WARM}}}},
	}
	r := &roundrecord.Record{
		Round: &pb.Round{
			Name: "rounds/r", Vehicle: "vehicles/wn21", Routine: "routines/shift", Driver: "people/ada", State: pb.RoundState_ROUND_STATE_FINISHED,
			Opened: at, PlanDigest: "d", Steps: 4, Answered: 3, NotChecked: 1,
		},
		Plan: &pb.Plan{Digest: "d", Steps: []*pb.CheckStep{
			{
				StepId: "TYR-010/a", Title: "Tyre pressure", Stop: "s1", StopTitle: "Offside", LimitText: "Placard pressure.", Cautions: []string{"Stand to the side."},
				Parts: []*pb.ReadingPart{{Id: "pressure", Title: "pressure", Quantity: pb.Quantity_QUANTITY_PRESSURE}},
			},
			{StepId: "ENG-010/b", Title: "Belts", Stop: "s2", StopTitle: "Engine", Conditions: []*pb.Condition{{Id: "sound", Text: "whole and tight"}}},
			{StepId: "ENG-020/c", Title: "Coolant", Stop: "s2", StopTitle: "Engine"},
			{StepId: "CAB-010/d", Title: "Mirrors", Stop: "s3", StopTitle: "Cab", MustNotMiss: true},
		}},
		People: map[string]string{"people/ada": "Ada " + hostile},
		AtEnd:  &pb.Readiness{Verdict: pb.Verdict_VERDICT_MOVE_ONLY}, Now: &pb.Readiness{Verdict: pb.Verdict_VERDICT_FIT},
		Made: at.AsTime().Add(time.Hour), Checkpoint: "bayround/x\n7\nabc=\n\n— sig\n", VerifierKey: "bayround/x+1+k",
	}
	add := func(ev *pb.JournalEvent) {
		ev.Sequence, ev.StationTime = int64(len(r.Events)+11), at
		r.Events = append(r.Events, ev)
	}
	add(&pb.JournalEvent{Event: &pb.JournalEvent_RoundOpened{RoundOpened: &pb.RoundOpened{Round: r.Round}}})
	for i, a := range answers {
		a.Result.ResultId, a.Result.Person, a.Result.StationTime, a.Result.LookedAt = string(rune('a'+i)), "people/ada", at, at
		add(&pb.JournalEvent{Event: &pb.JournalEvent_ResultRecorded{ResultRecorded: a}})
	}
	add(&pb.JournalEvent{Person: "people/ada", Event: &pb.JournalEvent_RoundStateChanged{RoundStateChanged: &pb.RoundStateChanged{
		Round: "rounds/r", State: pb.RoundState_ROUND_STATE_FINISHED, ShownVerdict: pb.Verdict_VERDICT_MOVE_ONLY, Note: "tell the workshop",
	}}})
	return r
}

// read is the page as a reader reads it.
func read(t *testing.T, r *roundrecord.Record) string {
	t.Helper()
	var page strings.Builder
	if err := roundrecord.WriteHTML(&page, r); err != nil {
		t.Fatal(err)
	}
	root, err := html.Parse(strings.NewReader(page.String()))
	if err != nil {
		t.Fatal(err)
	}
	var words []string
	for node := range root.Descendants() {
		if node.Type == html.ElementNode {
			if node.Data == "script" {
				t.Error("what was recorded became a script")
			}
			for _, a := range node.Attr {
				if a.Key == "src" || a.Key == "href" {
					t.Errorf("the page loads %s", a.Val)
				}
			}
		}
		if node.Type == html.TextNode && node.Parent.Data != "style" {
			words = append(words, strings.Fields(node.Data)...)
		}
	}
	return strings.Join(words, " ")
}

func TestWriteHTML_TellsAllOfARound(t *testing.T) {
	told := read(t, small())
	for _, want := range []string{
		"wn21: record of a round", "Driver Ada " + hostile + " (ada)", "Assistant none", "3 of 4 steps; 1 of them as not checked",
		"Shown to the driver when the round was signed MOVE ONLY – NOT TO RESPOND 3 Feb 2026 07:30:00 UTC",
		"By the record when this page was made FIT TO RESPOND 3 Feb 2026 08:30:00 UTC",
		"Pressure 6.1 bar " + hostile, "Grade major. The vehicle does not respond", "Source Directive 2014/45/EU, Annex I, 5.2.3 (seen in the published text); rule low",
		"at the answer of event 12; the step was answered again with event 13",
		"Offside Something was found at every step that was looked at: 1 of 1.", "Engine No defect found at 1 of 2 steps. Not looked at: 1.",
		"Cab Nobody looked: nothing is known of it from this round.", "Coolant the engine was warm", "Mirrors (must not be missed)",
		"12 Tyre pressure 6.1 bar, with G-1 Placard pressure. FOUND: MAJOR; answered again, event 13 07:30:00",
		"13 Tyre pressure 8.5 bar; put right before: inflated Placard pressure. No defect found",
		"14 Belts whole and tight; note: =1+1 – No defect found", "15 Coolant not checked: the engine was warm – NOT CHECKED",
		"finished: tell the workshop", "Stand to the side.", "6 events, numbers 11 to 16", "bayround/x 7 abc=", "verifier key bayround/x+1+k",
	} {
		if !strings.Contains(told, want) {
			t.Errorf("%q is not told:\n%s", want, told)
		}
	}
	if strings.Contains(told, "The plan has changed") {
		t.Error("the same plan is said to have changed")
	}
}

func TestWriteHTML_SaysNilInWords(t *testing.T) {
	r := small()
	r.Events, r.AtEnd, r.Plan, r.Checkpoint, r.Round.State = r.Events[:1], nil, nil, "", pb.RoundState_ROUND_STATE_OPEN
	told := read(t, r)
	for _, want := range []string{
		"None: no defect found at any step that was looked at.", "No step was recorded as not checked.", "No answer was recorded.",
		"the round is not signed", "the round has not ended", "No signed head could be read.", "1 event, number 11", "plan of this routine is not known any more",
	} {
		if !strings.Contains(told, want) {
			t.Errorf("%q is not told:\n%s", want, told)
		}
	}
	if strings.Contains(told, "Every step of the plan was answered") {
		t.Error("of an unknown plan every step is said to be answered")
	}
}

// A finding of several answers together is told at each of them: none may say that
// nothing was found.
func TestRows_AFindingOfSeveralAnswersStandsAtEach(t *testing.T) {
	r := small()
	r.AtEnd.Reasons = []*pb.Reason{{Cause: &pb.Reason_Finding{Finding: &pb.Finding{FindingId: "pair", Grade: pb.Grade_GRADE_MINOR, ResultIds: []string{"b", "c"}}}}}
	var outcomes []string
	for _, row := range r.Rows() {
		outcomes = append(outcomes, row.Outcome())
	}
	if want := []string{"FOUND: MAJOR", "FOUND: MINOR", "FOUND: MINOR", "NOT CHECKED"}; !slices.Equal(outcomes, want) {
		t.Errorf("%q, want %q", outcomes, want)
	}
	if found := r.Found(); len(found) != 2 || found[1].GetFindingId() != "pair" {
		t.Errorf("%v", found)
	}
}

// So it is without the readiness at the end, which a proof does not hold.
func TestRows_AFindingGivenWithALaterAnswerStandsAtTheFirst(t *testing.T) {
	r := small()
	r.AtEnd = nil
	later := r.Events[3].GetResultRecorded()
	later.Findings = append(later.Findings, &pb.Finding{FindingId: "pair", Grade: pb.Grade_GRADE_MAJOR, ResultIds: []string{"b", "c"}})
	if got := r.Rows()[1].Outcome(); got != "FOUND: MAJOR" {
		t.Errorf("the first of two twins is told as %q", got)
	}
}

func TestWriteText_TellsAllAndSteersNothing(t *testing.T) {
	r := small()
	r.Round.Vehicle = "vehicles/\x1b[2Jwn21"
	var out strings.Builder
	if err := roundrecord.WriteText(&out, r); err != nil {
		t.Fatal(err)
	}
	if strings.ContainsFunc(out.String(), func(r rune) bool { return r < ' ' && r != '\n' }) {
		t.Errorf("it holds what a terminal obeys:\n%q", out.String())
	}
	told := strings.Join(strings.Fields(out.String()), " ")
	for _, want := range []string{
		"\uFFFD[2Jwn21: record of a round", "Verdict shown MOVE ONLY – NOT TO RESPOND", "3 of 4 steps; 1 of them as not checked",
		"MAJOR: Pressure 6.1 bar", "Directive 2014/45/EU, Annex I, 5.2.3 (seen in the published text); rule low of packs/p",
		"Coolant: the engine was warm", "Mirrors: not answered in this round",
		"12 07:30:00 Tyre pressure: 6.1 bar, with G-1 FOUND: MAJOR; answered again, event 13. Limit: Placard pressure.",
		"13 07:30:00 Tyre pressure: 8.5 bar; put right before: inflated No defect found. Limit: Placard pressure.",
		"15 07:30:00 Coolant: not checked: the engine was warm NOT CHECKED", "finished: tell the workshop", "Finished on the device by Ada", "Stand to the side.",
	} {
		if !strings.Contains(told, want) {
			t.Errorf("%q is not told:\n%s", want, told)
		}
	}
	r.Plan = nil
	out.Reset()
	if err := roundrecord.WriteText(&out, r); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), "The plan is not there") || strings.Contains(out.String(), "Every step of the plan") {
		t.Errorf("without a plan is told:\n%s", out.String())
	}
}

func TestWriteCSV_HasUnitsInItsColumns(t *testing.T) {
	var out strings.Builder
	if err := roundrecord.WriteCSV(&out, small()); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(out.String())).ReadAll()
	if err != nil || len(rows) != 5 {
		t.Fatalf("%d lines, %v", len(rows), err)
	}
	at := func(row int, column string) string { return rows[row][slices.Index(rows[0], column)] }
	for _, tc := range []struct {
		row          int
		column, want string
	}{
		{1, "value_kpa", "610"},
		{1, "as_typed", "6.1"},
		{1, "as_typed_unit", "bar"},
		{1, "looked_at_utc", "2026-02-03T07:30:00Z"},
		{1, "superseded_by_sequence", "13"},
		{2, "value_kpa", "850"},
		{2, "put_right", "inflated"},
		{3, "condition", "whole and tight"},
		{3, "note", "'=1+1"}, // as OWASP, "CSV Injection", has it; from memory
		{3, "value_kpa", ""},
		{4, "not_checked_reason", "engine_warm"},
	} {
		if got := at(tc.row, tc.column); got != tc.want {
			t.Errorf("line %d, %s: %q, want %q", tc.row, tc.column, got, tc.want)
		}
	}
}

// What begins a formula stands behind an apostrophe: OWASP ASVS 5.0, requirement 1.2.10 (= + - @,
// tab and null); line ends and wide characters as OWASP, "CSV Injection", has them, from memory.
func TestWriteCSV_HoldsNoFormula(t *testing.T) {
	for _, first := range []string{"=", "+", "-", "@", "\t", "\x00", "\r", "\n", "\uFF1D", "\uFF0B", "\uFF0D", "\uFF20"} {
		r := small()
		for _, ev := range r.Events {
			if res := ev.GetResultRecorded().GetResult(); res != nil {
				res.Note = first + "1+1"
			}
		}
		var out strings.Builder
		if err := roundrecord.WriteCSV(&out, r); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(strings.NewReader(out.String())).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if got := rows[1][slices.Index(rows[0], "note")]; !strings.HasPrefix(got, "'") {
			t.Errorf("%q begins a cell", got)
		}
	}
}

func TestWriteJSONL_HoldsTheSameLines(t *testing.T) {
	var out strings.Builder
	if err := roundrecord.WriteJSONL(&out, small()); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	if len(lines) != 4 {
		t.Fatalf("%d lines", len(lines))
	}
	columns := roundrecord.Columns()
	for _, text := range lines {
		var l map[string]any
		if err := json.Unmarshal([]byte(text), &l); err != nil {
			t.Fatal(err)
		}
		for name, value := range l {
			if !slices.Contains(columns, name) || value == "" {
				t.Errorf("%s: %v", name, value)
			}
		}
	}
	if !strings.Contains(lines[0], `"value_kpa":610`) || !strings.Contains(lines[2], `"note":"=1+1"`) {
		t.Errorf("%s\n%s", lines[0], lines[2])
	}
}

// A round that was given up is not told as signed, and one of which events are missing
// does not pass for one in which nothing was found.
func TestWriteHTML_TellsWhatItCannotVouchFor(t *testing.T) {
	whole, unsigned, missing := small(), "and is not signed.", "Not all that was recorded in this round could be read."
	if told := read(t, whole); strings.Contains(told, unsigned) || strings.Contains(told, missing) || !strings.Contains(told, "no signature over its content is kept") {
		t.Errorf("of a whole and signed round is told:\n%s", told)
	}
	given := small()
	given.Events[len(given.Events)-1].GetRoundStateChanged().State = pb.RoundState_ROUND_STATE_GIVEN_UP
	given.Events[len(given.Events)-1].GetRoundStateChanged().ShownVerdict = pb.Verdict_VERDICT_UNSPECIFIED
	told := read(t, given)
	for _, want := range []string{"The round was given up by Ada", unsigned, "the round is not signed"} {
		if !strings.Contains(told, want) {
			t.Errorf("of a round that was given up is not told %q:\n%s", want, told)
		}
	}
	if strings.Contains(told, "was finished on the device") {
		t.Errorf("a round that was given up is told as signed:\n%s", told)
	}
	for _, kept := range []int{0, 1} { // none of its events, and all but the first
		cut := small()
		cut.Events = cut.Events[len(cut.Events)*(1-kept)+kept:]
		if told := read(t, cut); !strings.Contains(told, missing) {
			t.Errorf("of a round with %d events is not told that some are missing:\n%s", len(cut.Events), told)
		}
	}
}
