package round_test

import (
	"testing"
	"time"

	"bayround/internal/round"
	"bayround/internal/rpc"
	"bayround/internal/signature"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// pin2468 is the hash of the invented county's PIN.
const pin2468 = "$argon2id$v=19$m=19456,t=2,p=1$ZB5v/cwAXBb3rPaNnsOZNg$2oxB05GKQZxhqobku1ZwCG8IKSdzF9gdXMXCYWPAMac"

// withOfficers are changes of the small configuration: an officer signs every shift check.
func withOfficers() []string {
	pin := `, pin_argon2id: "` + pin2468 + `"}`
	return []string{
		"{name: people/driver, title: Driver, roles: [ROLE_DRIVER]}",
		"{name: people/driver, title: Driver, roles: [ROLE_DRIVER, ROLE_OFFICER]" + pin + "\n  - {name: people/officer, title: Officer, roles: [ROLE_OFFICER]" + pin,
		"{name: people/mechanic, title: Mechanic, roles: [ROLE_WORKSHOP, ROLE_ADMINISTRATOR]}", "{name: people/mechanic, title: Mechanic, roles: [ROLE_WORKSHOP, ROLE_ADMINISTRATOR]" + pin,
		"title: shift check,", "title: shift check, officer_signs: true,",
	}
}

// finish drives a shift check of the small pump, of which nothing is looked at, and signs it.
func (tab *hands) finish() (name string) {
	tab.t.Helper()
	tab.act("choose", "vehicle", firstPump, "routine", shiftCheck)
	if tab.View().Session == nil {
		tab.act("sign-in", "person", "people/driver", "pin", "2468")
	}
	tab.act("assistant", "person", "")
	tab.act("engine", "minutes", "600")
	tab.act("begin")
	tab.act("skip", "reason", "no_time")
	name = tab.View().Round.Name
	tab.act("overview")
	tab.act("sign-page")
	tab.act("hand-note", "text", "mind the pump")
	tab.act("sign", "pin", "2468", "seen", tab.View().Closing.Seen)
	return name
}

// An officer signs after the driver, as another person, under what the page shows; it can
// wait, and is named until then.
func TestDesk_AnOfficerSignsASecondTime(t *testing.T) {
	t.Parallel()
	clock := stationtest.NewClock()
	tab := handsOn(t, stationtest.OpenWith(t, clock, station.Options{Dir: t.TempDir(), Now: clock.Now, Defaults: altered(t, withOfficers()...)}), clock)
	name := tab.finish()
	if v := tab.View(); v.Phase != round.PhaseHandover || !v.Closing.WantsOfficer {
		t.Fatalf("after the driver: phase %v, an officer is wanted %t", v.Phase, v.Closing.WantsOfficer)
	}
	v := tab.act("second")
	if c := v.Closing; v.Phase != round.PhaseSecond || c.Seen == "" || len(c.NotChecked) != 1 || c.Ended.GetClosingNote() != "mind the pump" {
		t.Fatalf("phase %v; what is to be signed: %+v", v.Phase, c)
	}
	tab.refused("SAME_PERSON", "sign-second", "person", "people/driver", "pin", "2468", "seen", v.Closing.Seen)
	tab.refused("NOT_OFFICER", "sign-second", "person", "people/mechanic", "pin", "2468", "seen", v.Closing.Seen)
	tab.refused("PERSON_UNKNOWN", "sign-second", "pin", "2468", "seen", v.Closing.Seen)
	tab.refused("PIN_WRONG", "sign-second", "person", "people/officer", "pin", "1357", "seen", v.Closing.Seen)
	tab.refused("CHANGED_BEFORE_SIGNING", "sign-second", "person", "people/officer", "pin", "2468", "seen", "00")
	if v = tab.act("later"); v.Phase != round.PhaseHandover {
		t.Fatalf("later leads to phase %v", v.Phase)
	}
	if v = tab.act("done"); len(v.Awaiting) != 1 || v.Awaiting[0].Round.GetName() != name || !v.Awaiting[0].Here {
		t.Fatalf("what waits: %v", v.Awaiting)
	}
	tab.reopen()
	v = tab.act("second", "round", name)
	v = tab.act("sign-second", "person", "people/officer", "pin", "2468", "seen", v.Closing.Seen)
	if v.Phase != round.PhaseVehicles || len(v.Awaiting) != 0 {
		t.Errorf("after signing: phase %v, %v waits", v.Phase, v.Awaiting)
	}
	tab.refused("NOT_AWAITED", "second", "round", name)
	resp, err := tab.kit.GetRound(ctx, &pb.GetRoundRequest{Name: name})
	must(t, err)
	content, err := tab.kit.GetRoundContent(ctx, &pb.GetRoundContentRequest{Name: name})
	must(t, err)
	by := resp.GetRound().GetSignatures()
	if len(by) != 2 || by[1].GetPerson() != "people/officer" || by[1].GetDevice() != "tablet-1" || by[1].GetProof() != pb.Proof_PROOF_PIN || !by[1].GetTabletAlone() {
		t.Fatalf("signed by %v", by)
	}
	shown := signature.Shown(tab.kit.Readiness(firstPump), resp.GetRound().GetPlanDigest(), "mind the pump")
	if !signature.Fits(content.GetContent(), shown, by[1]) {
		t.Error("the signature is over something else than the page showed")
	}
}

// apart is a tablet of the small station with officers, and a hand on it, as of so long ago:
// the tablet can reach the station, the hand works without it.
func apart(t *testing.T, o *ofRecord, ago time.Duration) (*tablet, *hands) {
	t.Helper()
	conn, err := rpc.Dial(o.wire.Address())
	must(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	b := &tablet{Kit: openSmall(t, altered(t, withOfficers()...)), device: "tablet-1", dir: t.TempDir(), conn: conn}
	clock := stationtest.NewClock()
	clock.Advance(time.Since(clock.Now()) - ago)
	return b, handsBy(t, &hands{t: t, kit: b.Kit, clock: clock, wall: clock.Now})
}

// What an officer signs while the station is away reaches it once; what is signed at the
// station, or driven with another tablet, is known on this one while the station is heard.
func TestDesk_TheSecondSignatureIsSent(t *testing.T) {
	t.Parallel()
	o := openOfRecord(t, withOfficers()...)
	b, tab := apart(t, o, 0)
	name := tab.finish()
	v := tab.act("second")
	tab.act("sign-second", "person", "people/officer", "pin", "2468", "seen", v.Closing.Seen)
	if v = tab.act("done"); len(v.Awaiting) != 0 {
		t.Errorf("signed, and yet named: %v", v.Awaiting)
	}
	last := tab.finish()
	tab.act("done")
	elsewhere := o.RecordAll(secondPump, shiftCheck)
	_, err := o.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: o.ID(), Round: elsewhere})
	must(t, err)
	b.start()
	t.Cleanup(b.stop)
	tab.up = b.up
	tab.reopen()
	v = tab.await(func(v *round.View) bool { return v.Link.Live && v.Link.Pending == 0 && len(v.Awaiting) == 2 })
	for _, w := range v.Awaiting {
		if w.Here != (w.Round.GetName() == last) || w.Round.GetName() == name {
			t.Errorf("waits: %v, can be signed here %t", w.Round, w.Here)
		}
	}
	if len(v.Link.Refused) > 0 {
		t.Errorf("refused: %v", v.Link.Refused)
	}
	tab.refused("NOT_AWAITED", "second", "round", elsewhere)
	resp, err := o.GetRound(ctx, &pb.GetRoundRequest{Name: name})
	must(t, err)
	if by := resp.GetRound().GetSignatures(); len(by) != 2 || by[1].GetPerson() != "people/officer" || !by[1].GetTabletAlone() || by[1].GetChangedSince() != nil {
		t.Errorf("the station has the signatures %v", by)
	}

	content, err := o.GetRoundContent(ctx, &pb.GetRoundContentRequest{Name: last})
	must(t, err)
	by := &pb.Signature{Person: "people/officer", SignedAs: pb.Role_ROLE_OFFICER, Proof: pb.Proof_PROOF_CERTIFICATE}
	by.StatementSha256 = signature.Of(content.GetContent(), &pb.ShownToSigner{}, by)
	_, err = o.SignRound(ctx, &pb.SignRoundRequest{RequestId: o.ID(), Round: last, Signature: by, Shown: &pb.ShownToSigner{}})
	must(t, err)
	tab.await(func(v *round.View) bool { return len(v.Awaiting) == 1 })
}
