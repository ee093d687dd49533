// Package paper lays out what is printed: one sheet on which an examiner, the
// workshop or the officer who signs sees how a vehicle stands and why, without the
// station. A sheet is one HTML file with its style inside, made for A4 and black
// ink: nothing on it is told by colour, and it loads nothing.
package paper

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// Sheet is what stands on one sheet.
type Sheet struct {
	Readiness *pb.Readiness
	// Explained are the findings of now, gravest first, with how they came about.
	Explained []*pb.Explanation
	// Vehicle is the configuration; nil when it is not known.
	Vehicle *pb.VehicleConfiguration
	// Printed is when, in the zone of whoever reads.
	Printed time.Time
	// Checkpoint is the newest signed head of the record, empty when there is none.
	Checkpoint string
	// VerifierKey is the station's, to check the checkpoint with.
	VerifierKey string
}

//go:embed sheet.html
var layout string

// Write writes a sheet.
func Write(w io.Writer, s Sheet) error {
	page, err := template.New("sheet").Funcs(template.FuncMap{"short": short, "defect": defect}).Parse(layout)
	if err != nil {
		return fmt.Errorf("reading the layout of the sheet: %w", err)
	}
	if err := page.Execute(w, s); err != nil {
		return fmt.Errorf("laying out the sheet: %w", err)
	}
	return nil
}

// Word is the verdict in words.
func (s Sheet) Word() string {
	return verdict.OneLine(verdict.Words(s.Readiness.GetVerdict()))
}

// Instant is an instant of the station on paper: with its zone.
func (s Sheet) Instant(at interface{ AsTime() time.Time }) string {
	return at.AsTime().In(s.Printed.Location()).Format("2 Jan 2006 15:04 MST")
}

// PrintedAt is when it was printed.
func (s Sheet) PrintedAt() string { return s.Printed.Format("2 Jan 2006 15:04 MST") }

// OtherReasons are those behind which no finding stands.
func (s Sheet) OtherReasons() []string {
	var told []string
	for _, reason := range s.Readiness.GetReasons() {
		if reason.GetFinding() == nil && reason.GetDefect() == "" {
			told = append(told, reason.GetText())
		}
	}
	return told
}

// Open are the steps that prove nothing.
func (s Sheet) Open() []*pb.UnprovenStep {
	for _, reason := range s.Readiness.GetReasons() {
		if steps := reason.GetUnproven().GetSteps(); len(steps) > 0 {
			return steps
		}
	}
	return nil
}

// Signed is the checkpoint in lines.
func (s Sheet) Signed() []string { return strings.Split(strings.TrimSpace(s.Checkpoint), "\n") }

// parts are what a sheet tells of an explanation, in this order: what a reader needs
// to follow the finding, and no step between.
var parts = []struct {
	part pb.ExplanationPart
	word string
}{
	{pb.ExplanationPart_EXPLANATION_PART_READ, "Read"},
	{pb.ExplanationPart_EXPLANATION_PART_LIMIT, "Limit"},
	{pb.ExplanationPart_EXPLANATION_PART_CONFIDENCE, "How sure"},
	{pb.ExplanationPart_EXPLANATION_PART_SOURCE, "Source"},
}

// line is one line of a short explanation.
type line struct{ Word, Text string }

// short is an explanation in short.
func short(e *pb.Explanation) []line {
	var lines []line
	for _, p := range parts {
		var told []string
		for _, l := range e.GetLines() {
			if l.GetPart() == p.part {
				told = append(told, strings.TrimSuffix(l.GetText(), "."))
			}
		}
		if len(told) > 0 {
			lines = append(lines, line{p.word, strings.Join(told, "; ") + "."})
		}
	}
	return lines
}

// defect is an open defect in words: what was found, gravest first, and where it stands.
func defect(d *pb.Defect) string {
	var told []string
	for _, f := range d.GetFindings() {
		told = append(told, strings.TrimSuffix(f.GetText(), "."))
	}
	words := strings.Join(told, "; ")
	if d.GetState() == pb.DefectState_DEFECT_STATE_RECTIFIED {
		words += " (repaired: " + d.GetRepair().GetDone() + "; to be checked again)"
	}
	return words
}
