package main

import (
	"fmt"
	"strings"
	"unicode/utf8"

	pb "bayround/proto/bayround/v1"
)

// The size of a chart in a terminal.
const (
	chartRows    = 9
	chartColumns = 64
)

// chart draws what was measured at one step as lines of plain characters: o is a
// measurement, + one after something was put in, ! one after a repair, - a limit.
// Time runs evenly from the first measurement to the newest.
func chart(h *pb.GetHistoryResponse) []string {
	least, greatest := span(h)
	height := func(value float64) int {
		return int((greatest - value) / (greatest - least) * (chartRows - 1))
	}
	field := make([][]byte, chartRows)
	for i := range field {
		field[i] = []byte(strings.Repeat(" ", chartColumns))
	}
	for _, limit := range h.GetLimits() {
		if limit.GetBound() >= least && limit.GetBound() <= greatest {
			copy(field[height(limit.GetBound())], strings.Repeat("-", chartColumns))
		}
	}
	points := h.GetPoints()
	first, newest := points[0].GetLookedAt().AsTime(), points[len(points)-1].GetLookedAt().AsTime()
	for _, p := range points {
		column := 0
		if whole := newest.Sub(first); whole > 0 {
			column = int(float64(p.GetLookedAt().AsTime().Sub(first)) / float64(whole) * (chartColumns - 1))
		}
		field[height(p.GetValue())][column] = sign(p)
	}
	return framed(h, field, least, greatest)
}

// sign is how a measurement is drawn.
func sign(p *pb.SeriesPoint) byte {
	switch {
	case p.GetReset_():
		return '!'
	case p.GetAdded() > 0:
		return '+'
	}
	return 'o'
}

// span is what a chart must hold: every measurement, and limits that lie no
// farther away than the measurements spread.
func span(h *pb.GetHistoryResponse) (least, greatest float64) {
	least, greatest = h.GetPoints()[0].GetValue(), h.GetPoints()[0].GetValue()
	for _, p := range h.GetPoints() {
		least, greatest = min(least, p.GetValue()), max(greatest, p.GetValue())
	}
	spread := greatest - least
	for _, limit := range h.GetLimits() {
		if b := limit.GetBound(); b >= least-2*spread && b <= greatest+2*spread {
			least, greatest = min(least, b), max(greatest, b)
		}
	}
	if greatest == least {
		return least - 0.5, greatest + 0.5
	}
	return least, greatest
}

// framed puts values to the left of a chart and days below it.
func framed(h *pb.GetHistoryResponse, field [][]byte, least, greatest float64) (lines []string) {
	labels := make([]string, len(field))
	labels[0], labels[len(field)-1] = quantityWords(greatest, h.GetQuantity(), h.GetUnit()), quantityWords(least, h.GetQuantity(), h.GetUnit())
	width := max(utf8.RuneCountInString(labels[0]), utf8.RuneCountInString(labels[len(field)-1]))
	for i, row := range field {
		lines = append(lines, strings.TrimRight(fmt.Sprintf("  %*s |%s", width, labels[i], row), " "))
	}
	points := h.GetPoints()
	from, to := points[0].GetLookedAt().AsTime().Local().Format("2 Jan 2006"), points[len(points)-1].GetLookedAt().AsTime().Local().Format("2 Jan 2006")
	return append(lines,
		fmt.Sprintf("  %*s +%s", width, "", strings.Repeat("-", chartColumns)),
		fmt.Sprintf("  %*s  %-*s%s", width, "", chartColumns-len(to), from, to),
		fmt.Sprintf("  %*s  o read   + after topping up   ! after a repair   --- a limit", width, ""))
}
