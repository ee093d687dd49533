package screen

import (
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// StockAt says what the station has of what is topped up at a step, and in what the amount
// is written; empty where it keeps no account of it, or has not told.
func (p pane) StockAt(stepID string) string {
	item, _, _ := strings.Cut(stepID, "/")
	for _, one := range p.Stock {
		if !slices.Contains(one.GetMaterial().GetItems(), item) {
			continue
		}
		words := "At the station " + one.GetText()
		words += p.stockTold()
		if one.GetMaterial().GetUnit() == pb.StockUnit_STOCK_UNIT_ML {
			return words + ". Write the unit as l or ml."
		}
		return words + ". Leave the unit empty: it is pieces."
	}
	return ""
}

// LowStock says what stations run out of, a line each.
func (p pane) LowStock() (lines []string) {
	station := ""
	for _, one := range p.Stock {
		switch {
		case !one.GetLow():
		case one.GetStation() == station:
			lines[len(lines)-1] += "; " + one.GetText()
		default:
			station = one.GetStation()
			lines = append(lines, "Low at "+one.GetStationTitle()+": "+one.GetText())
		}
	}
	for i := range lines {
		lines[i] += p.stockTold() + "."
	}
	return lines
}

// stockTold says since when nothing was heard of the stock; empty while it is live.
func (p pane) stockTold() string {
	if p.Link.Live {
		return ""
	}
	return ", as told " + p.At(p.StockTold)
}
