package round

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"bayround/internal/schedule"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// handover is what the next watch is told.
type handover struct {
	vehicle   *pb.VehicleConfiguration
	routine   *pb.Routine
	driver    string // as spoken
	assistant string
	round     *pb.Round
	readiness *pb.Readiness
	steps     []*pb.CheckStep   // of the plan, with their newest results
	elsewhere map[string]string // what steps are called that are not of the plan, as far as anybody knows
	note      string
	noTime    []string // steps left out of a short round
	at        time.Time
	zone      *time.Location
	until     time.Time   // end of the watch that takes over
	stock     []*pb.Stock // what the vehicle's station has; empty where nobody has told
	waits     string      // why the verdict is provisional; empty when it is not
}

// mostNamed is how many of a kind are named before the rest is counted.
const mostNamed = 12

// text is the hand-over: the verdict and the limits in force, what was found and
// what was open before, what was not checked, and what comes due next.
func (h handover) text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %s, %s.", cmp.Or(verdict.Spoken(h.readiness), h.vehicle.GetCallSign()), h.routine.GetTitle(), h.at.In(h.zone).Format("Mon 2 Jan 2006 15:04"))
	fmt.Fprintf(&b, " Driver %s", h.driver)
	if h.assistant != "" {
		fmt.Fprintf(&b, ", assistant %s", h.assistant)
	}
	b.WriteString(".\n")
	fmt.Fprintf(&b, "Verdict: %s", sayVerdict(h.readiness.GetVerdict()))
	if h.waits != "" {
		fmt.Fprintf(&b, " (provisional: %s)", h.waits)
	}
	b.WriteString(".\n")
	for _, part := range []struct {
		title string
		lines []string
	}{
		{"Why", h.why()},
		{"Limits in force", h.limits()},
		{"Found today", h.found(true)},
		{"Put right today", h.putRight()},
		{"Open from before", h.found(false)},
		{"Not checked", h.notChecked()},
		{"Left open", h.leftOpen()},
		{"Deferred", h.deferred()},
		{"Due until the coming watch ends", h.dueInWatch()},
		{"Due next", h.dueNext()},
		{"Low at the station", h.lowStock()},
	} {
		write(&b, part.title, part.lines)
	}
	if note := strings.TrimSpace(h.note); note != "" {
		fmt.Fprintf(&b, "From the driver: %s\n", note)
	}
	return strings.TrimRight(b.String(), "\n")
}

// write writes one part; nothing when it has no line.
func write(b *strings.Builder, title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	fmt.Fprintf(b, "%s:\n", title)
	for i, line := range lines {
		if i == mostNamed && len(lines) > mostNamed+1 {
			fmt.Fprintf(b, "- and %d more\n", len(lines)-mostNamed)
			return
		}
		fmt.Fprintf(b, "- %s\n", line)
	}
}

// why are the reasons that stand below under no heading of their own.
func (h handover) why() (lines []string) {
	for _, r := range h.readiness.GetReasons() {
		if r.GetDefect() == "" {
			lines = append(lines, strings.TrimSuffix(r.GetText(), "."))
		}
	}
	return lines
}

func (h handover) limits() (lines []string) {
	for _, r := range h.readiness.GetRestrictions() {
		lines = append(lines, r.GetText())
	}
	for _, c := range h.readiness.GetCapabilities() {
		if !c.GetAvailable() {
			lines = append(lines, fmt.Sprintf("no %s: %s", c.GetCapability(), strings.Join(c.GetLostBecause(), "; ")))
		}
	}
	return lines
}

// found are the open defects found in this round, or those open from before.
func (h handover) found(today bool) (lines []string) {
	for _, d := range h.readiness.GetOpenDefects() {
		if (d.GetRound() == h.round.GetName()) != today {
			continue
		}
		line := h.title(d.GetStepId()) + ": " + sayDefect(d)
		if n := d.GetTimesFound(); n > 1 {
			line += fmt.Sprintf(", found %d times", n)
		}
		if d.GetState() == pb.DefectState_DEFECT_STATE_RECTIFIED {
			line += ", repaired: check it again"
		} else if f := worst(d.GetFindings()); f.GetDriverDoes() != "" && today {
			line += ". To do: " + f.GetDriverDoes()
		}
		lines = append(lines, line)
	}
	return lines
}

// deferred are the defects that may wait, with when that ends.
func (h handover) deferred() (lines []string) {
	for _, d := range h.readiness.GetOpenDefects() {
		if d.GetState() == pb.DefectState_DEFECT_STATE_DEFERRED {
			lines = append(lines, h.title(d.GetStepId())+": may wait until "+d.GetDeferral().GetExpiresLocal())
		}
	}
	return lines
}

// dueInWatch says which checks are due until the coming watch ends.
func (h handover) dueInWatch() (lines []string) {
	for _, d := range h.duesInWatch() {
		lines = append(lines, d.GetText())
	}
	return lines
}

// duesInWatch are the checks that are due, or will be before the coming watch ends.
func (h handover) duesInWatch() []*pb.RoutineDue {
	return slices.DeleteFunc(slices.Clone(h.readiness.GetRoutineDues()), func(d *pb.RoutineDue) bool {
		soon := d.GetState() == pb.DueState_DUE_STATE_COMING && d.GetDue().AsTime().Before(h.until)
		return d.GetState() < pb.DueState_DUE_STATE_DUE && !soon
	})
}

// comingWatchEnds is when the watch after the one of an instant ends; a day later where
// nobody has said when watches change.
func comingWatchEnds(home *pb.Station, at time.Time) time.Time {
	calendar, err := schedule.Of(home)
	if home.GetCalendar() == nil || err != nil {
		return at.Add(24 * time.Hour)
	}
	return calendar.WatchAt(calendar.WatchAt(at).Ends).Ends
}

// lowStock is what the station runs out of, as it was last told.
func (h handover) lowStock() (lines []string) {
	for _, one := range h.stock {
		if one.GetLow() {
			lines = append(lines, one.GetText())
		}
	}
	return lines
}

// putRight is what was found and put right on the spot in the round, and read again.
func (h handover) putRight() (lines []string) {
	for _, s := range h.steps {
		cure := s.GetLast().GetCure()
		if cure == nil || s.GetLast().GetRound() != h.round.GetName() {
			continue
		}
		line := s.GetTitle() + ": " + strings.TrimSuffix(cure.GetDone(), ".")
		if cure.GetAmount() > 0 {
			line += ", " + measured(typedAgain(cure.GetAmount()), cure.GetUnit()) + " used"
		}
		lines = append(lines, line+"; then "+answerWords(s, s.GetLast()))
	}
	return lines
}

// title is what a step is called; its id where nobody knows.
func (h handover) title(stepID string) string {
	for _, s := range h.steps {
		if s.GetStepId() == stepID {
			return s.GetTitle()
		}
	}
	return cmp.Or(h.elsewhere[stepID], stepID)
}

func (h handover) notChecked() (lines []string) {
	for _, s := range h.steps {
		if nc := s.GetLast().GetNotChecked(); nc != nil && slices.Contains(h.round.GetAnsweredSteps(), s.GetStepId()) {
			line := s.GetTitle() + ": " + reasonWords(nc.GetReason())
			if note := s.GetLast().GetNote(); note != "" {
				line += ", " + note
			}
			lines = append(lines, line)
		}
	}
	return lines
}

// leftOpen are the steps that nobody answered in the round.
func (h handover) leftOpen() (lines []string) {
	for _, s := range h.steps {
		if !slices.Contains(h.round.GetAnsweredSteps(), s.GetStepId()) {
			line := s.GetTitle()
			if slices.Contains(h.noTime, s.GetStepId()) {
				line += ": " + reasonWords(pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME)
			}
			lines = append(lines, line)
		}
	}
	return lines
}

// dueNext is what comes due, minute by minute.
func (h handover) dueNext() (lines []string) {
	at, first, steps := "", "", int32(0)
	flush := func() {
		switch {
		case steps == 0:
		case steps == 1:
			lines = append(lines, at+": "+first)
		default:
			lines = append(lines, fmt.Sprintf("%s: %s and %d more", at, first, steps-1))
		}
	}
	for _, due := range h.readiness.GetDueNext() {
		if minute := clockWords(due.GetDue().AsTime(), h.at, h.zone); minute != at {
			flush()
			at, first, steps = minute, due.GetTitle(), 0
		}
		steps += due.GetSteps()
	}
	flush()
	return lines
}
