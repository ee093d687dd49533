package paper_test

import (
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/paper"
	pb "bayround/proto/bayround/v1"
)

func sheet() paper.Sheet {
	at := time.Date(2026, 2, 3, 7, 30, 0, 0, time.UTC)
	f := &pb.Finding{FindingId: "f", Text: "Tread 1.4 mm, under 1.6 mm.", DriverDoes: "Change the tyre."}
	return paper.Sheet{
		Readiness: &pb.Readiness{
			Vehicle: "vehicles/wn21", CallSign: "WN21", Station: "stations/grellan", Verdict: pb.Verdict_VERDICT_UNFIT, Since: timestamppb.New(at),
			Restrictions: []*pb.Restriction{{Text: "not above 60 km/h"}},
			Reasons: []*pb.Reason{
				{Verdict: pb.Verdict_VERDICT_UNFIT, Text: f.GetText(), Cause: &pb.Reason_Finding{Finding: f}},
				{Verdict: pb.Verdict_VERDICT_UNPROVEN, Text: "1 item open", Cause: &pb.Reason_Unproven{Unproven: &pb.Unproven{
					Required: 2, Steps: []*pb.UnprovenStep{{StepId: "BRK-010/cab", Title: "Foot brake", MustNotMiss: true}},
				}}},
			},
			OpenDefects: []*pb.Defect{{Name: "vehicles/wn21/defects/d1", Findings: []*pb.Finding{f}, FirstFound: timestamppb.New(at)}},
		},
		Explained: []*pb.Explanation{{Finding: f, Lines: []*pb.ExplanationLine{
			{Part: pb.ExplanationPart_EXPLANATION_PART_READ, Text: "1.4 mm with <G-03>"},
			{Part: pb.ExplanationPart_EXPLANATION_PART_MADE, Text: "a step in between"},
			{Part: pb.ExplanationPart_EXPLANATION_PART_LIMIT, Text: "at least 1.6 mm."},
			{Part: pb.ExplanationPart_EXPLANATION_PART_CONFIDENCE, Text: "not kept with 99.9 %"},
			{Part: pb.ExplanationPart_EXPLANATION_PART_SOURCE, Text: "regulation 27"},
		}}},
		Printed: at.Add(time.Minute), Checkpoint: "bayround/x\n7\nabc=\n\n— sig\n", VerifierKey: "bayround/x+1+k",
	}
}

// text is what a reader of the sheet reads.
func text(t *testing.T, s paper.Sheet) string {
	t.Helper()
	var page strings.Builder
	if err := paper.Write(&page, s); err != nil {
		t.Fatal(err)
	}
	root, err := html.Parse(strings.NewReader(page.String()))
	if err != nil {
		t.Fatal(err)
	}
	var words []string
	for node := range root.Descendants() {
		if node.Type == html.ElementNode {
			for _, a := range node.Attr {
				if a.Key == "src" || a.Key == "href" {
					t.Errorf("the sheet loads %s", a.Val)
				}
			}
		}
		if node.Type == html.TextNode && node.Parent.Data != "style" {
			words = append(words, strings.Fields(node.Data)...)
		}
	}
	return strings.Join(words, " ")
}

func TestWrite_TellsWhatStandsAndWhy(t *testing.T) {
	told := text(t, sheet())
	for _, want := range []string{
		"WN21", "DO NOT MOVE", "since 3 Feb 2026 07:30 UTC", "Printed 3 Feb 2026 07:31 UTC", "not above 60 km/h",
		"Tread 1.4 mm, under 1.6 mm.", "Read 1.4 mm with <G-03>. Limit at least 1.6 mm. How sure not kept with 99.9 %. Source regulation 27.",
		"To do Change the tyre.", "1 item open", "Foot brake (must not be missed)", "first found 3 Feb 2026 07:30 UTC", "licensed technician",
		"Officer in charge", "bayround/x 7 abc=", "verifier key bayround/x+1+k",
	} {
		if !strings.Contains(told, want) {
			t.Errorf("%q is not told:\n%s", want, told)
		}
	}
	if strings.Contains(told, "a step in between") {
		t.Error("the sheet tells more than what is needed to follow")
	}
}

func TestWrite_SaysNilWhereThereIsNothing(t *testing.T) {
	s := sheet()
	s.Readiness = &pb.Readiness{CallSign: "WN11", Verdict: pb.Verdict_VERDICT_FIT}
	s.Explained, s.Checkpoint = nil, ""
	told := text(t, s)
	for _, want := range []string{"FIT TO RESPOND", "Limits in force None.", "No defects: nil return.", "nothing that was read or seen breaks a rule"} {
		if !strings.Contains(told, want) {
			t.Errorf("%q is not told:\n%s", want, told)
		}
	}
	for _, not := range []string{"Not proven", "verifier key"} {
		if strings.Contains(told, not) {
			t.Errorf("%q is told of nothing", not)
		}
	}
}

func TestWord_WhatNobodyKnowsIsNotProven(t *testing.T) {
	for _, v := range []pb.Verdict{pb.Verdict_VERDICT_UNSPECIFIED, 99} {
		if got := (paper.Sheet{Readiness: &pb.Readiness{Verdict: v}}).Word(); got != "NOT PROVEN" {
			t.Errorf("%v: %s", v, got)
		}
	}
}
