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

// LowStock says what this tablet's station runs out of; empty when that is nothing.
func (p pane) LowStock() string {
	var low []string
	for _, one := range p.Stock {
		if one.GetLow() {
			low = append(low, one.GetText())
		}
	}
	if len(low) == 0 {
		return ""
	}
	return "Low at " + p.View.Station + ": " + strings.Join(low, "; ") + p.stockTold()
}

// stockTold says since when nothing was heard of the stock; empty while it is live.
func (p pane) stockTold() string {
	if p.Link.Live {
		return ""
	}
	return ", as told " + p.At(p.StockTold)
}
