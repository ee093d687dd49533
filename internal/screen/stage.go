package screen

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"bayround/internal/deferral"
	"bayround/internal/round"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// scene is the bay display in words, ready for its templates.
type scene struct {
	Live    bool
	Since   string // since when not live; empty when the station was never heard
	Clock   string // when the station was last heard
	Alarm   bool   // the station is not to be trusted
	Stopped string // call signs of vehicles that people stopped; empty for none
	Rows    int    // vehicles, as far as layouts are reckoned for
	Far     farScene
	Lines   []bayLine
	More    string       // of those that found no room, in words
	Defects []defectLine // those whose deferral is about to end first
	Lapsing int          // how many those are
	Dues    []defectLine // checks that are due or overdue, worst first
	Events  []eventLine
}

// How the far layer is used.
const (
	farVehicle = "vehicle" // mark, call sign, verdict
	farCommand = "command" // what the assistant does now, alone
	farTurnout = "turnout" // the walked vehicle is about to leave
	farEmpty   = "empty"   // no vehicle is known
)

// farScene is what is read from the farthest place.
type farScene struct {
	Mode     string
	Walked   bool // the tablet is at it: step, finds and progress are the tablet's own, live or not
	CallSign string
	Verdict  pb.Verdict
	Limits   int    // in force: bars in the mark
	Word     string // the verdict's, in capitals
	Rest     string // of the word: what it forbids, or how much is missing
	Detail   string // the limit, the reason, the step or what comes next
	Found    string // the defect just found
	Command  string // to the assistant
	CommandN string // tells one command from the next
	Place    string
	GoOn     string
	Who      string // names only where they may be seen
	Progress *progress
	DebtS    int32
	SinceV   string // since when the verdict holds
}

// progress is how far a round is.
type progress struct {
	Answered, Steps int32
	Paused          bool
}

// Percent is the share answered.
func (p progress) Percent() int32 {
	if p.Steps <= 0 {
		return 0
	}
	return min(100*p.Answered/p.Steps, 100)
}

// bayLine is one vehicle among the rows.
type bayLine struct {
	CallSign string
	Title    string
	Verdict  pb.Verdict
	Limits   int
	Word     string
	Rest     string // of the word
	Detail   string
	Since    string
	Next     string
	Progress *progress
	DebtS    int32
	Here     bool // the tablet is at it
}

// defectLine is one open defect for whoever stands near.
type defectLine struct{ CallSign, Text, Age, Answer string }

// eventLine is one thing that happened.
type eventLine struct{ At, Text string }

const (
	mostDefects = 5
	mostEvents  = 5
)

// stage puts into words what b says at now.
func stage(b *round.Bay, names bool, now time.Time) scene {
	w := wording{now: now, zone: b.TimeZone}
	if w.zone == nil {
		w.zone = time.UTC
	}
	s := scene{Clock: w.hours(heardAt(b, now)), Live: b.Live && (b.Heard.IsZero() || now.Sub(b.Heard) <= staleAfter)}
	if !s.Live {
		s.Since = w.when(later(b.Since, b.Heard))
	}
	s.Alarm, s.Stopped = b.Alarm != "", stoppedOn(b, s.Live)
	s.Rows = min(len(b.Vehicles), mostRows)
	for i, r := range b.Vehicles {
		lapsing, others := w.defects(r)
		s.Defects = slices.Insert(s.Defects, s.Lapsing, lapsing...)
		s.Lapsing += len(lapsing)
		s.Defects = append(s.Defects, others...)
		if i < s.Rows-1 || len(b.Vehicles) <= mostRows {
			s.Lines = append(s.Lines, w.line(b, r))
		}
	}
	if more := len(b.Vehicles) - len(s.Lines); more > 0 {
		word, _ := verdict.Said(b.Vehicles[len(s.Lines)])
		s.More = fmt.Sprintf("and %d more, none worse than %s", more, word)
	}
	s.Defects = s.Defects[:min(len(s.Defects), mostDefects)]
	s.Dues = dueLines(b.Vehicles)
	for _, e := range b.Events[:min(len(b.Events), mostEvents-len(s.Dues))] {
		s.Events = append(s.Events, eventLine{w.when(e.At), e.Text})
	}
	s.Far = w.far(b, names)
	return s
}

// stoppedOn are the call signs of what people stopped: as the tablet beside the display
// knows, and while the station is live, as it says.
func stoppedOn(b *round.Bay, live bool) string {
	var callSigns []string
	if b.Stopped != "" {
		callSigns = strings.Split(b.Stopped, ", ")
	}
	for _, r := range b.Vehicles {
		byPerson := slices.ContainsFunc(r.GetOpenDefects(), func(d *pb.Defect) bool { return d.GetStop() != nil })
		if live && byPerson && !slices.Contains(callSigns, r.GetCallSign()) {
			callSigns = append(callSigns, r.GetCallSign())
		}
	}
	slices.Sort(callSigns)
	return strings.Join(callSigns, ", ")
}

// heardAt is when the station was last heard. Who says live without saying when
// means now.
func heardAt(b *round.Bay, now time.Time) time.Time {
	if b.Live && b.Heard.IsZero() {
		return now
	}
	return b.Heard
}

// later is the later of two instants: when the link broke, or the last word before.
func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// far chooses what is read from the farthest place: the vehicle that is being walked
// round, else the worst.
func (w wording) far(b *round.Bay, names bool) farScene {
	concerned := concernedNow(b)
	if concerned == nil {
		f := farScene{Mode: farEmpty, Word: "NO VEHICLE YET", Detail: "The station has told of none."}
		if b.Walk != nil && b.Walk.Command != "" {
			f = commandOf(b.Walk)
		}
		return f
	}
	word, rest := verdict.Said(concerned)
	f := farScene{
		Mode: farVehicle, CallSign: farSign(concerned), Verdict: concerned.GetVerdict(),
		Limits: len(concerned.GetRestrictions()),
		Word:   word, Rest: rest, Detail: w.detail(concerned), SinceV: w.stamp(concerned.GetSince()),
	}
	if d := worstDue(concerned); f.Detail == "" && d.GetState() >= pb.DueState_DUE_STATE_DUE {
		f.Detail = capital(d.GetText())
	} else if due := concerned.GetDueNext(); f.Detail == "" && len(due) > 0 {
		f.Detail = joined(" ", "Next:", due[0].GetTitle()+",", w.stamp(due[0].GetDue()))
	}
	walk := b.Walk
	if walk == nil || walk.Vehicle != concerned.GetVehicle() {
		return f
	}
	f.Walked = true
	switch {
	case walk.Turnout:
		f.Mode, f.DebtS = farTurnout, walk.DebtS
		return f
	case walk.Command != "":
		return commandOf(walk)
	}
	f.Detail, f.Found = joined(", ", walk.Step, walk.Place), walk.Found
	f.Progress = &progress{Answered: int32(walk.Answered), Steps: int32(walk.Steps)}
	f.Who = who(walk, names)
	return f
}

func commandOf(walk *round.BayWalk) farScene {
	return farScene{
		Mode: farCommand, CallSign: walk.CallSign, Command: walk.Command, Place: walk.Place, GoOn: walk.GoOn,
		CommandN: joined("|", walk.Vehicle, walk.Step, walk.Place, walk.Command),
	}
}

func concernedNow(b *round.Bay) *pb.Readiness {
	for _, r := range b.Vehicles {
		if b.Walk != nil && r.GetVehicle() == b.Walk.Vehicle {
			return r
		}
	}
	if len(b.Vehicles) == 0 || b.Walk != nil {
		return nil
	}
	return b.Vehicles[0]
}

func who(walk *round.BayWalk, names bool) string {
	switch {
	case names && walk.Assistant != "":
		return walk.Driver + " with " + walk.Assistant
	case names:
		return walk.Driver
	case walk.Assistant != "":
		return "with an assistant"
	}
	return ""
}

// farSign is the call sign alone that a vehicle answers to: there is room for one.
func farSign(r *pb.Readiness) string {
	if r.GetHolding() != nil && r.GetAnswersTo() != "" {
		return r.GetAnswersTo()
	}
	return verdict.Spoken(r)
}

// placeOf names a vehicle that is not called by its own call sign, and says of one that
// is called by none why that is so.
func placeOf(r *pb.Readiness) string {
	if r.GetHolding() != nil && r.GetAnswersTo() != r.GetCallSign() && r.GetAnswersTo() != "" {
		return r.GetCallSign()
	}
	return verdict.PlaceWords(r)
}

// line is the row of one vehicle.
func (w wording) line(b *round.Bay, r *pb.Readiness) bayLine {
	word, rest := verdict.Said(r)
	l := bayLine{
		CallSign: farSign(r), Title: b.Titles[r.GetVehicle()], Verdict: r.GetVerdict(),
		Limits: len(r.GetRestrictions()),
		Word:   word, Rest: rest, Detail: joined(" · ", placeOf(r), w.lapse(r), w.detail(r), lost(r)),
		Since: w.stamp(r.GetSince()), Next: w.next(r), DebtS: r.GetReadinessDebtS(),
	}
	if l.Detail == "" {
		l.Detail = capital(worstDue(r).GetText())
	}
	for _, open := range r.GetRounds() {
		l.Progress = &progress{
			Answered: open.GetAnswered(), Steps: open.GetSteps(),
			Paused: open.GetState() == pb.RoundState_ROUND_STATE_PAUSED,
		}
	}
	if walk := b.Walk; walk != nil && walk.Vehicle == r.GetVehicle() {
		l.Here, l.DebtS = true, walk.DebtS // the tablet knows it first
		l.Progress = &progress{Answered: int32(walk.Answered), Steps: int32(walk.Steps)}
	}
	return l
}

// lost names what the vehicle cannot do now.
func lost(r *pb.Readiness) string {
	var gone []string
	for _, c := range r.GetCapabilities() {
		if !c.GetAvailable() {
			gone = append(gone, "no "+c.GetCapability())
		}
	}
	return strings.Join(gone, " · ")
}

// lapse warns that something may wait until an instant only; empty when nothing is near it.
func (w wording) lapse(r *pb.Readiness) string {
	lapsing := deferral.Lapsing(r.GetOpenDefects(), w.now)
	if len(lapsing) == 0 {
		return ""
	}
	return "until " + w.stamp(lapsing[0].GetDeferral().GetExpires()) + " only"
}

// defects are the open defects of one vehicle, worst first; apart those whose deferral is
// about to end.
func (w wording) defects(r *pb.Readiness) (lapsing, others []defectLine) {
	ending := deferral.Lapsing(r.GetOpenDefects(), w.now)
	for _, d := range r.GetOpenDefects() {
		if len(d.GetFindings()) == 0 {
			continue
		}
		answer := "not yet put right"
		switch d.GetState() {
		case pb.DefectState_DEFECT_STATE_RECTIFIED:
			answer = "repaired, to be checked again"
		case pb.DefectState_DEFECT_STATE_DEFERRED:
			answer = "may wait until " + d.GetDeferral().GetExpiresLocal()
		case pb.DefectState_DEFECT_STATE_ACKNOWLEDGED:
			answer = "the workshop knows"
		}
		if n := d.GetTimesFound(); n > 1 {
			answer = fmt.Sprintf("found %d times, %s", n, answer)
		}
		if slices.Contains(ending, d) {
			answer = "MAY WAIT UNTIL " + w.stamp(d.GetDeferral().GetExpires()) + " ONLY, then " + effectWords(d.GetDeferral().GetWhenOver())
			lapsing = append(lapsing, defectLine{verdict.Spoken(r), passing(d), w.age(d.GetFirstFound()), answer})
			continue
		}
		others = append(others, defectLine{verdict.Spoken(r), passing(d), w.age(d.GetFirstFound()), answer})
	}
	return lapsing, others
}

// joined joins what is not empty.
func joined(between string, parts ...string) string {
	var said []string
	for _, p := range parts {
		if p != "" {
			said = append(said, p)
		}
	}
	return strings.Join(said, between)
}
