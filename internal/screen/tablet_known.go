package screen

import (
	"fmt"
	"strings"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// knownLines are an open defect in words.
type knownLines struct {
	What   string
	Lines  []string
	Photos []thumb
}

// KnownLines say an open defect and what has become of it: when and by whom it was
// found, the workshop's answer, under what it waits, and its earlier repairs.
func (p pane) KnownLines(k round.KnownDefect) knownLines {
	said := knownLines{What: defectWords(k.Defect)}
	found := "Found " + p.Since(k.GetFirstFound())
	if k.By != "" {
		found += " by " + k.By
	}
	said.Lines = append(said.Lines, found+". "+p.answerWords(k))
	if k.GetState() == pb.DefectState_DEFECT_STATE_DEFERRED {
		var limits []string
		for _, limit := range k.GetDeferral().GetRestrictions() {
			limits = append(limits, strings.TrimSuffix(limit.GetText(), "."))
		}
		said.Lines = append(said.Lines, "Until "+k.GetDeferral().GetExpiresLocal()+" it may wait"+strings.TrimSuffix(", under: "+strings.Join(limits, "; "), ", under: ")+".")
	}
	if words := p.cameBack(k.Defect); words != "" {
		said.Lines = append(said.Lines, words)
	}
	switch {
	case k.NotFound:
		said.Lines = append(said.Lines, "Not found again in this round. It stays open until the workshop has recorded its repair and the step is found sound after that.")
	case p.Round != nil && !k.InRound:
		said.Lines = append(said.Lines, "Its step is not part of this round: nobody looks at it now.")
	}
	for i, sum := range k.GetPhotos()[:min(len(k.GetPhotos()), 3)] {
		said.Photos = append(said.Photos, thumb{sum, fmt.Sprintf("Photo %d of the defect", i+1)})
	}
	return said
}

// answerWords are the workshop's answer to who reported a defect.
func (p pane) answerWords(k round.KnownDefect) string {
	switch {
	case k.GetState() == pb.DefectState_DEFECT_STATE_RECTIFIED:
		return "Repaired " + p.Since(k.GetRepair().GetStationTime()) + ": " + strings.TrimSuffix(k.GetRepair().GetDone(), ".") + "."
	case k.GetAcknowledgement() == nil:
		return "The workshop has not answered yet."
	}
	words := fmt.Sprintf("%s answered: expected by %s", orWorkshop(k.Answered), p.At(k.Planned))
	if note := k.GetAcknowledgement().GetNote(); note != "" {
		words += ", " + strings.TrimSuffix(note, ".")
	}
	return words + "."
}

func orWorkshop(name string) string {
	if name == "" {
		return "The workshop"
	}
	return name
}

func times(n int32) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}
