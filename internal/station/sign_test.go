package station_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/signature"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// officers adds an officer, and one who drives, to the small station; an officer signs every shift check.
func officers(t *testing.T) *stationtest.Kit {
	t.Helper()
	k := stationtest.Open(t)
	k.ApplyAltered(
		"  - {name: people/mechanic,", "  - {name: people/officer, title: Officer, roles: [ROLE_OFFICER]}\n"+
			"  - {name: people/both, title: Both, roles: [ROLE_DRIVER, ROLE_OFFICER]}\n  - {name: people/mechanic,",
		"title: shift check,", "title: shift check, officer_signs: true,")
	return k
}

// signedAs is what a person signs of a round, as it is known at a station.
func signedAs(t *testing.T, k *stationtest.Kit, round, person string, as pb.Role, note string) (*pb.Signature, *pb.ShownToSigner) {
	t.Helper()
	resp, err := k.GetRoundContent(ctx, &pb.GetRoundContentRequest{Name: round})
	if err != nil {
		t.Fatal(err)
	}
	shown := signature.Shown(k.Readiness(p1), "", note)
	by := &pb.Signature{Person: person, SignedAs: as, Device: "tablet-1", DeviceTime: timestamppb.New(k.Clock.Now()), Proof: pb.Proof_PROOF_PIN}
	by.StatementSha256 = signature.Of(resp.GetContent(), shown, by)
	return by, shown
}

func signedFinish(t *testing.T, k *stationtest.Kit, round, note string) *pb.FinishRoundRequest {
	t.Helper()
	by, shown := signedAs(t, k, round, "people/driver", pb.Role_ROLE_DRIVER, note)
	return &pb.FinishRoundRequest{RequestId: k.ID(), Round: round, Note: note, ShownVerdict: shown.GetVerdict(), Signature: by, Shown: shown}
}

func signaturesOf(t *testing.T, k *stationtest.Kit, round string) []*pb.Signature {
	t.Helper()
	resp, err := k.GetRound(ctx, &pb.GetRoundRequest{Name: round})
	if err != nil {
		t.Fatal(err)
	}
	return resp.GetRound().GetSignatures()
}

// A signature is taken when it is over what the station holds, and refused when anything
// that is signed differs. What was refused leaves the round open, to be signed anew.
func TestFinishRound_TakesASignatureOverWhatItHoldsAlone(t *testing.T) {
	k := officers(t)
	round := k.RecordAll(p1, shift)
	for _, tc := range []struct {
		name   string
		change func(*pb.FinishRoundRequest)
		want   refusal
	}{
		{"another hash", func(r *pb.FinishRoundRequest) { r.Signature.StatementSha256[3] ^= 1 }, refusal{fault.Precondition, "SIGNED_SOMETHING_ELSE"}},
		{"another person", func(r *pb.FinishRoundRequest) { r.Signature.Person = "people/other" }, refusal{fault.Precondition, "SIGNED_SOMETHING_ELSE"}},
		{"another device", func(r *pb.FinishRoundRequest) { r.Signature.Device = "tablet-2" }, refusal{fault.Precondition, "SIGNED_SOMETHING_ELSE"}},
		{"another instant", func(r *pb.FinishRoundRequest) { r.Signature.DeviceTime.Seconds++ }, refusal{fault.Precondition, "SIGNED_SOMETHING_ELSE"}},
		{"another proof", func(r *pb.FinishRoundRequest) { r.Signature.Proof = pb.Proof_PROOF_BADGE_AND_PIN }, refusal{fault.Precondition, "SIGNED_SOMETHING_ELSE"}},
		{"another reason shown", func(r *pb.FinishRoundRequest) { r.Shown.Reasons = append(r.Shown.Reasons, "more") }, refusal{fault.Precondition, "SIGNED_SOMETHING_ELSE"}},
		{"another verdict than shown", func(r *pb.FinishRoundRequest) { r.ShownVerdict = pb.Verdict_VERDICT_UNFIT }, refusal{fault.Invalid, "SHOWN_TWICE"}},
		{"other words than signed", func(r *pb.FinishRoundRequest) { r.Note = "all well" }, refusal{fault.Invalid, "NOTE_NOT_SIGNED"}},
		{"as an officer", func(r *pb.FinishRoundRequest) { r.Signature.SignedAs = pb.Role_ROLE_OFFICER }, refusal{fault.Invalid, "SIGNED_AS_WRONG"}},
		{"by nobody known", func(r *pb.FinishRoundRequest) { r.Signature.Person = "people/nobody" }, refusal{fault.NotFound, "PERSON_UNKNOWN"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			req := signedFinish(t, k, round, "mind the pump")
			tc.change(req)
			_, err := k.FinishRound(ctx, req)
			tc.want.check(t, err)
		})
	}
	late := signedFinish(t, k, round, "")
	k.Record(round, stationtest.Seen(screen, "01"))
	_, err := k.FinishRound(ctx, late)
	refusal{fault.Precondition, "SIGNED_SOMETHING_ELSE"}.check(t, err)

	req := signedFinish(t, k, round, "mind the pump")
	for range 2 { // sending it again does nothing twice
		resp, err := k.FinishRound(ctx, req)
		if err != nil {
			t.Fatal(err)
		}
		want := proto.CloneOf(req.GetSignature())
		want.StationTime = resp.GetRound().GetSignatures()[0].GetStationTime()
		if d := diff(&pb.Round{Signatures: []*pb.Signature{want}}, &pb.Round{Signatures: resp.GetRound().GetSignatures()}); d != "" || want.GetStationTime() == nil {
			t.Errorf("signatures (want: -)\n%s", d)
		}
	}
	k.Reopen()
	if got := signaturesOf(t, k, round); len(got) != 1 || got[0].GetChangedSince() != nil {
		t.Errorf("after a restart: %v", got)
	}
}

// A result that reaches the station after the signature takes its fit away, for good:
// also over a restart, and where everything is made from the events anew.
func TestSignature_DoesNotFitALaterResult(t *testing.T) {
	k := officers(t)
	round := k.RecordAll(p1, shift)
	late := k.Request(round, stationtest.Seen(screen, "01"))
	k.Clock.Advance(time.Minute)
	if _, err := k.FinishRound(ctx, signedFinish(t, k, round, "")); err != nil {
		t.Fatal(err)
	}
	k.Clock.Advance(time.Minute)
	if _, err := k.RecordResult(ctx, late); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		got := signaturesOf(t, k, round)
		if len(got) != 1 || !got[0].GetChangedSince().AsTime().Truncate(time.Second).Equal(k.Clock.Now()) {
			t.Fatalf("%v, want it changed since %v", got, k.Clock.Now())
		}
		k.Reopen()
	}
}

// The second signature is an officer's and another person's.
func TestSignRound_IsAnotherPersonsAndAnOfficers(t *testing.T) {
	k := officers(t)
	round := k.RecordAll(p1, shift)
	sign := func(person string, as pb.Role) error {
		by, shown := signedAs(t, k, round, person, as, "")
		_, err := k.SignRound(ctx, &pb.SignRoundRequest{RequestId: k.ID(), Round: round, Signature: by, Shown: shown})
		return err
	}
	refusal{fault.Precondition, "ROUND_NOT_FINISHED"}.check(t, sign("people/officer", pb.Role_ROLE_OFFICER))
	req := signedFinish(t, k, round, "")
	resp, err := k.GetRoundContent(ctx, &pb.GetRoundContentRequest{Name: round})
	if err != nil {
		t.Fatal(err)
	}
	req.Signature.Person = "people/both" // drives the rest of another's round
	req.Signature.StatementSha256 = signature.Of(resp.GetContent(), req.GetShown(), req.GetSignature())
	if _, err := k.FinishRound(ctx, req); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		person string
		as     pb.Role
		want   refusal
	}{
		{"people/driver", pb.Role_ROLE_OFFICER, refusal{fault.Precondition, "NOT_OFFICER"}},
		{"people/mechanic", pb.Role_ROLE_OFFICER, refusal{fault.Precondition, "NOT_OFFICER"}},
		{"people/nobody", pb.Role_ROLE_OFFICER, refusal{fault.NotFound, "PERSON_UNKNOWN"}},
		{"people/both", pb.Role_ROLE_OFFICER, refusal{fault.Precondition, "SAME_PERSON"}},
		{"people/officer", pb.Role_ROLE_DRIVER, refusal{fault.Invalid, "SIGNED_AS_WRONG"}},
		{"people/officer", pb.Role_ROLE_OFFICER, refusal{}},
		{"people/officer", pb.Role_ROLE_OFFICER, refusal{fault.Precondition, "ALREADY_SIGNED"}},
	} {
		t.Run(tc.person, func(t *testing.T) { tc.want.check(t, sign(tc.person, tc.as)) })
	}
	by, shown := signedAs(t, k, round, "people/officer", pb.Role_ROLE_OFFICER, "")
	by.StatementSha256 = make([]byte, 32)
	_, err = k.SignRound(ctx, &pb.SignRoundRequest{RequestId: k.ID(), Round: nowhere, Signature: by, Shown: shown})
	refusal{fault.NotFound, "ROUND_UNKNOWN"}.check(t, err)
	k.Reopen()
	got := signaturesOf(t, k, round)
	if len(got) != 2 || got[0].GetPerson() != "people/both" || got[1].GetPerson() != "people/officer" || got[1].GetSignedAs() != pb.Role_ROLE_OFFICER {
		t.Errorf("signatures %v", got)
	}
}

// Which rounds an officer signs is what the routine said when they were opened.
func TestOpenRound_SaysWhetherAnOfficerSigns(t *testing.T) {
	k := officers(t)
	for vehicle, want := range map[string]bool{shift: true, weekly: false} {
		resp, err := k.GetRound(ctx, &pb.GetRoundRequest{Name: k.OpenRound(p2, vehicle)})
		if err != nil || resp.GetRound().GetOfficerSigns() != want {
			t.Errorf("%s: an officer signs %t (%v), want %t", vehicle, resp.GetRound().GetOfficerSigns(), err, want)
		}
	}
}

// A tablet and its station hold the same content of a round, so that what is signed on
// the one fits on the other.
func TestRoundContent_IsTheSameOnTheTabletThatTookItOver(t *testing.T) {
	k := officers(t)
	round := k.RecordAll(p1, shift)
	twin := k.Twin()
	twin.AdoptLibrary(k)
	twin.AdoptStanding(k, p1)
	var both []*pb.RoundContent
	for _, s := range []*stationtest.Kit{k, twin} {
		resp, err := s.GetRoundContent(ctx, &pb.GetRoundContentRequest{Name: round})
		if err != nil {
			t.Fatal(err)
		}
		both = append(both, resp.GetContent())
	}
	if d := diff(both[0], both[1]); d != "" || len(both[0].GetResults()) == 0 {
		t.Errorf("station (-) and tablet (+)\n%s", d)
	}
}

// A round waits for an officer from its end until one has signed, and again when a result
// comes after that; over a restart, too.
func TestListRounds_NamesWhatWaitsForAnOfficer(t *testing.T) {
	k := officers(t)
	waits := func(when string, want int) {
		t.Helper()
		for range 2 {
			resp, err := k.ListRounds(ctx, &pb.ListRoundsRequest{AwaitingOfficer: true})
			if err != nil || len(resp.GetRounds()) != want {
				t.Fatalf("%s: %d rounds wait (%v), want %d", when, len(resp.GetRounds()), err, want)
			}
			k.Reopen()
		}
	}
	round := k.RecordAll(p1, shift)
	late := k.Request(round, stationtest.Seen(screen, "01"))
	waits("while it is open", 0)
	if _, err := k.FinishRound(ctx, signedFinish(t, k, round, "mind the pump")); err != nil {
		t.Fatal(err)
	}
	waits("when it is finished", 1)
	by, shown := signedAs(t, k, round, "people/officer", pb.Role_ROLE_OFFICER, "mind the pump")
	resp, err := k.SignRound(ctx, &pb.SignRoundRequest{RequestId: k.ID(), Round: round, Signature: by, Shown: shown})
	if err != nil || resp.GetRound().GetClosingNote() != "mind the pump" {
		t.Fatalf("%v, %v", resp, err)
	}
	waits("when it is signed", 0)
	if _, err := k.RecordResult(ctx, late); err != nil {
		t.Fatal(err)
	}
	waits("when it has changed since", 1)
}
