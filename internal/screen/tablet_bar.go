package screen

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/types/known/timestamppb"
)

// allowedSkew is how far the tablet's clock may be off before it is said.
const allowedSkew = 2 * time.Minute

// CallSign is the vehicle dealt with; the station where there is none yet.
func (p pane) CallSign() string {
	if p.Chosen == nil || p.Phase == round.PhaseVehicles {
		return cmp.Or(p.Station, "Vehicles")
	}
	return p.Chosen.Configuration.GetCallSign()
}

// RoutineTitle is what the chosen check is called; for a round its own.
func (p pane) RoutineTitle() string {
	if p.Phase == round.PhaseVehicles || p.Round == nil {
		return ""
	}
	return p.Round.Routine.GetTitle()
}

// Who drives and who assists.
func (p pane) Who() string {
	if p.Session == nil || p.Session.Driver == nil {
		return ""
	}
	if p.Session.Assistant == nil {
		if p.Phase == round.PhaseVehicles || p.Phase == round.PhaseSignIn {
			return p.Session.Driver.GetTitle()
		}
		return p.Session.Driver.GetTitle() + ", alone"
	}
	return shortName(p.Session.Driver) + " with " + shortName(p.Session.Assistant)
}

// shortName is a person's name with the first of it as a letter.
func shortName(who *pb.Person) string {
	first, rest, ok := strings.Cut(who.GetTitle(), " ")
	if r, _ := utf8.DecodeRuneInString(first); ok {
		return string(r) + ". " + rest
	}
	return who.GetTitle()
}

// Progress is where in the walk the light stands.
func (p pane) Progress() string {
	if p.Round == nil || p.Phase == round.PhaseVehicles {
		return ""
	}
	if lit := current(p.Round); lit != nil && p.Phase == round.PhaseStep {
		return fmt.Sprintf("stop %d of %d · step %d", lit.Stop+1, len(p.Round.Stops), p.Round.Current+1)
	}
	return fmt.Sprintf("%d of %d answered", p.Round.Answered, len(p.Round.Marks))
}

// LinkWords say how the tablet stands to the station.
func (p pane) LinkWords() string {
	var words []string
	switch {
	case p.Link.Pending > 0 && p.Link.Photos > 0:
		words = append(words, fmt.Sprintf("◌ %d and %s to send", p.Link.Pending, counted(p.Link.Photos, "photo")))
	case p.Link.Pending > 0:
		words = append(words, fmt.Sprintf("◌ %d to send", p.Link.Pending))
	case p.Link.Photos > 0:
		words = append(words, "◌ "+counted(p.Link.Photos, "photo")+" to send")
	case p.Link.Live && p.Link.Record != "":
		return "● live"
	case p.Link.Live:
		return "● live, all sent"
	}
	if p.Provisional() {
		words = append(words, "provisional")
	}
	return strings.Join(words, " · ")
}

// CutWords say since when the station is not heard, or that it is not to be trusted;
// empty while all is well.
func (p pane) CutWords() string {
	switch {
	case p.Link.Alarm != "":
		return "ALARM: STATION’S RECORD IN DOUBT"
	case p.Link.Barred != "":
		return "NOT LET IN AT THE STATION"
	case p.Link.Live && p.Link.Record != "":
		return "STATION RECORD BEHIND"
	case p.Link.Live:
		return ""
	case p.Link.Since.IsZero():
		return "STATION NOT YET REACHED"
	}
	return "NOT LIVE since " + p.At(p.Link.Since)
}

// SkewWords say that the tablet's clock is off.
func (p pane) SkewWords() string {
	skew, way := p.Link.Skew, "fast"
	if skew < 0 {
		skew, way = -skew, "slow"
	}
	if skew <= allowedSkew {
		return ""
	}
	return "This tablet’s clock is " + lasting(skew) + " " + way + " of the station’s. Both times are kept; have it set."
}

// Since says a message's time.
func (p pane) Since(t *timestamppb.Timestamp) string {
	return p.At(instant(t))
}

// WorstFirst is what the last answer led to, what takes away most first.
func (p pane) WorstFirst() []*pb.Finding {
	findings := slices.Clone(p.Given.Findings)
	slices.SortStableFunc(findings, func(a, b *pb.Finding) int {
		return cmp.Or(cmp.Compare(b.GetEffect(), a.GetEffect()), cmp.Compare(b.GetGrade(), a.GetGrade()))
	})
	return findings
}

// FormerAt is when the answer before the last one was given.
func (p pane) FormerAt() string {
	if p.Given == nil {
		return ""
	}
	return dayWords(p.Given.FormerAt, p.Now, p.TimeZone)
}

// noticeRow is the one thing that is said above everything else.
type noticeRow struct {
	Strong, Text string
	Act, ID      string // what tells that it was read; no act for what stays
}

// NoticeRow is the most pressing of what must be said: what the last act led to,
// an alarm, what the station would not take, its record, a clock that is off. One at
// a time: each takes its place from the step. An alarm and the record, which the bar
// tells of always, and the clock are explained where no answer is given.
func (p pane) NoticeRow() *noticeRow {
	between := p.Phase == round.PhaseVehicles || p.Phase == round.PhaseOverview
	switch refused := p.Link.Refused; {
	case p.Notice != nil:
		return &noticeRow{Text: p.Notice.Message, Act: "dismiss-notice"}
	case between && p.Link.Alarm != "":
		return &noticeRow{Strong: "ALARM.", Text: p.Link.Alarm + " Nothing is sent until then; what is recorded here is kept."}
	case p.Link.Loss != "":
		return &noticeRow{Text: p.Link.Loss, Act: "dismiss", ID: round.LossID}
	case len(refused) > 0:
		more := ""
		if len(refused) > 1 {
			more = fmt.Sprintf(" %d more wait to be read.", len(refused)-1)
		}
		return &noticeRow{
			Strong: "The station did not take: " + refused[0].What + " (" + p.At(refused[0].At) + ").",
			Text:   refused[0].Message + " It stays in this tablet’s record." + more,
			Act:    "dismiss", ID: refused[0].ID,
		}
	case between && p.Link.Barred != "":
		return &noticeRow{Text: capital(p.Link.Barred) + ". What is recorded here is kept, and sent then."}
	case between && p.Link.Record != "":
		return &noticeRow{Text: p.Link.Record}
	case between && p.SkewWords() != "":
		return &noticeRow{Text: p.SkewWords()}
	}
	return nil
}
