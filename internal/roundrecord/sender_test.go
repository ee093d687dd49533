package roundrecord_test

import (
	"bytes"
	"encoding/csv"
	"io"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"bayround/internal/roundrecord"
	"bayround/internal/signature"
	pb "bayround/proto/bayround/v1"
)

// Each layout says by which certificate commands came; of events without one, as older
// programs wrote them, it says that nobody recorded it.
func TestSender_IsToldByEachLayout(t *testing.T) {
	tablet := &pb.Sender{Client: "tablet-7", Role: pb.ClientRole_CLIENT_ROLE_TABLET, CertificateSha256: bytes.Repeat([]byte{0xab}, 32)}
	for _, tc := range []struct {
		name, words, column string
		sender              *pb.Sender
	}{
		{"a tablet", "tablet-7 (tablet), certificate abababababababab…", "tablet-7", tablet},
		{"plain text", "in plain text: nobody knows which", "", &pb.Sender{PlainText: true}},
		{"before senders were recorded", "not recorded", "", nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := signedSmall(t)
			for i, ev := range r.Events {
				r.Events[i] = proto.CloneOf(ev)
				r.Events[i].Sender = tc.sender
			}
			var page, text, lines strings.Builder
			if err := roundrecord.WriteHTML(&page, r); err != nil {
				t.Fatal(err)
			}
			if err := roundrecord.WriteText(&text, r); err != nil {
				t.Fatal(err)
			}
			for _, said := range []string{page.String(), text.String()} {
				if strings.Count(said, tc.words) != 2 { // of the round, and of its signature
					t.Errorf("%q stands there %d times in\n%s", tc.words, strings.Count(said, tc.words), said)
				}
			}
			if err := roundrecord.WriteCSV(&lines, r); err != nil {
				t.Fatal(err)
			}
			rows, err := csv.NewReader(strings.NewReader(lines.String())).ReadAll()
			if err != nil {
				t.Fatal(err)
			}
			for n, name := range rows[0] {
				if name == "sent_by" && rows[1][n] != tc.column {
					t.Errorf("sent_by is %q", rows[1][n])
				}
				if name == "sent_by_certificate_sha256" && tc.column != "" && rows[1][n] != strings.Repeat("ab", 32) {
					t.Errorf("sent_by_certificate_sha256 is %q", rows[1][n])
				}
			}
		})
	}
}

// A role that is not proven stands beside the person, and an officer whose role is not
// proven has not signed.
func TestUnproven_StandsOnThePage(t *testing.T) {
	r := signedSmall(t)
	for i, ev := range r.Events {
		r.Events[i] = proto.CloneOf(ev)
	}
	r.Events[0].RoleUnproven = []string{"people/ada"}
	signed := r.Events[len(r.Events)-1].GetRoundStateChanged()
	signed.Signature.RoleUnproven = true
	for _, write := range []func(io.Writer, *roundrecord.Record) error{roundrecord.WriteHTML, roundrecord.WriteText} {
		var said strings.Builder
		if err := write(&said, r); err != nil {
			t.Fatal(err)
		}
		for _, words := range []string{"Role not proven", "event 11", "ROLE NOT PROVEN: it came late, and by the record the person was no driver when it was signed"} {
			if !strings.Contains(said.String(), words) {
				t.Errorf("%q is not in\n%s", words, said.String())
			}
		}
	}
	by := &pb.Signature{SignedAs: pb.Role_ROLE_OFFICER, RoleUnproven: true}
	round := &pb.Round{OfficerSigns: true, State: pb.RoundState_ROUND_STATE_FINISHED, Signatures: []*pb.Signature{by}}
	if !signature.OfficerMissing(round) {
		t.Error("who was no officer has signed as one")
	}
	if by.RoleUnproven = false; signature.OfficerMissing(round) {
		t.Error("the officer has signed")
	}
}
