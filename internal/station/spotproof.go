package station

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"slices"

	pb "bayround/proto/bayround/v1"
)

// A spot proof asks at a step for something that only somebody who stands there
// can read. Nobody can tell beforehand where it will be asked, and whoever
// leaves the answer away is asked nothing more: it shows a habit over many
// rounds, and says nothing of one.

const (
	// stepsToAProof is how many steps there are to one spot proof, on average.
	stepsToAProof = 40
	// maxProofs is how many are asked for in one round.
	maxProofs = 3
)

// markOf is the question about what is printed at a step; "" where nothing is
// that a driver can read in passing.
//
// Tyres bear the week and year of make as four digits (49 CFR 574.5, from
// memory); the inner of twins cannot be read from where one stands. That radios
// and ladders bear a number, and extinguishers and first-aid kits a date, is
// common practice.
func markOf(s *pb.CheckStep) string {
	switch s.GetFamily() {
	case "Tyres":
		if s.GetTwin() != pb.TwinPosition_TWIN_POSITION_INNER {
			return "Enter the last four digits of the date code on this tyre."
		}
	case "Radio and data":
		return "Enter the last four characters of the number on the label here."
	case "Safety kit":
		return "Enter the month and year on the label here, as they are printed."
	case "Ladders":
		return "Enter the number on the label of the ladder."
	}
	return ""
}

// spotProofs chooses where spot proofs are asked for in a round, in the plan's
// order. The same round on the same plan has the same ones.
func spotProofs(round string, p *pb.Plan) []*pb.SpotProof {
	type candidate struct {
		proof *pb.SpotProof
		place int // in the plan
		rank  []byte
	}
	var all []candidate
	for place, s := range p.GetSteps() {
		if question := markOf(s); question != "" {
			proof := &pb.SpotProof{StepId: s.GetStepId(), Question: question}
			all = append(all, candidate{proof, place, rankOf(round, s.GetStepId())})
		}
	}
	slices.SortFunc(all, func(a, b candidate) int { return bytes.Compare(a.rank, b.rank) })
	chosen := all[:min(len(all), proofsAmong(round, len(p.GetSteps())))]
	slices.SortFunc(chosen, func(a, b candidate) int { return cmp.Compare(a.place, b.place) })
	proofs := make([]*pb.SpotProof, len(chosen))
	for i, c := range chosen {
		proofs[i] = c.proof
	}
	return proofs
}

// proofsAmong is how many spot proofs a round of so many steps has: one for each
// stepsToAProof; what is left over has one with the chance that is due to it.
func proofsAmong(round string, steps int) int {
	drawn := binary.BigEndian.Uint64(rankOf(round, "")) % stepsToAProof
	n := steps / stepsToAProof
	if drawn < uint64(steps%stepsToAProof) {
		n++
	}
	return min(n, maxProofs)
}

// rankOf draws a number for a step of a round that nobody can foretell.
func rankOf(round, stepID string) []byte {
	sum := sha256.Sum256([]byte(round + "\n" + stepID))
	return sum[:]
}
