package station

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"bayround/internal/schedule"
)

// sharesFeed lists for each coming watch how much of each routine is its share, each taken
// to be done in its turn.
func (s *snapshot) sharesFeed(t timetable, now, until time.Time) (events []schedule.FeedEvent) {
	if t.shares == nil {
		return nil
	}
	of := s.routineShares(t)
	for _, load := range s.loads(t, of, now, until) {
		for _, line := range t.lines {
			var titles []string
			for _, id := range load.Items {
				if one := t.shares.items[id]; line.shared && slices.Contains(one.routines, line.routine.GetName()) {
					titles = append(titles, one.item.GetTitle())
				}
			}
			if len(titles) == 0 || of[line.routine.GetName()].whole {
				continue
			}
			events = append(events, schedule.FeedEvent{
				Key:    s.model.vehicle.GetName() + " " + line.routine.GetName() + " " + load.Watch.Begins.UTC().Format(time.RFC3339),
				Starts: load.Watch.Begins, Ends: load.Watch.Ends,
				Summary:     fmt.Sprintf("%s %s: %d of its items", s.spoken(), line.routine.GetTitle(), len(titles)),
				Description: strings.Join(titles, ", "),
			})
		}
	}
	for _, line := range t.lines {
		if r := of[line.routine.GetName()]; r != nil && r.whole {
			due := schedule.Due{State: schedule.InGrace, At: r.due.At, OverdueFrom: s.wholeBy(t, line.routine.GetName())}
			if !now.Before(due.OverdueFrom) {
				due.State = schedule.Overdue
			}
			events = append(events, s.feedEvent(t, line, due, now))
		}
	}
	return events
}

// wholeBy is when the first gap of a routine that is to be walked whole ends.
func (s *snapshot) wholeBy(t timetable, routine string) (first time.Time) {
	for _, one := range t.shares.items {
		if ends := s.gapEnds(one); slices.Contains(one.routines, routine) && (first.IsZero() || ends.Before(first)) {
			first = ends
		}
	}
	return first
}
