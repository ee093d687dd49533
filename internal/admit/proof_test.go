package admit_test

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	"bayround/internal/admit"
	pb "bayround/proto/bayround/v1"
)

// The contract says which proofs there are: each has its row, but for the one not said.
func TestProofTable_HoldsEveryProofOfTheContract(t *testing.T) {
	var want, got []pb.Proof
	for n := range pb.Proof_name {
		if n != 0 {
			want = append(want, pb.Proof(n))
		}
	}
	slices.Sort(want)
	for _, r := range admit.ProofTable() {
		got = append(got, r.Proof)
		if len(r.Roles) == 0 || !slices.IsSorted(r.Roles) {
			t.Errorf("%v: %v", r.Proof, r.Roles)
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("rows for %v, want %v", got, want)
	}
	for _, role := range append(admit.Roles(), 0, 99) {
		if admit.MayClaim(role, pb.Proof_PROOF_UNSPECIFIED) || admit.MayClaim(role, 99) {
			t.Errorf("%v is believed a proof that there is not", role)
		}
		if tablet := role == pb.ClientRole_CLIENT_ROLE_TABLET; admit.MayClaim(role, pb.Proof_PROOF_PIN) != tablet || admit.MayClaim(role, pb.Proof_PROOF_BADGE_AND_PIN) != tablet {
			t.Errorf("%v is believed that somebody gave a PIN", role)
		}
	}
}

// A claim is found wherever it stands: in a part of a request, and in parts of lists.
func TestClaims_AreFoundWhereverTheyStand(t *testing.T) {
	pin, badge := &pb.Signature{Proof: pb.Proof_PROOF_PIN}, &pb.Signature{Proof: pb.Proof_PROOF_BADGE_AND_PIN}
	for _, tc := range []struct {
		name    string
		request proto.Message
		want    []pb.Proof
	}{
		{"the end of a round", &pb.FinishRoundRequest{Signature: pin}, []pb.Proof{pb.Proof_PROOF_PIN}},
		{"an officer's signature", &pb.SignRoundRequest{Signature: badge}, []pb.Proof{pb.Proof_PROOF_BADGE_AND_PIN}},
		{"deep in lists", &pb.Standing{Rounds: []*pb.StandingRound{{Round: &pb.Round{Signatures: []*pb.Signature{pin, badge}}}}}, []pb.Proof{pb.Proof_PROOF_PIN, pb.Proof_PROOF_BADGE_AND_PIN}},
		{"none", &pb.RecordResultRequest{Round: "rounds/r", Result: &pb.Result{Person: "people/a"}}, nil},
		{"an unsigned end", &pb.FinishRoundRequest{}, nil},
	} {
		if got := admit.Claims(tc.request); !slices.Equal(got, tc.want) {
			t.Errorf("%s: %v, want %v", tc.name, got, tc.want)
		}
	}
}
