package roundrecord_test

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"bayround/internal/roundproof"
	"bayround/internal/roundrecord"
	"bayround/internal/signature"
	pb "bayround/proto/bayround/v1"
)

// signedSmall is the small round with the driver's signature in the event that ended it,
// and one result that may come after.
func signedSmall(t *testing.T) *roundrecord.Record {
	t.Helper()
	r := small()
	var results []*pb.Result
	var end *pb.RoundStateChanged
	for _, ev := range r.Events {
		if res := ev.GetResultRecorded().GetResult(); res != nil {
			results = append(results, res)
		}
		if e := ev.GetRoundStateChanged(); e.GetState() == pb.RoundState_ROUND_STATE_FINISHED {
			end = e
		}
	}
	if end == nil || len(results) != 4 {
		t.Fatalf("the small round has %d results and the end %v", len(results), end)
	}
	shown := signature.Shown(r.AtEnd, "d", end.GetNote())
	by := &pb.Signature{
		Person: "people/ada", SignedAs: pb.Role_ROLE_DRIVER, Device: "tablet-1", DeviceTime: r.Round.GetOpened(), Proof: pb.Proof_PROOF_PIN, TabletAlone: true,
	}
	by.StatementSha256 = signature.Of(signature.Content(r.Round, []*pb.RoundConditions{r.Round.GetConditions()}, signature.Newest(results)), shown, by)
	end.Signature, end.Shown = by, shown
	return r
}

// The page works each signature out from the events anew, and says so when it does not fit.
func TestSignatures_AreHeldAgainstTheEvents(t *testing.T) {
	late := func(r *roundrecord.Record) {
		r.Events = append(r.Events, &pb.JournalEvent{Sequence: 99, StationTime: r.Round.GetOpened(), Event: &pb.JournalEvent_ResultRecorded{
			ResultRecorded: &pb.ResultRecorded{Result: &pb.Result{ResultId: "late", StepId: "CAB-010/d", Note: "late"}},
		}})
	}
	for name, tc := range map[string]struct {
		change func(*roundrecord.Record)
		want   string
	}{
		"nothing changed":      {func(*roundrecord.Record) {}, "fits what is on record"},
		"a result came later":  {late, "changed since it was signed"},
		"an answer is another": {func(r *roundrecord.Record) { r.Events[1].GetResultRecorded().Result.Note = "x" }, "DOES NOT FIT"},
		"other words": {func(r *roundrecord.Record) {
			for _, ev := range r.Events {
				if e := ev.GetRoundStateChanged(); e.GetSignature() != nil {
					e.Note += "x"
				}
			}
		}, "DOES NOT FIT"},
	} {
		t.Run(name, func(t *testing.T) {
			r := signedSmall(t)
			for i, ev := range r.Events { // the events are shared with nobody
				r.Events[i] = proto.CloneOf(ev)
			}
			tc.change(r)
			var page strings.Builder
			if err := roundrecord.WriteHTML(&page, r); err != nil {
				t.Fatal(err)
			}
			for _, said := range []string{tc.want, "as driver", "on tablet-1", "checked by the tablet alone"} {
				if !strings.Contains(page.String(), said) {
					t.Errorf("the page does not say %q", said)
				}
			}
			if got := r.Signatures(); len(got) != 1 || !strings.Contains(got[0].Fit, tc.want) {
				t.Errorf("%+v", got)
			}
		})
	}
}

// What a proof shows has its signatures from the events: an officer's counts until an answer comes after it.
func TestProven_TellsWhetherAnOfficerHasSigned(t *testing.T) {
	r := signedSmall(t)
	opened := proto.CloneOf(r.Round)
	opened.State, opened.OfficerSigns = pb.RoundState_ROUND_STATE_OPEN, true
	proven := func(events ...*pb.JournalEvent) *roundrecord.Record {
		return roundrecord.Proven(&roundproof.Shown{Opened: opened, Events: append(r.Events[:len(r.Events):len(r.Events)], events...)})
	}
	officer := &pb.JournalEvent{Event: &pb.JournalEvent_RoundSigned{RoundSigned: &pb.RoundSigned{
		Round: opened.GetName(), Signature: &pb.Signature{Person: "people/bo", SignedAs: pb.Role_ROLE_OFFICER},
	}}}
	late := &pb.JournalEvent{StationTime: opened.GetOpened(), Event: &pb.JournalEvent_ResultRecorded{ResultRecorded: &pb.ResultRecorded{Result: &pb.Result{StepId: "CAB-010/d"}}}}
	for name, tc := range map[string]struct {
		of      *roundrecord.Record
		missing bool
	}{
		"no officer":           {proven(), true},
		"an officer":           {proven(officer), false},
		"an answer after that": {proven(officer, late), true},
	} {
		if tc.of.Missing() != tc.missing || tc.of.Round.GetState() != pb.RoundState_ROUND_STATE_FINISHED {
			t.Errorf("%s: an officer is missing: %v; the round %v", name, tc.of.Missing(), tc.of.Round.GetState())
		}
	}
	var told strings.Builder
	if err := roundrecord.WriteText(&told, proven()); err != nil || !strings.Contains(told.String(), "as driver, on ") || !strings.Contains(told.String(), "fits what is on record.") {
		t.Errorf("%v\n%s", err, told.String())
	}
}

// What stood before the signer stands in the events of the round. In words it is told whole:
// why the verdict was such, and what was open beside what this round's own answers found.
func TestWriteText_TellsWhatTheSignerWasShown(t *testing.T) {
	words := func(r *roundrecord.Record) string {
		var said strings.Builder
		if err := roundrecord.WriteText(&said, r); err != nil {
			t.Fatal(err)
		}
		return said.String()
	}
	if said := words(small()); !strings.Contains(said, "Nobody signed: what else was open") || strings.Contains(said, "Shown to the signer") {
		t.Errorf("of a round that nobody signed it says\n%s", said)
	}
	r := signedSmall(t)
	if said := words(r); !strings.Contains(said, "Nothing was open but what stands above.") {
		t.Errorf("where nothing else was open it says\n%s", said)
	}
	shown, event := r.LastShown()
	if event != 16 {
		t.Fatalf("what was shown stands in event %d", event)
	}
	shown.Reasons = []string{"Outer and inner differ by 0.9 bar."}
	shown.Findings = []*pb.ShownFinding{
		{Pack: "packs/p", Rule: "low", StepIds: []string{"TYR-010/a"}, Grade: pb.Grade_GRADE_MAJOR, Text: "own"},
		{
			Pack: "packs/p", PackVersion: "4", Rule: "twins", StepIds: []string{"TYR-120/outer", "TYR-120/inner"}, Grade: pb.Grade_GRADE_DANGEROUS,
			Effect: pb.Effect_EFFECT_MOVING, Text: "Outer and inner differ by 0.9 bar.",
		},
	}
	said := words(r)
	for _, want := range []string{
		"Shown to the signer with event 16", "  MOVE ONLY – NOT TO RESPOND", "Reason: Outer and inner differ by 0.9 bar.",
		"Also open: DANGEROUS: Outer and inner differ by 0.9 bar.\n", "; at TYR-120/outer, TYR-120/inner; rule twins of packs/p version 4",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not in\n%s", want, said)
		}
	}
	if strings.Contains(said, "Also open: MAJOR: own") {
		t.Error("what an answer of this round found is told twice")
	}
}
