package screen

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// vehicleRow is one vehicle of the list: what it may do now, and what can be done about
// it. It is kept short, so that a crew sees most of its vehicles at once.
type vehicleRow struct {
	round.Vehicle
	Since          string // of the verdict
	Lines          []shortLine
	Defects        string          // how many are open, and the worst; empty for none
	Released, Held []round.Stopped // stops that can be released now, and those that cannot
	Now, Later     []choice        // checks that stand open, and those that are folded away
	Next           string          // what becomes due next
	Wheels         bool            // it has wheels that are torqued again after they were off
}

// shortLine is something that a vehicle's row says beside the verdict.
type shortLine struct {
	Words string
	Loud  bool
}

// choice is one check that can be begun.
type choice struct {
	Vehicle string
	round.RoutineDue
}

// Vehicles are the vehicles with their checks. What can be released, taken over or gone on
// with stands open, and as much as has room beside it of what must be fresh for the vehicle
// to be fit: one check, and a second one when something of it is due; while a takeover check is
// owed, that one alone. All else is folded away.
func (p pane) Vehicles() []vehicleRow {
	var rows []vehicleRow
	for _, v := range p.View.Vehicles {
		row := vehicleRow{
			Vehicle: v, Since: p.sinceWords(v), Lines: p.rowLines(v), Defects: openWords(v.Readiness.GetOpenDefects()), Next: p.DueNext(v.Readiness),
		}
		for _, stop := range v.Stopped {
			if stop.Missing == "" {
				row.Released = append(row.Released, stop)
			} else {
				row.Held = append(row.Held, stop)
			}
		}
		open := func() int {
			n := len(row.Released) + len(v.Resumable) + len(row.Now)
			if !v.HandOver.IsZero() {
				n++
			}
			return n
		}
		takeover := owedTakeover(v)
		for _, r := range v.Routines {
			c, name := choice{v.Configuration.GetName(), r}, r.Routine.GetName()
			required := slices.Contains(v.Configuration.GetRequiredRoutines(), name)
			goesOn := slices.ContainsFunc(v.Resumable, func(r *pb.Round) bool { return r.GetRoutine() == name })
			row.Wheels = row.Wheels || r.Steps > 0 && slices.Contains(r.Routine.GetTriggers(), pb.Trigger_TRIGGER_AFTER_WHEEL_FITTED)
			switch {
			case r.Steps == 0:
			case name == takeover && !goesOn:
				row.Now = append(row.Now, c)
			case takeover == "" && required && !goesOn && (open() == 0 || r.Unproven > 0):
				row.Now = append(row.Now, c)
			default:
				row.Later = append(row.Later, c)
			}
		}
		for open() > 2 && len(row.Now) > 0 { // a row has room for two
			last := len(row.Now) - 1
			row.Now, row.Later = row.Now[:last], append(row.Later, row.Now[last])
		}
		rows = append(rows, row)
	}
	return rows
}

// sinceWords say since when a verdict stands, and whether the station has yet to agree.
func (p pane) sinceWords(v round.Vehicle) string {
	words := ""
	if since := p.Since(v.Readiness.GetSince()); since != "" {
		words = "since " + since
	}
	if v.Provisional {
		return joined(" · ", words, "provisional")
	}
	return words
}

// rowLines say what holds the vehicle back, what must be done by when, and its limits.
func (p pane) rowLines(v round.Vehicle) (lines []shortLine) {
	for _, s := range v.Stopped {
		by := joined(", ", s.By, p.Since(s.Defect.GetStop().GetStationTime()))
		lines = append(lines, shortLine{"STOPPED (" + by + "): " + said(s.Defect.GetStop().GetReason()) + ".", true})
	}
	for _, d := range v.Lapsing {
		lines = append(lines, shortLine{p.LapseWords(d), true})
	}
	var limits []string
	for _, limit := range v.Readiness.GetRestrictions() {
		limits = append(limits, said(limit.GetText()))
	}
	if len(limits) > 0 {
		lines = append(lines, shortLine{"Limit: " + strings.Join(limits, "; ") + ".", false})
	}
	if lost := lostWords(v.Readiness); lost != "" {
		lines = append(lines, shortLine{"Lost: " + lost + ".", false})
	}
	return lines
}

// openWords count the open defects of a vehicle and name the worst that its row does not
// tell of by itself: a stop has its own line.
func openWords(open []*pb.Defect) string {
	if len(open) == 0 {
		return ""
	}
	words := counted(len(open), "open defect")
	for _, d := range open {
		if d.GetStop() == nil {
			return words + ": " + defectWords(d)
		}
	}
	return words
}

// RoutineTitle is what a vehicle's routine is called.
func (v vehicleRow) RoutineTitle(name string) string {
	for _, r := range v.Routines {
		if r.Routine.GetName() == name {
			return r.Routine.GetTitle()
		}
	}
	return name
}

// DueNext says what becomes due next, and when.
func (p pane) DueNext(r *pb.Readiness) string {
	due := r.GetDueNext()
	if len(due) == 0 {
		return ""
	}
	return fmt.Sprintf("Next due %s: %s", p.Since(due[0].GetDue()), counted(int(due[0].GetSteps()), "step"))
}

// Drivers are the people who may drive.
func (p pane) Drivers() []*pb.Person {
	return slices.DeleteFunc(slices.Clone(p.People), func(who *pb.Person) bool {
		return !slices.Contains(who.GetRoles(), pb.Role_ROLE_DRIVER)
	})
}

// owedTakeover is the check that is owed before all others by a vehicle that took another's
// place, or its own again; empty when none is.
func owedTakeover(v round.Vehicle) string {
	if h := v.Readiness.GetHolding(); h.GetCountsFrom() == nil || h.GetChecked() != nil {
		return ""
	}
	for _, r := range v.Routines {
		if r.Steps > 0 && slices.Contains(r.Routine.GetTriggers(), pb.Trigger_TRIGGER_RESERVE_TAKEOVER) {
			return r.Routine.GetName()
		}
	}
	return ""
}

// Takers are the drivers who can take a vehicle over: all but who hands over.
func (p pane) Takers() []*pb.Person {
	return slices.DeleteFunc(p.Drivers(), func(who *pb.Person) bool {
		return who.GetErased() || who.GetName() == p.Closing.GivenBy.GetName()
	})
}

// Assistants are the people who can assist: whoever is at a station but the driver.
// Who was erased is at none.
func (p pane) Assistants() []*pb.Person {
	return slices.DeleteFunc(slices.Clone(p.People), func(who *pb.Person) bool {
		desk := slices.Equal(who.GetRoles(), []pb.Role{pb.Role_ROLE_CONTROL})
		return desk || who.GetErased() || p.Session != nil && who.GetName() == p.Session.Driver.GetName()
	})
}

// engineTime is one answer to when the engine last ran: the least time it has
// stood, so that nothing counts as colder than it is.
type engineTime struct {
	Minutes int
	Words   string
}

// EngineTimes are the answers that are one touch away.
func (p pane) EngineTimes() []engineTime {
	return []engineTime{
		{0, "under 1 h ago"},
		{60, "1 to 2 h ago"},
		{120, "2 to 3 h ago"},
		{180, "3 to 6 h ago"},
		{360, "6 h ago or more"},
	}
}

// EngineRunning tells that the engine was said to run.
func (p pane) EngineRunning() bool { return p.Before != nil && p.Before.Running }

// EngineUnknown tells that nobody was said to know when it ran.
func (p pane) EngineUnknown() bool { return p.Before != nil && p.Before.Unknown }

// EngineWords say what was said of the engine.
func (p pane) EngineWords() string {
	switch b := p.Before; {
	case b.Running:
		return "Running now."
	case b.Unknown:
		return "Nobody knows."
	case b.EngineStopped != nil:
		return fmt.Sprintf("Stopped %s, %s ago.", p.At(*b.EngineStopped), lasting(p.Now.Sub(*b.EngineStopped)))
	}
	return ""
}

// ColdWords say what a warm engine does to the round.
func (p pane) ColdWords() string {
	b := p.Before
	switch {
	case b.ColdSteps == 0 || b.EngineStopped == nil && !b.Unknown && !b.Running:
		return ""
	case b.ColdAt != nil && b.ColdAt.After(p.Now):
		return fmt.Sprintf("%s wait for a cold engine until %s. They stay open and are asked then.", counted(b.ColdSteps, "step"), p.At(*b.ColdAt))
	case b.Unknown || b.Running:
		return fmt.Sprintf("%s wait until the engine is known to be cold. They stay open.", counted(b.ColdSteps, "step"))
	}
	return ""
}

// TimeWords say what a short round leaves out.
func (p pane) TimeWords() string {
	t := p.Before.Time
	if t == nil || t.Chosen == 0 {
		return ""
	}
	return fmt.Sprintf("Only %d min: %s not looked at. What was not proven stays so.", t.Chosen, counted(len(t.LeftOut), "step"))
}

// BeforeNeeds says what must still be told before the round can begin.
func (p pane) BeforeNeeds() string {
	b := p.Before
	if b.ColdSteps > 0 && b.EngineStopped == nil && !b.Unknown && !b.Running {
		return "Say first when the engine last ran."
	}
	return ""
}

// gaugeChoice is one gauge that can be taken in hand.
type gaugeChoice struct {
	Gauge   *pb.Gauge
	InHand  bool
	Overdue string
}

// gaugeGroup is the gauges for one quantity.
type gaugeGroup struct {
	Quantity pb.Quantity
	Gauges   []gaugeChoice
}

// GaugeChoices are the gauges for what the plan measures.
func (p pane) GaugeChoices() []gaugeGroup {
	var groups []gaugeGroup
	for _, q := range p.Before.Quantities {
		groups = append(groups, gaugeGroup{q, p.gaugesFor(q, p.Before.Gauges[q])})
	}
	return groups
}

func (p pane) gaugesFor(q pb.Quantity, inHand string) (choices []gaugeChoice) {
	for _, g := range p.Gauges {
		if g.GetQuantity() == q && !g.GetWithdrawn() {
			choices = append(choices, gaugeChoice{g, g.GetName() == inHand, overdueWords(g, p.Now)})
		}
	}
	home := p.Chosen.Configuration.GetStation() // its own gauges first; another station's may still be in hand
	slices.SortStableFunc(choices, func(a, b gaugeChoice) int {
		return cmp.Compare(elsewhere(a.Gauge, home), elsewhere(b.Gauge, home))
	})
	return choices
}

// elsewhere is 1 for a gauge that another station keeps.
func elsewhere(g *pb.Gauge, home string) int {
	if g.GetStation() == home {
		return 0
	}
	return 1
}

// overdueWords say that a gauge's calibration has lapsed, or is not known.
func overdueWords(g *pb.Gauge, now time.Time) string {
	switch due := instant(g.GetCalibrationDue()); {
	case due.IsZero():
		return "calibration not known"
	case due.Before(now):
		return "calibration lapsed"
	}
	return ""
}

// key is one key of a pad.
type key struct {
	Value, Press, Face, Name, Class string
}

// PinWord is on the key that hands the PIN in.
func (p pane) PinWord() string {
	if p.Phase == round.PhaseAsleep {
		return "Go on"
	}
	return "Sign in"
}

// PinPad is the keys of a PIN in three columns.
func (p pane) PinPad() []key {
	keys := digits("1", "2", "3", "4", "5", "6", "7", "8", "9")
	keys = append(keys, key{Press: "", Face: "back", Name: "Take back the last digit", Class: "word"})
	return append(keys, digits("0")...)
}

// PinKeys is the keys of a PIN in four columns, where numbers are typed elsewhere.
func (p pane) PinKeys() []key {
	keys := digits("7", "8", "9")
	keys = append(keys, key{Press: "", Face: "back", Name: "Take back the last digit", Class: "word"})
	return append(keys, digits("4", "5", "6", "0", "1", "2", "3")...)
}

func digits(faces ...string) (keys []key) {
	for _, face := range faces {
		keys = append(keys, key{Value: face, Press: face, Face: face})
	}
	return keys
}
