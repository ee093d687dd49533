package round

import (
	"strings"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// mostAgain is how often a gauge is read again; the contract's.
const mostAgain = 9

// againAt tells that what was typed can be kept and read again.
func (d draft) againAt(step *pb.CheckStep) bool {
	if step.GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_READING || len(step.GetParts()) != 1 || d.taking(step) != notTaken {
		return false
	}
	_, whole := number(d.Texts[step.GetParts()[0].GetId()])
	return whole && len(d.Again) < mostAgain
}

// withAgain keeps what was typed, and asks for it once more.
func (d draft) withAgain(step *pb.CheckStep) (draft, error) {
	if !d.againAt(step) {
		return d, fault.New(fault.Precondition, "NOTHING_TO_READ_AGAIN", "type what the gauge shows first; it is read %d times at most", mostAgain+1)
	}
	d = d.clone()
	id := step.GetParts()[0].GetId()
	d.Again = append(d.Again, d.Texts[id])
	delete(d.Texts, id)
	return d, nil
}

// readings are all that was read of a part, oldest first; the last is being typed.
func (d draft) readings(p *pb.ReadingPart) (all []float64) {
	for _, text := range append(d.Again, d.Texts[p.GetId()]) {
		x, _ := number(text)
		all = append(all, x)
	}
	return all
}

// againWords are the readings and their mean, for instance "8.1, 8.2 → 8.15".
func (d draft) againWords(p *pb.ReadingPart) string {
	text := d.Texts[p.GetId()]
	if len(d.Again) == 0 {
		return text
	}
	return strings.Join(append(d.Again, text), ", ") + " → " + plain(mean(d.readings(p)))
}

func mean(all []float64) float64 {
	sum := 0.0
	for _, x := range all {
		sum += x
	}
	return sum / float64(len(all))
}
