package station

import (
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/catalogue"
	"bayround/internal/schedule"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// timetable is when the routines of one vehicle are due, as far as what is in force says.
type timetable struct {
	calendar schedule.Calendar
	lines    []timetableLine // in the order of the routines' names
	shares   *shares         // nil when no routine is shared out over the watches
}

// timetableLine is one routine that something makes due at the vehicle.
type timetableLine struct {
	routine   *pb.Routine
	occasions []schedule.Routine
	steps     []string // its steps at the vehicle
	shared    bool     // its items are shared out over the watches
	wheels    bool     // wheels that were fitted make it due
}

// timetableOf works out the timetable of a vehicle. What the settings say wrongly was
// refused when they were applied; a station of before, in a zone that this computer does
// not know, has none.
func timetableOf(m *model) (timetable, error) {
	calendar, err := schedule.Of(m.station)
	if err != nil {
		return timetable{}, err
	}
	t := timetable{calendar: calendar}
	for _, r := range sortedValues(m.routines) {
		scheduled := slices.Contains(m.vehicle.GetRequiredRoutines(), r.GetName()) || slices.Contains(m.vehicle.GetScheduledRoutines(), r.GetName())
		occasions, err := schedule.Occasions(r, m.station, scheduled)
		if err == nil {
			err = calendar.Check(occasions)
		}
		if err != nil {
			return timetable{}, err
		}
		shared := scheduled && r.GetShared()
		if steps := m.stepsOf(r); (len(occasions) > 0 || shared) && len(steps) > 0 {
			t.lines = append(t.lines, timetableLine{routine: r, occasions: occasions, steps: steps, shared: shared, wheels: slices.ContainsFunc(occasions, schedule.Routine.ByWheel)})
		}
	}
	t.shares, err = t.share(m)
	return t, err
}

// timetable is worked out when it is first asked for.
func (m *model) timetable() timetable {
	m.plans.scheduling.Do(func() { m.plans.due, _ = timetableOf(m) })
	return m.plans.due
}

// stepsOf gives the steps of a routine at the vehicle, in no order that matters.
func (m *model) stepsOf(r *pb.Routine) (ids []string) {
	belongs := map[string]bool{}
	for _, item := range m.catalogue.GetItems() {
		belongs[item.GetId()] = slices.Contains(r.GetItems(), item.GetId()) ||
			slices.ContainsFunc(item.GetTriggers(), func(t pb.Trigger) bool { return slices.Contains(r.GetTriggers(), t) })
	}
	for _, id := range sortedKeys(m.steps) {
		if belongs[m.steps[id].GetItem()] {
			ids = append(ids, id)
		}
	}
	return ids
}

// dues says how the routines of the vehicle stand at an instant, in the order of their
// names, and when the first of them changes by itself; zero when none does.
func (s *snapshot) dues(now time.Time) (all []*pb.RoutineDue, changes time.Time) {
	t := s.model.timetable()
	shared := s.shareNow(t, now)
	for _, line := range t.lines {
		due, done := s.due(t, line, now)
		told := &pb.RoutineDue{
			Vehicle: s.model.vehicle.GetName(), Station: s.model.vehicle.GetStation(),
			Routine: line.routine.GetName(), Title: line.routine.GetTitle(),
			State: pb.DueState(due.State), Due: instantOrNone(due.At), OverdueFrom: instantOrNone(due.OverdueFrom),
			Changes: instantOrNone(due.Changes()), Because: schedule.HappeningOf(due.Because), Done: instantOrNone(done),
			Steps: int32(len(line.steps)), Text: t.calendar.Words(line.routine.GetTitle(), due),
		}
		if due.State >= schedule.InGrace {
			told.OpenSteps = s.openSince(line.steps, due.At)
			told.Text += leftWords(told)
		}
		if due.Because == schedule.Fitted {
			told.OpenSteps, told.Text = int32(len(s.wheelsOf(line))), s.wheelsWords(t.calendar, line, now)
		}
		shared.tell(t, line, due, told)
		if next := told.GetChanges(); next != nil && (changes.IsZero() || next.AsTime().Before(changes)) {
			changes = next.AsTime()
		}
		all = append(all, told)
	}
	return all, changes
}

// leftWords says how much is left of a check of which a part was done: what could not be
// checked keeps it due, and nobody should look for more.
func leftWords(d *pb.RoutineDue) string {
	if d.GetOpenSteps() == 0 || d.GetOpenSteps() == d.GetSteps() {
		return ""
	}
	return fmt.Sprintf(", %d of %d steps left", d.GetOpenSteps(), d.GetSteps())
}

// due works out one line. What it asks of the calendar was checked with the timetable.
func (s *snapshot) due(t timetable, line timetableLine, now time.Time) (due schedule.Due, done time.Time) {
	done = s.done(line.steps)
	due, err := t.calendar.Worst(line.occasions, s.past(done), s.stands(), now)
	if err != nil {
		return schedule.Due{State: schedule.Overdue}, done
	}
	for _, w := range s.wheelsOf(line) {
		if wheel := s.wheelDue(w, now); wheel.Worse(due) {
			due = wheel
		}
	}
	return due, done
}

// past is what is known of a routine that was done at an instant.
func (s *snapshot) past(done time.Time) schedule.Past {
	p := schedule.Past{InForceSince: s.happenings.since, LastDone: done}
	for _, h := range s.happenings.told.GetNewest() {
		p.Events = append(p.Events, schedule.Event{Kind: schedule.KindOf(h.GetKind()), At: h.GetAt().AsTime()})
	}
	return p
}

func (s *snapshot) stands() schedule.Stands {
	var stands schedule.Stands
	if ran := s.happenings.told.GetRan(); ran != nil {
		stands.Ran = ran.AsTime()
	}
	for _, stood := range s.happenings.told.GetStood() {
		stands.Stood = append(stands.Stood, schedule.Stood{From: stood.GetFrom().AsTime(), Until: stood.GetUntil().AsTime()})
	}
	return stands
}

// done is when a routine was last done to its end: the oldest of the newest looks at its
// steps; zero while nobody ever looked at one of them. A step that the vehicle does not have
// is none of them, and one that could not be checked was not looked at: it alone keeps the
// routine due, since no gap may be longer than the routine allows.
func (s *snapshot) done(steps []string) (oldest time.Time) {
	for _, id := range steps {
		at := s.looked(id)
		if at.IsZero() {
			return at
		}
		if oldest.IsZero() || at.Before(oldest) {
			oldest = at
		}
	}
	return oldest
}

// looked is when somebody looked at a step last; zero when nobody did. A look from before a
// repair still counts here: the repair makes due what is to be done after one, and the
// verdict wants the step checked again whatever is due.
func (s *snapshot) looked(stepID string) time.Time {
	a := s.input.Latest[stepID]
	if a == nil || a.Real == nil || !a.RealFits {
		return time.Time{}
	}
	return verdict.Looked(a.Real)
}

// openSince counts the steps that nobody has looked at since an instant, or ever.
func (s *snapshot) openSince(steps []string, since time.Time) (open int32) {
	for _, id := range steps {
		if at := s.looked(id); at.IsZero() || at.Before(since) {
			open++
		}
	}
	return open
}

func instantOrNone(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

// unscheduled says what of calendars and occasions cannot be. A station that nobody has
// given a calendar is asked for nothing.
func unscheduled(loaded *catalogue.Loaded, l *library) (problems catalogue.Problems) {
	wrong := func(name, path string, err error) {
		p := catalogue.Problem{Path: path, Wrong: name + ": " + err.Error()}
		if p.File, p.Line, p.Column = loaded.Place(name, path); p.File == "" {
			p.File = name + " as it is in force"
		}
		problems = append(problems, p)
	}
	for _, home := range sortedValues(l.set.Stations) {
		if home.GetCalendar() == nil {
			continue
		}
		calendar, err := schedule.Of(home)
		if err != nil {
			wrong(home.GetName(), "calendar", err)
			continue
		}
		for _, r := range sortedValues(l.set.Routines) {
			occasions, err := schedule.Occasions(r, home, true)
			if err == nil {
				err = calendar.Check(occasions)
			}
			if err != nil {
				wrong(r.GetName(), "occasions", fmt.Errorf("at %s, %w", home.GetTitle(), err))
			}
		}
	}
	return problems
}
