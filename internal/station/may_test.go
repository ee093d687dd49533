package station_test

import (
	"errors"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/admit"
	"bayround/internal/fault"
	"bayround/internal/signature"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// withEveryRole adds one person for each role to a station, people/only-{role}.
func withEveryRole(t *testing.T, k *stationtest.Kit) {
	t.Helper()
	text := "people:\n"
	for _, role := range admit.PersonRoles() {
		text += "  - {name: " + only(role) + ", title: Only " + admit.PersonWord(role) + ", roles: [" + role.String() + "]}\n"
	}
	files := []*pb.NamedFile{{FileName: "roles.yaml", Content: []byte(text)}}
	if _, err := k.Apply(ctx, &pb.ApplyRequest{RequestId: k.ID(), Files: files}); err != nil {
		t.Fatal(err)
	}
}

// only is the person who has this role alone.
func only(role pb.Role) string {
	return "people/only-" + strings.ReplaceAll(admit.PersonWord(role), " ", "-")
}

// deeds are all deeds of the table as commands to one station; what is dealt with in
// a command comes before its person's roles only where it must be there at all.
func deeds(t *testing.T, k *stationtest.Kit) map[admit.Deed]func(person string) error {
	round := k.RecordAll(p1, shift)
	k.Record(round, leaking(valve))
	defect := openAt(k, valve)
	finished := k.RecordAll(p2, shift)
	if _, err := k.FinishRound(ctx, signedFinish(t, k, finished, "")); err != nil {
		t.Fatal(err)
	}
	open := func(driver, assistant string) error {
		_, err := k.Station.OpenRound(ctx, &pb.OpenRoundRequest{Round: "rounds/" + k.ID(), Vehicle: p2, Routine: shift, Driver: driver, Assistant: assistant, Device: "tablet-1"})
		return err
	}
	look := func(person string) error {
		r := stationtest.Seen(screen)
		r.Person = person
		_, err := k.TryRecord(round, r)
		return err
	}
	return map[admit.Deed]func(person string) error{
		admit.Drive:  func(person string) error { return open(person, "") },
		admit.Assist: func(person string) error { return open("people/driver", person) },
		admit.TakeOver: func(person string) error {
			_, err := k.ChangeAssistant(ctx, &pb.ChangeAssistantRequest{RequestId: k.ID(), Round: round, Assistant: person})
			return err
		},
		admit.Look:       look,
		admit.LookStream: look, // the same command, one after the other
		admit.Sign: func(person string) error {
			name := k.OpenRound(p2, shift)
			by, shown := signedAs(t, k, name, person, pb.Role_ROLE_DRIVER, "")
			_, err := k.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: k.ID(), Round: name, ShownVerdict: shown.GetVerdict(), Signature: by, Shown: shown})
			return err
		},
		admit.SignSecond: func(person string) error {
			by, shown := signedAs(t, k, finished, person, pb.Role_ROLE_OFFICER, "")
			_, err := k.SignRound(ctx, &pb.SignRoundRequest{RequestId: k.ID(), Round: finished, Signature: by, Shown: shown})
			return err
		},
		admit.CheckGauge: func(person string) error {
			_, err := k.CheckGauge(ctx, &pb.CheckGaugeRequest{RequestId: k.ID(), Gauge: "gauges/g-1", Check: &pb.GaugeCheck{
				Person: person, Reference: "a master gauge", Shown: 8, ReferenceValue: 8,
			}})
			return err
		},
		admit.Incident: func(person string) error {
			_, err := k.RecordIncident(ctx, &pb.RecordIncidentRequest{RequestId: k.ID(), Vehicle: p1, Person: person})
			return err
		},
		admit.Erase: func(person string) error {
			_, err := k.ErasePerson(ctx, &pb.ErasePersonRequest{RequestId: k.ID(), Person: "people/nobody-else", By: person, Reason: "left"})
			return err
		},
		admit.Stop: func(person string) error {
			_, err := k.StopVehicle(ctx, &pb.StopVehicleRequest{RequestId: k.ID(), Vehicle: p2, Person: person, Reason: "smells of fuel"})
			return err
		},
		admit.Release: func(person string) error {
			_, err := k.ReleaseVehicle(ctx, &pb.ReleaseVehicleRequest{RequestId: k.ID(), Defect: defect, Person: person, Checked: "looked"})
			return err
		},
		admit.Acknowledge: func(person string) error {
			_, err := k.AcknowledgeDefect(ctx, &pb.AcknowledgeDefectRequest{RequestId: k.ID(), Defect: defect, Person: person, Planned: until(k.Clock.Now().Add(time.Hour))})
			return err
		},
		admit.Defer: func(person string) error {
			_, err := k.DeferDefect(ctx, &pb.DeferDefectRequest{RequestId: k.ID(), Defect: defect, Person: person, Reason: "ordered", Restrictions: slow()})
			return err
		},
		admit.Extend: func(person string) error { // the pack's three days, and a little more
			_, err := k.DeferDefect(ctx, &pb.DeferDefectRequest{
				RequestId: k.ID(), Defect: defect, Person: person, Reason: "ordered", Restrictions: slow(), Until: until(k.Clock.Now().Add(100 * time.Hour)),
			})
			return err
		},
		admit.EndDeferral: func(person string) error {
			_, err := k.EndDeferral(ctx, &pb.EndDeferralRequest{RequestId: k.ID(), Defect: defect, Person: person, Because: "found worse"})
			return err
		},
		admit.Repair: func(person string) error {
			_, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: defect, Person: person, Done: "valve"})
			return err
		},
	}
}

// callSignDeeds are the deeds that need a reserve.
func callSignDeeds(t *testing.T) map[admit.Deed]func(person string) error {
	k := reserving(t)
	withEveryRole(t, k)
	out := func() {
		if _, err := k.MoveCallSign(ctx, move(k)); err != nil {
			t.Fatal(err)
		}
	}
	back := func() {
		if _, err := k.ReturnCallSign(ctx, giveBack(k)); err != nil {
			t.Fatal(err)
		}
	}
	return map[admit.Deed]func(person string) error{
		admit.Move: func(person string) error {
			req := move(k)
			req.Person = person
			_, err := k.MoveCallSign(ctx, req)
			if err == nil {
				back()
			}
			return err
		},
		admit.Return: func(person string) error {
			out()
			req := giveBack(k)
			req.Person = person
			_, err := k.ReturnCallSign(ctx, req)
			if err != nil {
				back()
			}
			return err
		},
	}
}

// homeDeeds are the deeds that need a station which keeps account of what it has, vehicles
// with wheels, and somebody who is locked out.
func homeDeeds(t *testing.T) map[admit.Deed]func(person string) error {
	k, garage := stocking(t), wheeled(t)
	withEveryRole(t, k)
	withEveryRole(t, garage)
	return map[admit.Deed]func(person string) error{
		admit.Deliver: func(person string) error {
			_, err := k.RecordDelivery(ctx, &pb.RecordDeliveryRequest{RequestId: k.ID(), Station: home, Material: sealing, Person: person, AmountMlOrPieces: 1000})
			return err
		},
		admit.Count: func(person string) error {
			_, err := k.CountStock(ctx, &pb.CountStockRequest{RequestId: k.ID(), Station: home, Material: sealing, Person: person, AmountMlOrPieces: 1000})
			return err
		},
		admit.FitWheels: func(person string) error {
			_, err := garage.RecordWheelsFitted(ctx, &pb.RecordWheelsFittedRequest{RequestId: garage.ID(), Vehicle: p1, Person: person, Wheels: []string{"axle-1-nearside"}})
			return err
		},
		admit.Unlock: func(person string) error {
			_, err := k.ReportUnlock(ctx, &pb.ReportUnlockRequest{
				RequestId: k.ID(), Unlocked: "people/driver", Person: person, Device: "tablet-1", DeviceTime: timestamppb.New(k.Clock.Now()),
			})
			return err
		},
	}
}

// Every command that names somebody, for every role: the station refuses by the table,
// and for nothing else that a role could be.
func TestMay_EveryCommandForEveryRole(t *testing.T) {
	k := deferring(t)
	withEveryRole(t, k)
	all := deeds(t, k)
	maps.Copy(all, callSignDeeds(t))
	maps.Copy(all, homeDeeds(t))
	var ofRoles []string
	for _, rule := range admit.PersonTable() {
		ofRoles = append(ofRoles, rule.Reason)
		if all[rule.Deed] == nil {
			t.Errorf("%s is tried by nobody here", rule.Deed)
		}
	}
	for _, deed := range slices.Sorted(maps.Keys(all)) {
		for _, role := range admit.PersonRoles() {
			rule, may := admit.PersonMay([]pb.Role{role}, deed)
			err := all[deed](only(role))
			var f *fault.Fault
			if errors.As(err, &f); f == nil {
				f = &fault.Fault{}
			}
			if byRole := slices.Contains(ofRoles, f.Reason) && f.Reason != ""; byRole == may || byRole && (f.Kind != fault.Precondition || f.Reason != rule.Reason && deed != admit.Extend) {
				t.Errorf("%s, as %s: %v; by the table may %t, %s", deed, admit.PersonWord(role), err, may, rule.Reason)
			}
		}
	}
}

// What a tablet let somebody do is not lost because their roles have changed by the
// time it reaches the station. The role that counts is the one of then; where the record
// does not show it, the event names the person. What is done now, and whatever comes from a
// program that is no tablet, goes by the roles of now.
func TestMay_WhatComesLateGoesByTheRolesOfThen(t *testing.T) {
	k := stationtest.Open(t)
	k.Clock.Advance(time.Hour)
	k.ApplyAltered("title: Driver, roles: [ROLE_DRIVER]", "title: Driver, roles: [ROLE_CONTROL]", "title: Mechanic, roles: [ROLE_WORKSHOP, ROLE_ADMINISTRATOR]", "title: Mechanic, roles: [ROLE_DRIVER, ROLE_ADMINISTRATOR]")
	k.Clock.Advance(time.Hour)
	if _, err := k.ErasePerson(ctx, &pb.ErasePersonRequest{RequestId: k.ID(), Person: "people/other", By: "people/mechanic", Reason: "left"}); err != nil {
		t.Fatal(err)
	}
	k.Clock.Advance(time.Hour)
	as := func(role pb.ClientRole) *pb.Sender { return &pb.Sender{Client: "one", Role: role} }
	for _, tc := range []struct {
		name, person string
		ago          time.Duration
		sender       *pb.Sender
		unproven     bool
		refusal      string
	}{
		{name: "had the role then", person: "people/driver", ago: 150 * time.Minute},
		{name: "had lost it by then", person: "people/driver", ago: 90 * time.Minute, unproven: true},
		{name: "got it later", person: "people/mechanic", ago: 150 * time.Minute, unproven: true},
		{name: "has it since", person: "people/mechanic", ago: 90 * time.Minute},
		{name: "erased since", person: "people/other", ago: 90 * time.Minute},
		{name: "before the record began", person: "people/mechanic", ago: 24 * time.Hour, unproven: true},
		{name: "now", person: "people/driver", refusal: "NOT_A_DRIVER"},
		{name: "a minute ago", person: "people/driver", ago: time.Minute, refusal: "NOT_A_DRIVER"},
		{name: "from a tablet", person: "people/driver", ago: 90 * time.Minute, sender: as(pb.ClientRole_CLIENT_ROLE_TABLET), unproven: true},
		{name: "in plain text", person: "people/driver", ago: 90 * time.Minute, sender: &pb.Sender{PlainText: true}, unproven: true},
		{name: "from a program that is no tablet", person: "people/driver", ago: 150 * time.Minute, sender: as(pb.ClientRole_CLIENT_ROLE_ADMINISTRATOR), refusal: "NOT_A_DRIVER"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			by := ctx
			if tc.sender != nil {
				by = station.SentBy(ctx, tc.sender)
			}
			resp, err := k.Station.OpenRound(by, &pb.OpenRoundRequest{
				Round: "rounds/" + k.ID(), Vehicle: p1, Routine: shift, Driver: tc.person, Device: "tablet-1", DeviceTime: timestamppb.New(k.Clock.Now().Add(-tc.ago)),
			})
			if tc.refusal != "" {
				refusal{fault.Precondition, tc.refusal}.check(t, err)
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			err = k.Events(ctx, resp.GetRound().GetSequence(), func(ev *pb.JournalEvent) error {
				if unproven := slices.Contains(ev.GetRoleUnproven(), tc.person); unproven != tc.unproven || len(ev.GetRoleUnproven()) > 1 {
					t.Errorf("not proven by the event: %v", ev.GetRoleUnproven())
				}
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
		})
	}
}

// An officer's signature that came late, of somebody who was none by the record, is kept
// and marked, and does not stand in the way of one that counts.
func TestSignRound_LateByWhoWasNoOfficerIsMarked(t *testing.T) {
	k := officers(t)
	round := k.RecordAll(p1, shift)
	if _, err := k.FinishRound(ctx, signedFinish(t, k, round, "")); err != nil {
		t.Fatal(err)
	}
	sign := func(person string, as bool) {
		by, shown := signedAs(t, k, round, person, pb.Role_ROLE_OFFICER, "")
		by.RoleUnproven = as // what is told of it counts for nothing
		k.Clock.Advance(time.Hour)
		if _, err := k.SignRound(ctx, &pb.SignRoundRequest{RequestId: k.ID(), Round: round, Signature: by, Shown: shown}); err != nil {
			t.Fatal(err)
		}
	}
	sign("people/mechanic", false)
	sign("people/mechanic", false) // again: the first one does not count
	sign("people/officer", true)
	var got []bool
	for _, by := range signaturesOf(t, k, round) {
		got = append(got, by.GetRoleUnproven())
	}
	if want := []bool{false, true, true, false}; !slices.Equal(got, want) {
		t.Errorf("marked %v, want %v: driver, mechanic twice, officer", got, want)
	}
	k.Reopen()
	if by := signaturesOf(t, k, round); !by[1].GetRoleUnproven() {
		t.Error("the mark is gone after a restart")
	}
}

// Whoever is no tablet is not believed that somebody gave a PIN, and a tablet not that its
// certificate speaks for an officer: by each role, for each proof.
func TestSignRound_OnWhoseWordAPersonIsKnown(t *testing.T) {
	k := officers(t)
	round := k.RecordAll(p1, shift)
	if _, err := k.FinishRound(ctx, signedFinish(t, k, round, "")); err != nil {
		t.Fatal(err)
	}
	believed := map[pb.Proof][]pb.ClientRole{
		pb.Proof_PROOF_PIN:           {pb.ClientRole_CLIENT_ROLE_TABLET},
		pb.Proof_PROOF_BADGE_AND_PIN: {pb.ClientRole_CLIENT_ROLE_TABLET},
		pb.Proof_PROOF_CERTIFICATE:   {pb.ClientRole_CLIENT_ROLE_OFFICER, pb.ClientRole_CLIENT_ROLE_ADMINISTRATOR},
	}
	for _, proof := range []pb.Proof{pb.Proof_PROOF_PIN, pb.Proof_PROOF_BADGE_AND_PIN, pb.Proof_PROOF_CERTIFICATE} {
		for _, role := range append(admit.Roles(), pb.ClientRole_CLIENT_ROLE_UNSPECIFIED) {
			by, shown := signedAs(t, k, round, "people/officer", pb.Role_ROLE_OFFICER, "")
			by.Proof, by.StatementSha256 = proof, make([]byte, 32) // who is believed is refused for that
			_, err := k.SignRound(station.SentBy(ctx, &pb.Sender{Client: "one", Role: role}), &pb.SignRoundRequest{RequestId: k.ID(), Round: round, Signature: by, Shown: shown})
			want := refusal{fault.Denied, station.ReasonProof}
			if slices.Contains(believed[proof], role) {
				want = refusal{fault.Precondition, "SIGNED_SOMETHING_ELSE"}
			}
			t.Run(admit.Word(role)+" "+proof.String(), func(t *testing.T) { want.check(t, err) })
		}
	}
}

// A program that names an officer by its certificate alone is not believed to be late.
func TestSignRound_ByCertificateGoesByTheRolesOfNow(t *testing.T) {
	k := officers(t)
	round := k.RecordAll(p1, shift)
	if _, err := k.FinishRound(ctx, signedFinish(t, k, round, "")); err != nil {
		t.Fatal(err)
	}
	by, shown := signedAs(t, k, round, "people/mechanic", pb.Role_ROLE_OFFICER, "")
	by.Proof, by.DeviceTime = pb.Proof_PROOF_CERTIFICATE, timestamppb.New(k.Clock.Now().Add(-time.Hour))
	resp, err := k.GetRoundContent(ctx, &pb.GetRoundContentRequest{Name: round})
	if err != nil {
		t.Fatal(err)
	}
	by.StatementSha256 = signature.Of(resp.GetContent(), shown, by)
	_, err = k.SignRound(ctx, &pb.SignRoundRequest{RequestId: k.ID(), Round: round, Signature: by, Shown: shown})
	refusal{fault.Precondition, "NOT_OFFICER"}.check(t, err)
}
