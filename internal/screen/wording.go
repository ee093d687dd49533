package screen

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/types/known/timestamppb"
)

// wording says things as of an instant and in a station's zone.
type wording struct {
	now  time.Time
	zone *time.Location
}

// hours is the time of day; empty for no instant.
func (w wording) hours(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	return at.In(w.zone).Format("15:04")
}

// when is the time of day, with the day when it is not today.
func (w wording) when(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	at, now := at.In(w.zone), w.now.In(w.zone)
	days := at.Sub(now).Abs()
	switch {
	case at.YearDay() == now.YearDay() && at.Year() == now.Year():
		return at.Format("15:04")
	case days < 6*24*time.Hour:
		return at.Format("Mon 15:04")
	case days < 300*24*time.Hour:
		return at.Format("2 Jan")
	}
	return at.Format("2 Jan 2006")
}

func (w wording) stamp(t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	return w.when(t.AsTime())
}

// age is how long ago something was, in its largest unit.
func (w wording) age(t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	d := max(w.now.Sub(t.AsTime()), 0)
	switch {
	case d < time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h", int(d.Hours()))
	}
	return fmt.Sprintf("%d days", int(d.Hours()/24))
}

// detail is the one thing to know beside the verdict: the limits, the first thing
// missing, or the worst reason.
func (w wording) detail(r *pb.Readiness) string {
	switch r.GetVerdict() {
	case pb.Verdict_VERDICT_FIT:
		return "" // what nags a fit vehicle takes nothing away
	case pb.Verdict_VERDICT_RESTRICTED:
		var limits []string
		for _, limit := range r.GetRestrictions() {
			limits = append(limits, limit.GetText())
		}
		switch len(limits) {
		case 0:
		case 1:
			return limits[0]
		default: // the number first: nobody takes the first for all
			return counted(len(limits), "limit") + ": " + strings.Join(limits, " · ")
		}
	case pb.Verdict_VERDICT_UNPROVEN:
		if steps := verdict.Missing(r); len(steps) > 0 {
			return steps[0].GetTitle()
		}
	}
	if len(r.GetReasons()) == 0 {
		return ""
	}
	reason := r.GetReasons()[0]
	for _, d := range r.GetOpenDefects() {
		if d.GetStop() != nil && d.GetName() == reason.GetDefect() {
			return passing(d)
		}
	}
	return reason.GetText()
}

// passing says a defect to all who pass: of a stop not why, which somebody typed.
func passing(d *pb.Defect) string {
	if d.GetStop() != nil {
		return "Stopped by a person"
	}
	return d.GetFindings()[0].GetText()
}

// next is what becomes due next.
func (w wording) next(r *pb.Readiness) string {
	if len(r.GetDueNext()) == 0 {
		return ""
	}
	return w.stamp(r.GetDueNext()[0].GetDue())
}

// regions draws the scene. They are the same in all scenes, in this order.
func (s scene) regions() ([]region, error) {
	var drawn []region
	for _, id := range []string{"alarm", "far", "rows", "foot"} {
		var html bytes.Buffer
		if err := bayPages.ExecuteTemplate(&html, "bay-"+id, s); err != nil {
			return nil, fmt.Errorf("drawing %s: %w", id, err)
		}
		drawn = append(drawn, region{id, strings.TrimSpace(html.String())})
	}
	return drawn, nil
}
