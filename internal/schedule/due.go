package schedule

import (
	"slices"
	"time"

	"bayround/internal/fault"
)

// ClockSkew is how far ahead of the asker's clock a recorded time may lie and still be
// believed: clocks of the station's devices may differ so much before it is noted.
const ClockSkew = 2 * time.Minute

// EventKind is something that happens to a vehicle and makes routines due.
type EventKind string

// The kinds of event that the job knows (A5 of its description). Others may be added.
const (
	Repaired EventKind = "repair"
	Incident EventKind = "incident"
	Changed  EventKind = "change"   // of load or equipment
	TakenFor EventKind = "takeover" // a reserve vehicle took another's place
	Fitted   EventKind = "wheel"    // a wheel that was off; see WheelFitted
	Ran      EventKind = "run"      // the vehicle moved under its own power: it stands no longer
)

// Event is one thing that happened.
type Event struct {
	Kind EventKind
	At   time.Time // zero when nobody knows: it counts as not yet followed by anything
}

// Span is a stretch of time as RFC 5545, section 3.3.6, means one: first the days, of the
// local calendar, then the exact time.
type Span struct {
	Days  int
	Exact time.Duration
}

// AtMost is the longest that a span can be, elapsed time.
func (s Span) AtMost() time.Duration {
	if s.Days == 0 {
		return s.Exact
	}
	return time.Duration(s.Days)*24*time.Hour + clocksChange + s.Exact
}

func (s Span) after(t time.Time, in *time.Location) time.Time {
	if s.Days != 0 {
		t = t.In(in)
		clock := TimeOfDay{t.Hour(), t.Minute()}
		rest := t.Sub(DateAt(t, in).At(clock, in)) % time.Minute // what a clock of minutes does not show
		t = DateAt(t, in).Plus(s.Days).At(clock, in).Add(rest)
	}
	return t.Add(s.Exact)
}

// Routine is what is due together: on which occasion, and how long it may wait then.
type Routine struct {
	On    Occasion
	Grace Span // not negative; when the occasion comes again, grace ends
}

// Past is what is known of a routine at one vehicle.
type Past struct {
	InForceSince time.Time // when the routine began to hold for the vehicle; zero when nobody knows
	LastDone     time.Time // when it was last done to its end; zero when never
	Events       []Event   // all since it was last done, those from before do no harm; in any order
}

// State is how a routine stands.
type State int

// The states, from good to bad.
const (
	Quiet   State = 1 // nothing makes it due
	Coming  State = 2 // due at a time that is known and has not come
	InGrace State = 3 // due
	Overdue State = 4 // due, and its grace is over
)

// String returns the word for the state.
func (s State) String() string {
	words := map[State]string{Quiet: "quiet", Coming: "coming", InGrace: "due", Overdue: "overdue"}
	return words[s]
}

// Due is when a routine is due.
type Due struct {
	State State
	// At is when it falls due, or fell due and was not done since. It is zero when the
	// routine is quiet, and when it is overdue since nobody knows when: never done, and not
	// said since when it holds, or an event whose time is not known.
	At time.Time
	// OverdueFrom is when grace ends: at this instant it is overdue. Zero as At.
	OverdueFrom time.Time
	// Because is the kind of event that makes it due; empty when it was the calendar.
	Because EventKind
	// DoneDisbelieved says that the time of the last doing lies in the future by more than
	// ClockSkew, and so proves nothing: the routine counts as never done.
	DoneDisbelieved bool
}

// Changes returns when the state will next change by itself; zero when it will not.
func (d Due) Changes() time.Time {
	switch d.State {
	case Coming:
		return d.At
	case InGrace:
		return d.OverdueFrom
	default:
		return time.Time{}
	}
}

// history is the past as far as it is believed.
type history struct {
	done, inForce time.Time
	events        []Event
}

// began is from when on nothing has been done; zero when nobody knows.
func (h history) began() time.Time {
	if h.done.IsZero() {
		return h.inForce
	}
	return h.done
}

// Next returns when a routine is due next, or has been due since. What comes round by the
// calendar is due once each time: done late or early, it is due again when the occasion
// comes next after that; missed twice, it is due since the first. A routine that cannot be
// (31 o'clock, the fifth Monday) is returned as a fault of the kind Invalid.
func (c Calendar) Next(r Routine, past Past, now time.Time) (Due, error) {
	if err := c.check(r); err != nil {
		return Due{}, err
	}
	h := history{past.LastDone, past.InForceSince, past.Events}
	disbelieved := past.LastDone.After(now.Add(ClockSkew))
	if disbelieved {
		h.done = time.Time{}
	}
	due := c.next(r, h, now)
	due.DoneDisbelieved = disbelieved
	return due, nil
}

// Dues returns when a routine is due from now until an instant, in order: first what Next
// says, if that is before until, then as often as the calendar brings it back, each time
// taken to be done when it falls due. What an event or standing makes due comes once.
func (c Calendar) Dues(r Routine, past Past, now, until time.Time) ([]Due, error) {
	due, err := c.Next(r, past, now)
	if err != nil {
		return nil, err
	}
	_, byEvent := r.On.(AfterEvent)
	_, byStanding := r.On.(AfterStanding)
	var all []Due
	for done := now; due.State != Quiet && due.At.Before(until); {
		all = append(all, due)
		if byEvent || byStanding {
			break
		}
		if due.At.After(done) {
			done = due.At
		}
		due = c.next(r, history{done: done}, now)
	}
	return all, nil
}

func (c Calendar) check(r Routine) error {
	if r.On == nil {
		return fault.New(fault.Invalid, "NO_OCCASION", "a routine needs an occasion on which it is due")
	}
	if r.Grace.Days < 0 || r.Grace.Exact < 0 {
		return fault.New(fault.Invalid, "NEGATIVE_GRACE", "grace begins when a routine falls due; it cannot be negative")
	}
	return r.On.check(c)
}

func (c Calendar) next(r Routine, h history, now time.Time) Due {
	_, byEvent := r.On.(AfterEvent)
	if h.began().IsZero() && !byEvent {
		return Due{State: Overdue}
	}
	at, because := r.On.due(c, h)
	if at.IsZero() && because != "" {
		return Due{State: Overdue, Because: because}
	}
	if at.IsZero() {
		return Due{State: Quiet}
	}
	due := Due{State: InGrace, At: at, OverdueFrom: r.Grace.after(at, c.location), Because: because}
	if o, ok := r.On.(recurring); ok {
		if again := o.next(c, at); again.Before(due.OverdueFrom) {
			due.OverdueFrom = again
		}
	}
	if now.Before(at) {
		due.State = Coming
	} else if !now.Before(due.OverdueFrom) {
		due.State = Overdue
	}
	return due
}

// byCalendar is when an occasion first came after the last doing, or from the day on
// which the routine came into force.
func byCalendar(c Calendar, o recurring, h history) (time.Time, EventKind) {
	if h.done.IsZero() {
		return o.next(c, h.inForce.Add(-1)), ""
	}
	return o.next(c, h.done), ""
}

func (o EachWatch) due(c Calendar, h history) (time.Time, EventKind) { return byCalendar(c, o, h) }

func (o Daily) due(c Calendar, h history) (time.Time, EventKind) { return byCalendar(c, o, h) }

func (o Weekly) due(c Calendar, h history) (time.Time, EventKind) { return byCalendar(c, o, h) }

func (o MonthlyOnDay) due(c Calendar, h history) (time.Time, EventKind) { return byCalendar(c, o, h) }

func (o MonthlyOnWeekday) due(c Calendar, h history) (time.Time, EventKind) {
	return byCalendar(c, o, h)
}

func (o EveryDays) due(c Calendar, h history) (time.Time, EventKind) {
	if h.done.IsZero() {
		return h.inForce, ""
	}
	return DateAt(h.done, c.location).Plus(o.Days).At(o.At, c.location), ""
}

func (o AfterEvent) due(_ Calendar, h history) (at time.Time, because EventKind) {
	for _, e := range h.events {
		if slices.Contains(o.Kinds, e.Kind) && e.At.IsZero() {
			return time.Time{}, e.Kind
		}
		if slices.Contains(o.Kinds, e.Kind) && !e.At.Before(h.done) && (at.IsZero() || e.At.Before(at)) {
			at, because = e.At, e.Kind
		}
	}
	return at, because
}

func (o AfterStanding) due(_ Calendar, h history) (time.Time, EventKind) {
	var runs []time.Time
	for _, e := range h.events {
		if e.Kind == Ran {
			runs = append(runs, e.At)
		}
	}
	slices.SortFunc(runs, time.Time.Compare)
	stands := h.began()
	for _, run := range runs {
		if run.Sub(stands) >= o.Longer {
			break // it stood too long before this run, whatever it did since
		}
		if run.After(stands) {
			stands = run
		}
	}
	return stands.Add(o.Longer), ""
}
