package round

import (
	"slices"
	"time"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// mostEvents is how many lines of what happened the display has.
const mostEvents = 8

// note adds what happened between the states.
func (b *board) note(passages []passage) {
	var news []BayEvent
	for _, p := range passages {
		news = append(news, happened(p.before, p.after)...)
	}
	if len(news) == 0 {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	slices.Reverse(news)
	all := append(news, b.events...)
	slices.SortStableFunc(all, func(x, y BayEvent) int { return y.At.Compare(x.At) })
	b.events = slices.Clone(all[:min(len(all), mostEvents)])
}

// happened tells what happened between two states of a vehicle, in the order of
// what leads to what.
func happened(before, after *pb.Readiness) (events []BayEvent) {
	say := func(at time.Time, text string) {
		events = append(events, BayEvent{At: at, Text: verdict.Spoken(after) + text})
	}
	now := after.GetAsOf().AsTime()
	for _, r := range missing(after.GetRounds(), before.GetRounds(), (*pb.Round).GetName) {
		say(r.GetOpened().AsTime(), ": round begun")
	}
	for _, d := range missing(after.GetOpenDefects(), before.GetOpenDefects(), (*pb.Defect).GetName) {
		say(d.GetLastFound().AsTime(), ": found: "+defectWords(d))
	}
	for _, d := range missing(before.GetOpenDefects(), after.GetOpenDefects(), (*pb.Defect).GetName) {
		say(now, ": put right: "+defectWords(d))
	}
	for range missing(before.GetRounds(), after.GetRounds(), (*pb.Round).GetName) {
		say(now, ": round ended")
	}
	if before.GetVerdict() != after.GetVerdict() {
		say(after.GetSince().AsTime(), " "+verdictWords(after.GetVerdict()))
	}
	return events
}

// missing are those of these that are not among others.
func missing[T any](these, others []T, name func(T) string) (left []T) {
	for _, t := range these {
		if !slices.ContainsFunc(others, func(o T) bool { return name(o) == name(t) }) {
			left = append(left, t)
		}
	}
	return left
}

// defectWords says a defect to all who pass: of a stop not why, which somebody typed.
func defectWords(d *pb.Defect) string {
	if d.GetStop() != nil {
		return "stopped by a person"
	}
	if all := d.GetFindings(); len(all) > 0 {
		return all[0].GetText()
	}
	return d.GetStepId()
}

// verdictWords says a verdict of a vehicle, after its call sign.
func verdictWords(v pb.Verdict) string {
	switch v {
	case pb.Verdict_VERDICT_FIT:
		return "is fit to respond"
	case pb.Verdict_VERDICT_RESTRICTED:
		return "is fit with limits"
	case pb.Verdict_VERDICT_MOVE_ONLY:
		return "may be moved only, not to respond"
	case pb.Verdict_VERDICT_UNFIT:
		return "must not move"
	}
	return "is not proven"
}
