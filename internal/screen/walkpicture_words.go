package screen

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	pb "bayround/proto/bayround/v1"
)

// walkStop is a line of the list of stops: halts that follow each other at one stop, or,
// without a span, what is changed on the way to the next.
type walkStop struct{ span, words string }

// walkStops is the list of stops of a walk.
func walkStops(w *pb.Walk) (lines []walkStop) {
	halts := w.GetHalts()
	for i := 0; i < len(halts); {
		if changes := changesOf(halts[i]); changes != "" {
			lines = append(lines, walkStop{words: changes})
		}
		end := i + 1
		for end < len(halts) && halts[end].GetStop() == halts[i].GetStop() && changesOf(halts[end]) == "" {
			end++
		}
		span := fmt.Sprint(i + 1)
		if end > i+1 {
			span = fmt.Sprintf("%d–%d", i+1, end)
		}
		lines = append(lines, walkStop{span, halts[i].GetStopTitle()})
		i = end
	}
	return lines
}

// changesOf is what is switched on the way to a halt. What is opened and shut at one
// halt is no change.
func changesOf(h *pb.Halt) string {
	changes := slices.DeleteFunc(slices.Clone(h.GetChanges()), func(c string) bool {
		return strings.HasSuffix(c, " open") || strings.HasSuffix(c, " closed")
	})
	return strings.Join(changes, ", ")
}

// The list of stops stands in columns.
const (
	stopColumns = 3
	stopIndent  = 12.0 // of a stop's words behind its halts
	columnGap   = 5.0
	columnWidth = (paperWidth - 2*paperMargin - (stopColumns-1)*columnGap) / stopColumns
)

// stopRow is a line of words in the list of stops.
type stopRow struct {
	span, words string
	first       bool // of what it belongs to
	rule        bool // something is switched
}

// stopBlocks are the rows of the list, in blocks that are not to be parted: a stop, and
// what is switched before it.
func stopBlocks(w *pb.Walk) (blocks [][]stopRow) {
	open := false // the last block waits for its stop
	for _, stop := range walkStops(w) {
		left := stopIndent
		if stop.span == "" {
			left = 0
		}
		if !open {
			blocks = append(blocks, nil)
		}
		last := &blocks[len(blocks)-1]
		for i, line := range inLines(stop.words, columnWidth-left, wordSize) {
			*last = append(*last, stopRow{stop.span, line, i == 0, stop.span == ""})
		}
		open = stop.span == ""
	}
	return blocks
}

// drawStops writes the list of stops.
func (p *walkPen) drawStops() {
	blocks := stopBlocks(p.sheet.Walk)
	rows := 0
	for _, b := range blocks {
		rows += len(b)
	}
	var columns [stopColumns][]stopRow
	column, written := 0, 0
	for _, b := range blocks { // a block goes where its middle belongs
		for column < stopColumns-1 && (written+len(b)/2)*stopColumns >= rows*(column+1) {
			column++
		}
		columns[column] = append(columns[column], b...)
		written += len(b)
	}
	most := 1
	for _, c := range columns {
		most = max(most, len(c))
	}
	pitch := min(linePitch, (footTop-8-stopsTop)/float64(most))
	for i, c := range columns {
		for k, r := range c {
			p.drawStop(r, paperMargin+float64(i)*(columnWidth+columnGap), stopsTop+float64(k)*pitch)
		}
	}
}

func (p *walkPen) drawStop(r stopRow, x, y float64) {
	if r.rule {
		p.words("strong", x, y, r.words)
		if r.first {
			p.put(`<path class="rule" d="M%v %vH%v"/>`, x, y-3.1, x+columnWidth)
		}
		return
	}
	if r.first {
		p.words("end", x+stopIndent-2, y, r.span)
	}
	p.words("", x+stopIndent, y, r.words)
}

// broad is how wide a text is at most in a usual sans face, by kinds of letters.
func broad(text string, size float64) (width float64) {
	for _, letter := range text {
		switch {
		case strings.ContainsRune("ijlftr.,:;'|!() \u00a0-", letter):
			width += 0.37
		case strings.ContainsRune("mwMW%", letter):
			width += 0.98
		case unicode.IsUpper(letter):
			width += 0.75
		default:
			width += 0.62
		}
	}
	return width * size
}

// inLines cuts a text at its spaces into lines of a width; unbreakable ones stay.
func inLines(text string, width, size float64) (lines []string) {
	for _, word := range strings.Split(text, " ") {
		if n := len(lines); n > 0 && broad(lines[n-1]+" "+word, size) <= width {
			lines[n-1] += " " + word
			continue
		}
		lines = append(lines, word)
	}
	return lines
}

// walkTotals says in sentences what a walk costs.
func walkTotals(w *pb.Walk) []string {
	whole := w.GetWalkingS() + w.GetChangingS() + w.GetLookingS()
	lines := []string{
		fmt.Sprintf("%.0f\u00a0m walked; %s in all: %.0f\u00a0s walking and climbing, %.0f\u00a0s changing, %.0f\u00a0s looking at least.",
			w.GetWalkedM(), minutes(whole), w.GetWalkingS(), w.GetChangingS(), w.GetLookingS()),
	}
	trips := "No climb into a cab."
	if n := int(w.GetCabTrips()); n > 0 {
		trips = counted(n, "climb") + " into the cab."
	}
	if s := w.GetAssistantS(); s > 0 {
		trips += fmt.Sprintf(" The assistant is needed for %s.", minutes(s))
	}
	lines = append(lines, trips, Proven(w))
	if w.KeptCostsS != nil {
		lines = append(lines, fmt.Sprintf("The order of the former revision was kept; another costs %.1f\u00a0s less.", w.GetKeptCostsS()))
	}
	if n := len(w.GetNotAlone()); n > 0 {
		lines = append(lines, fmt.Sprintf("%s cannot be done alone.", counted(n, "step")))
	}
	if n := len(w.GetLeftOut()); n > 0 {
		lines = append(lines, fmt.Sprintf("%s left out: unproven.", counted(n, "step")))
	}
	return lines
}

// Proven says in a sentence how good the order of a walk is.
func Proven(w *pb.Walk) string {
	if w.GetCostS()-w.GetBoundS() < 0.005 {
		return "Proven: no order of these steps costs less."
	}
	return fmt.Sprintf("Proven: no order of these steps costs less by more than %.1f\u00a0%%.", 100*(w.GetCostS()-w.GetBoundS())/w.GetCostS())
}

// minutes is a time in minutes and seconds.
func minutes(s float64) string {
	whole := int(s + 0.5)
	if whole < 60 {
		return fmt.Sprintf("%d\u00a0s", whole)
	}
	return fmt.Sprintf("%d\u00a0min\u00a0%02d\u00a0s", whole/60, whole%60)
}
