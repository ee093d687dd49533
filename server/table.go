package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// readinessTable prints one row a vehicle, worst first, and below each what
// keeps it from being better.
func (c *console) readinessTable(all []*pb.Readiness, now time.Time) {
	if len(all) == 0 {
		c.Say("the station knows no vehicle yet; tell it some with: server apply FILE…")
		return
	}
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b *pb.Readiness) int { return cmp.Compare(b.GetVerdict(), a.GetVerdict()) })
	words, signs := 0, 0
	for _, r := range all {
		words = max(words, utf8.RuneCountInString(wordsOf(r)))
		signs = max(signs, utf8.RuneCountInString(verdict.Spoken(r)))
	}
	for _, r := range all {
		m := markOf(r.GetVerdict())
		head := fmt.Sprintf("%s  %-*s  %-*s", m.shape, signs, verdict.Spoken(r), words, wordsOf(r))
		c.Say("%s  since %s%s", m.paint(head, c.colourful()), instant(r.GetSince().AsTime(), now), untilWords(r, now))
		for _, line := range short(r) {
			c.Say("     %*s  %s", signs, "", line)
		}
	}
}

// untilWords says when the state changes by itself, if it does.
func untilWords(r *pb.Readiness, now time.Time) string {
	if r.GetUntil() == nil {
		return ""
	}
	return ", holds until " + instant(r.GetUntil().AsTime(), now)
}

// instant is a time as a station's people say it: the clock, the day when it is
// not today's, and the year when it is another.
func instant(at, now time.Time) string {
	at, now = at.Local(), now.Local()
	if at.YearDay() == now.YearDay() && at.Year() == now.Year() {
		return at.Format("15:04")
	}
	if at.Year() != now.Year() {
		return at.Format("Mon 2 Jan 2006 15:04")
	}
	return at.Format("Mon 2 Jan 15:04")
}

// short is what keeps a vehicle from being better, in a few lines: limits and
// lost capabilities first, then the worst reasons.
func short(r *pb.Readiness) []string {
	const most = 4
	var lines []string
	for _, limit := range r.GetRestrictions() {
		lines = append(lines, "limit: "+limit.GetText())
	}
	for _, capability := range r.GetCapabilities() {
		if !capability.GetAvailable() {
			lines = append(lines, "without "+capability.GetCapability())
		}
	}
	for i, reason := range r.GetReasons() {
		if i == most {
			lines = append(lines, fmt.Sprintf("and %s more", count(len(r.GetReasons())-most, "reason")))
			break
		}
		lines = append(lines, reason.GetText())
	}
	if debt := r.GetReadinessDebtS(); debt > 0 {
		lines = append(lines, fmt.Sprintf("a turnout now costs %d s: %s undone", debt, undoneWords(r.GetUndone())))
	}
	for i, line := range lines {
		lines[i] = clipped(line)
	}
	return slices.Compact(lines)
}

// clipped shortens a line so that a table stays a table; play and -o json have it whole.
func clipped(line string) string {
	const longest = 120
	line = onOneLine(line)
	runes := []rune(line)
	if len(runes) <= longest {
		return line
	}
	return strings.TrimRight(string(runes[:longest-1]), " ,;:") + "…"
}

// undoneWords names what is physically undone.
func undoneWords(undone []*pb.UndoneStep) string {
	var names []string
	for _, u := range undone {
		names = append(names, u.GetTitle())
	}
	return strings.Join(names, ", ")
}
