package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// historyTable prints one row for each measured place.
func (c *console) historyTable(all []measured, now time.Time) {
	rows := [][]string{{"STEP", "WHERE", "NEWEST", "READ", "A WEEK", "LOSES AGAINST ITS PEERS", "FORECAST"}}
	for _, m := range all {
		h := m.history
		newest := h.GetPoints()[len(h.GetPoints())-1]
		rows = append(rows, []string{
			m.step, h.GetTitle(), quantityWords(newest.GetValue(), h.GetQuantity(), h.GetUnit()),
			instant(newest.GetLookedAt().AsTime(), now), slopeWords(h), peerWords(h), orDash(h.GetForecast().GetText()),
		})
	}
	c.columns(rows)
}

// orDash is a dash where there is nothing to say.
func orDash(words string) string {
	if words == "" {
		return "–"
	}
	return words
}

// slopeWords is how a number changes in a week, and between what.
func slopeWords(h *pb.GetHistoryResponse) string {
	t := h.GetTrend()
	if !t.GetHasSlope() {
		return "–"
	}
	in := func(x float64) string { return quantityWords(x, h.GetQuantity(), h.GetUnit()) }
	return fmt.Sprintf("%s (%s to %s)", in(t.GetSlopePerWeek()), in(t.GetSlopeLowPerWeek()), in(t.GetSlopeHighPerWeek()))
}

// peerWords is how a wheel loses against the others, and how likely that would be
// without a loss.
func peerWords(h *pb.GetHistoryResponse) string {
	p := h.GetPeers()
	if !p.GetHasLoss() {
		return "–"
	}
	return fmt.Sprintf("%s a week (p %.2g)", quantityWords(p.GetLossKpaPerWeek(), pb.Quantity_QUANTITY_PRESSURE, h.GetUnit()), p.GetPNoLoss())
}

// pointTable prints one row for each measurement, oldest first.
func (c *console) pointTable(h *pb.GetHistoryResponse, now time.Time) {
	normalised := slices.ContainsFunc(h.GetNormalised(), func(x float64) bool { return x != 0 })
	head := []string{"READ", "VALUE"}
	if normalised {
		head = append(head, "AT REFERENCE")
	}
	rows := [][]string{append(head, "AIR", "GAUGE", "PUT IN BEFORE", "ODOMETER")}
	for i, p := range h.GetPoints() {
		row := []string{instant(p.GetLookedAt().AsTime(), now), quantityWords(p.GetValue(), h.GetQuantity(), h.GetUnit())}
		if normalised {
			row = append(row, quantityWords(h.GetNormalised()[i], h.GetQuantity(), h.GetUnit()))
		}
		air, odometer := "–", "–"
		if p.AirCelsius != nil {
			air = quantityWords(p.GetAirCelsius(), pb.Quantity_QUANTITY_TEMPERATURE, "")
		}
		if p.OdometerKm != nil {
			odometer = fmt.Sprintf("%.0f km", p.GetOdometerKm())
		}
		rows = append(rows, append(row, air, orDash(lastPart(p.GetGauge())), addedWords(h, p), odometer))
	}
	c.columns(rows)
}

// addedWords is what was done before a point was read.
func addedWords(h *pb.GetHistoryResponse, p *pb.SeriesPoint) string {
	var done []string
	if p.GetReset_() {
		done = append(done, "repaired")
	}
	switch {
	case p.GetAdded() == 0:
	case h.GetQuantity() == pb.Quantity_QUANTITY_PRESSURE:
		done = append(done, quantityWords(p.GetAdded(), h.GetQuantity(), h.GetUnit()))
	default:
		done = append(done, quantityWords(p.GetAdded(), pb.Quantity_QUANTITY_VOLUME, ""))
	}
	return orDash(strings.Join(done, ", "))
}

// trendLines prints what the trend says, the limits and the forecast.
func (c *console) trendLines(h *pb.GetHistoryResponse) {
	t := h.GetTrend()
	c.Say("")
	if t.GetHasSlope() {
		c.Say("a week:    %s, from %s over %.0f days; p without a trend %.2g", slopeWords(h), count(int(t.GetPoints()), "point"), t.GetDays(), t.GetPNoTrend())
	} else {
		c.Say("a week:    too little to say, %s over %.0f days", count(int(t.GetPoints()), "point"), t.GetDays())
	}
	if h.GetPeers().GetHasLoss() {
		c.Say("peers:     loses %s; read together on %s", peerWords(h), count(int(h.GetPeers().GetDaysTogether()), "day"))
	}
	if per := t.GetUsedLPer_1000Km(); per > 0 {
		c.Say("use:       %.2f L in 1000 km, %.2f L in 100 h", per, t.GetUsedLPer_100H())
	}
	if n := t.GetSameInARow(); n > 2 {
		c.Say("the same:  the newest number stands there %d times in a row; by itself that happens with p %.2g", n, t.GetPSame())
	}
	for _, limit := range h.GetLimits() {
		c.Say("limit:     %s  [%s %s]", limitWords(h, limit), lastPart(limit.GetPack()), limit.GetRule())
	}
	if text := h.GetForecast().GetText(); text != "" {
		c.Say("forecast:  %s", text)
	}
}

// limitWords is a limit in words: its own, or else side and bound.
func limitWords(h *pb.GetHistoryResponse, l *pb.LimitLine) string {
	bound := rules.SideWords(l.GetSide()) + " " + quantityWords(l.GetBound(), h.GetQuantity(), h.GetUnit())
	if l.GetText() == "" {
		return bound
	}
	return bound + ": " + l.GetText()
}
