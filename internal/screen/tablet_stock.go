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
		if !p.Link.Live {
			words += ", as told " + p.At(p.StockTold)
		}
		if one.GetMaterial().GetUnit() == pb.StockUnit_STOCK_UNIT_ML {
			return words + ". Write the unit as l or ml."
		}
		return words + ". Leave the unit empty: it is pieces."
	}
	return ""
}
