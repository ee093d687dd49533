package screen

import (
	"fmt"
	"slices"

	"bayround/internal/round"
)

// thumb is one photo, small; who does not see it is told what it is of and when.
type thumb struct{ Sum, Alt string }

// PhotosAt are the photos of today's answer to a step.
func (p pane) PhotosAt(stepID string) (thumbs []thumb) {
	if p.Round == nil {
		return nil
	}
	at := slices.IndexFunc(p.Round.Marks, func(m round.Mark) bool { return m.StepID == stepID })
	if at < 0 {
		return nil
	}
	m := p.Round.Marks[at]
	for i, sum := range m.Photos {
		thumbs = append(thumbs, thumb{sum, fmt.Sprintf("Photo %d of %s, %s", i+1, m.Title, p.At(m.At))})
	}
	return thumbs
}

// StepPhotos are the photos at the step in the light: those of the answer being
// made, else those of the one that it would supersede.
func (p pane) StepPhotos() (thumbs []thumb) {
	if len(p.Step.Entry.Photos) == 0 {
		return p.PhotosAt(p.Step.GetStepId())
	}
	for i, sum := range p.Step.Entry.Photos {
		thumbs = append(thumbs, thumb{sum, fmt.Sprintf("Photo %d of %s, not yet recorded", i+1, p.Step.GetTitle())})
	}
	return thumbs
}
