package screen

import (
	"bytes"
	"fmt"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	pagecommands "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/roundrecord"
	"bayround/internal/signature"
	pb "bayround/proto/bayround/v1"
)

// readingOf is what was read at a place of longRecord, in bar: at each another value.
func readingOf(n int) float64 { return float64(800+n) / 100 }

// notLookedAt is the place of longRecord that nobody looked at.
const notLookedAt = 20

// longRecord is a signed round of sixty steps, of which the seventh was found bad and put right since.
func longRecord() *roundrecord.Record {
	at := timestamppb.New(time.Date(2026, 2, 3, 7, 30, 0, 0, time.UTC))
	r := &roundrecord.Record{
		Round: &pb.Round{
			Name: "rounds/0d6f1f0e-8f0c-4c38-9c8c-0c7d0b2f8a11", Vehicle: "vehicles/wn21", Routine: "routines/shift", Driver: "people/fennigar",
			State: pb.RoundState_ROUND_STATE_FINISHED, Opened: at, PlanDigest: "d", Steps: 60, Answered: 60, NotChecked: 1,
		},
		Plan: &pb.Plan{Digest: "d"}, Vehicle: &pb.VehicleConfiguration{CallSign: "WN21", Title: "rescue with crane and winch, 18 t"},
		Now: &pb.Readiness{Verdict: pb.Verdict_VERDICT_UNPROVEN}, Made: at.AsTime(), Checkpoint: "bayround/station\n62\n" + strings.Repeat("A", 43) + "=\n\n— bayround/station sig\n",
		People: map[string]string{"people/fennigar": "Oleta Fennigar"},
		Defects: []*pb.Defect{{
			Name: "vehicles/wn21/defects/3f2a9c", StepId: "TYR-120/7", Findings: []*pb.Finding{{Pack: "packs/p", Rule: "low"}}, FirstFound: at,
			State: pb.DefectState_DEFECT_STATE_RECTIFIED, Repair: &pb.Repair{Person: "people/steddow", Done: "valve renewed", StationTime: at},
		}},
	}
	var results []*pb.Result
	add := func(ev *pb.JournalEvent) {
		ev.Sequence, ev.StationTime, ev.Person = int64(len(r.Events)+1), at, "people/fennigar"
		r.Events = append(r.Events, ev)
	}
	add(&pb.JournalEvent{Event: &pb.JournalEvent_RoundOpened{RoundOpened: &pb.RoundOpened{Round: r.Round}}})
	for n := range 60 {
		id := fmt.Sprintf("TYR-120/%d", n)
		r.Plan.Steps = append(r.Plan.Steps, &pb.CheckStep{
			StepId: id, Title: fmt.Sprintf("Tyre pressure, place %d of the sixty that this long vehicle has", n), Stop: "s", StopTitle: "Round the vehicle",
			LimitText: "Placard pressure 8.5 bar; outer and inner within 0.35 bar of each other.", Cautions: []string{"Stand beside the wheel."},
		})
		recorded := &pb.ResultRecorded{Result: &pb.Result{
			ResultId: id, StepId: id, Person: "people/fennigar", LookedAt: at, Gauge: "gauges/g-11",
			Answer: &pb.Result_Reading{Reading: &pb.Reading{Values: []*pb.Value{{Part: "pressure", AsTyped: readingOf(n), Unit: "bar"}}}},
		}}
		if n == 7 {
			recorded.Findings = []*pb.Finding{{
				FindingId: "low", Pack: "packs/p", Rule: "low", StepIds: []string{id}, Grade: pb.Grade_GRADE_MAJOR, Text: "Far below the placard.",
				DriverDoes: "Inflate it and read it again.", PackVersion: "3", Source: &pb.Source{Title: "House rules", Clause: "4.2", Status: pb.SourceStatus_SOURCE_STATUS_SERVICE_POLICY},
			}}
		}
		if n == notLookedAt {
			recorded.Result.Gauge, recorded.Result.Note = "", "it snowed in"
			recorded.Result.Answer = &pb.Result_NotChecked{NotChecked: &pb.NotChecked{Reason: pb.NotCheckedReason_NOT_CHECKED_REASON_NOT_REACHABLE}}
		}
		results = append(results, recorded.Result)
		add(&pb.JournalEvent{Event: &pb.JournalEvent_ResultRecorded{ResultRecorded: recorded}})
	}
	end := &pb.RoundStateChanged{Round: r.Round.GetName(), State: pb.RoundState_ROUND_STATE_FINISHED, Note: "the next watch reads the spare"}
	end.Shown = signature.Shown(r.Now, "d", end.GetNote())
	end.Signature = &pb.Signature{Person: "people/fennigar", SignedAs: pb.Role_ROLE_DRIVER, Device: "tablet-1", DeviceTime: at, Proof: pb.Proof_PROOF_PIN}
	end.Signature.StatementSha256 = signature.Of(signature.Content(r.Round, []*pb.RoundConditions{nil}, signature.Newest(results)), end.GetShown(), end.GetSignature())
	add(&pb.JournalEvent{Event: &pb.JournalEvent_RoundStateChanged{RoundStateChanged: end}})
	return r
}

// The record page of a round in a browser: in order for who does not see it, and on paper
// everything that is on the screen, nothing cut off at the edge.
func TestPages_TheRecordOfARoundIsAccessibleAndPrintsWhole(t *testing.T) {
	var written bytes.Buffer
	if err := roundrecord.WriteHTML(&written, longRecord()); err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/" {
			http.NotFound(w, r) // the browser asks for an icon
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		_, _ = w.Write(written.Bytes())
	}))
	t.Cleanup(server.Close)
	b := openBrowser(t, 1280, 800)
	b.do(t, chromedp.Navigate(server.URL))
	b.until(t, "document.readyState === 'complete'")
	for _, wrong := range value[[]string](t, b, disorder) {
		t.Error(wrong)
	}
	found, named := unnamed(t, b)
	if len(found) > 0 || named < 8 { // h1, eight h2, the findings' h3
		t.Errorf("%d headings and regions have names, these have none: %q", named, found)
	}
	words := value[string](t, b, "document.body.innerText.replace(/\\s+/g, ' ')")
	for _, want := range []string{
		"8.5 bar, with G-11 Placard pressure 8.5 bar; outer and inner", "No defect found", "FOUND: MAJOR", "it snowed in",
		"Repaired by steddow", "valve renewed", "Driver, name and time", "Officer in charge, name and time", "Stand beside the wheel.",
	} {
		if !strings.Contains(words, want) {
			t.Errorf("%q is not on the page", want)
		}
	}
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"}); err != nil {
		t.Fatal(err)
	}
	b.size(t, 695, 1000) // the breadth between the margins of A4, at 96 to the inch
	if printed := value[string](t, b, "document.body.innerText.replace(/\\s+/g, ' ')"); printed != words {
		t.Errorf("on paper stands other than on the screen:\n%.600s", printed)
	}
	for _, wide := range value[[]string](t, b, `[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > innerWidth + 1 || e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0).map(e => e.tagName + " " + e.textContent.trim().slice(0, 40))`) {
		t.Errorf("it runs over the edge of the paper: %s", wide)
	}
	pdf, err := chromedp.Call(b.ctx, pagecommands.PrintToPDF, pagecommands.PrintToPDFParams{PreferCSSPageSize: new(true)})
	if err != nil {
		t.Fatal(err)
	}
	// Dictionaries of pages stand uncompressed in what Chromium writes; PDF 1.7, ISO 32000-1, 7.7.3.3.
	pages := len(regexp.MustCompile(`/Type\s*/Page[^s]`).FindAll(pdf.Data, -1))
	if !bytes.HasPrefix(pdf.Data, []byte("%PDF-")) || pages < 3 || pages > 12 {
		t.Errorf("sixty answers are printed on %d pages, want a few", pages)
	}
	if complaints := b.complaints(); complaints != "" && !strings.Contains(complaints, "404") {
		t.Error(complaints)
	}
	comparePaper(t, onPaper(t, pdf.Data))
}
