package round

import (
	"fmt"
	"slices"
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

// againWords is what was read of a part, as typed: with the mean where it was read
// several times.
func (d draft) againWords(p *pb.ReadingPart, unit string) string {
	return readingWords(append(slices.Clone(d.Again), d.Texts[p.GetId()]), d.readings(p), unit)
}

// recordedWords is a value of the record in the unit that was typed.
func recordedWords(v *pb.Value) string {
	all := append([]float64{v.GetAsTyped()}, v.GetAgain()...)
	texts := make([]string, len(all))
	for i, x := range all {
		texts[i] = typedAgain(x)
	}
	return readingWords(texts, all, v.GetUnit())
}

// readingWords is what was read: of several readings first the mean, which is what
// is judged, for instance "mean 8.15 bar of 2 readings: 8.1, 8.2".
func readingWords(texts []string, all []float64, unit string) string {
	if len(all) == 1 {
		return measured(texts[0], unit)
	}
	return fmt.Sprintf("mean %s of %d readings: %s", measured(plain(mean(all)), unit), len(all), strings.Join(texts, ", "))
}

func mean(all []float64) float64 {
	sum := 0.0
	for _, x := range all {
		sum += x
	}
	return sum / float64(len(all))
}
