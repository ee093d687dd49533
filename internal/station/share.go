package station

import (
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/schedule"
	pb "bayround/proto/bayround/v1"
)

// aheadOfShares is how far ahead shares are worked out: the longest time between two turns
// of what the catalogue has is four weeks.
const aheadOfShares = 32 * 24 * time.Hour

// shares is how the routines of a vehicle that are shared out fall on the watches.
type shares struct {
	ring  schedule.Ring
	items map[string]*shared
}

// shared is one item that is shared out.
type shared struct {
	item     *pb.Item
	steps    []string // its steps at the vehicle
	routines []string // those of the shared out routines that ask for it
	required bool     // the verdict rests on it
}

// share works out the turns of what is shared out; nil where nothing is, or where no watch
// makes a round due that would take a share along. What such a round asks for anyway is
// not shared out, but done each time.
func (t *timetable) share(m *model) (*shares, error) {
	carrier, carried := t.carrier(m)
	if carrier == nil {
		for i := range t.lines {
			t.lines[i].shared = false
		}
		t.lines = slices.DeleteFunc(t.lines, func(l timetableLine) bool { return len(l.occasions) == 0 })
		return nil, nil
	}
	s := &shares{items: map[string]*shared{}}
	for i, line := range t.lines {
		if !line.shared {
			continue
		}
		t.lines[i].occasions = slices.DeleteFunc(slices.Clone(line.occasions), func(o schedule.Routine) bool { return o.ByCalendar() })
		for _, id := range line.steps {
			if !slices.Contains(carried, id) {
				s.add(m, line.routine.GetName(), id)
			}
		}
	}
	if len(s.items) == 0 {
		return nil, nil
	}
	var items []schedule.Item
	for _, id := range sortedKeys(s.items) {
		one := s.items[id]
		items = append(items, schedule.Item{
			ID: id, Only: carrier.On.(schedule.EachWatch).Only,
			LongestGapDays: t.calendar.GapDays(one.item.GetGoodFor().AsDuration(), carrier.Grace.AtMost()),
			Seconds:        len(one.steps) * int(1+one.item.GetLeastLookS()),
		})
	}
	var err error
	s.ring, err = t.calendar.Ring(items)
	return s, err
}

// carrier is the first occasion at which a watch makes a round due that takes shares
// along, and the steps of that round's routine.
func (t *timetable) carrier(m *model) (*schedule.Routine, []string) {
	if m.station.GetCalendar() == nil {
		return nil, nil
	}
	for _, line := range t.lines {
		for i := range line.occasions {
			if line.occasions[i].ByWatch() && !line.shared {
				return &line.occasions[i], line.steps
			}
		}
	}
	return nil, nil
}

func (s *shares) add(m *model, routine, stepID string) {
	id := m.steps[stepID].GetItem()
	one := s.items[id]
	if one == nil {
		at := slices.IndexFunc(m.catalogue.GetItems(), func(i *pb.Item) bool { return i.GetId() == id })
		one = &shared{item: m.catalogue.GetItems()[at]}
		s.items[id] = one
	}
	if !slices.Contains(one.routines, routine) {
		one.routines = append(one.routines, routine)
	}
	if !slices.Contains(one.steps, stepID) {
		one.steps = append(one.steps, stepID)
	}
	if _, required := m.places[stepID]; required {
		one.required = true
	}
}

// shareNow is what the shares of a vehicle come to at an instant. A nil one tells nothing.
type shareNow struct {
	watch schedule.Watch
	of    map[string]*routineShare // by routine
	all   []string                 // this watch's items, ascending by id
}

// routineShare is what a shared out routine comes to.
type routineShare struct {
	due   schedule.Due
	share []*pb.SharedItem
	steps int32 // of the share
	items int   // of the routine
	whole bool  // it is to be walked whole first
}

// shareNow works out this watch's share of a vehicle. What somebody looked at in this watch
// has had its turn, whichever round it was in. What a verdict rests on and nobody has ever
// looked at cannot wait.
func (s *snapshot) shareNow(t timetable, now time.Time) *shareNow {
	if t.shares == nil {
		return nil
	}
	n := &shareNow{watch: t.calendar.WatchAt(now), of: s.routineShares(t)}
	first := map[string]schedule.Watch{}
	for i, load := range s.loads(t, n.of, now, now.Add(aheadOfShares)) {
		for _, id := range load.Items {
			if _, known := first[id]; !known {
				first[id] = load.Watch
			}
			if i == 0 {
				n.all = append(n.all, id)
			}
		}
	}
	for _, id := range sortedKeys(t.shares.items) {
		one := t.shares.items[id]
		for _, routine := range one.routines {
			n.of[routine].add(one, first[id], s.gapEnds(one), slices.Contains(n.all, id))
		}
	}
	for _, of := range n.of {
		of.settle(now)
	}
	return n
}

// routineShares are the shares before anything is counted in. A check of which most was
// never looked at is begun by walking it whole, so that no round of a watch suddenly has
// all of it.
func (s *snapshot) routineShares(t timetable) map[string]*routineShare {
	of, never := map[string]*routineShare{}, map[string]int{}
	for _, one := range t.shares.items {
		for _, routine := range one.routines {
			if of[routine] == nil {
				of[routine] = &routineShare{}
			}
			of[routine].items++
			if s.done(one.steps).IsZero() {
				never[routine]++
			}
		}
	}
	for routine, r := range of {
		if r.whole = never[routine] > r.items/2; r.whole {
			r.due.At = s.happenings.since
		}
	}
	return of
}

// loads are the shares of the coming watches. The first is what is left of this watch's.
func (s *snapshot) loads(t timetable, of map[string]*routineShare, from, until time.Time) []schedule.Load {
	loads := s.allLoads(t, from, until)
	for i := range loads {
		loads[i].Items = slices.DeleteFunc(loads[i].Items, func(id string) bool {
			return !slices.ContainsFunc(t.shares.items[id].routines, func(routine string) bool { return !of[routine].whole })
		})
	}
	return loads
}

// allLoads are the loads of everything that is shared out.
func (s *snapshot) allLoads(t timetable, from, until time.Time) []schedule.Load {
	day := t.calendar.DayOf(from)
	var atOnce []string
	spread := t.shares.ring.Over(from, until, func(i schedule.Item) schedule.Date {
		one := t.shares.items[i.ID]
		at := s.done(one.steps)
		if at.IsZero() && one.required {
			atOnce = append(atOnce, i.ID)
		}
		if at.IsZero() {
			at = s.happenings.since
		}
		return day(at)
	})
	if len(spread.Loads) > 0 {
		spread.Loads[0].Items = append(spread.Loads[0].Items, atOnce...)
		slices.Sort(spread.Loads[0].Items)
		spread.Loads[0].Items = slices.Compact(spread.Loads[0].Items)
	}
	return spread.Loads
}

// gapEnds is when the longest gap of an item ends.
func (s *snapshot) gapEnds(one *shared) time.Time {
	at := s.done(one.steps)
	if at.IsZero() {
		at = s.happenings.since
	}
	return at.Add(one.item.GetGoodFor().AsDuration())
}

// add counts an item in: when it is done first, and when its gap ends.
func (r *routineShare) add(one *shared, first schedule.Watch, ends time.Time, now bool) {
	if !r.whole && !first.Begins.IsZero() && (r.due.At.IsZero() || first.Begins.Before(r.due.At)) {
		r.due.At = first.Begins
	}
	if r.due.OverdueFrom.IsZero() || ends.Before(r.due.OverdueFrom) {
		r.due.OverdueFrom = ends
	}
	if now && !r.whole {
		r.steps += int32(len(one.steps))
		r.share = append(r.share, &pb.SharedItem{
			Item: one.item.GetId(), Title: one.item.GetTitle(), Steps: int32(len(one.steps)), GapEnds: timestamppb.New(ends),
		})
	}
}

// settle says how the routine stands. A gap that is over before its item's turn makes it
// overdue, and nothing else does.
func (r *routineShare) settle(now time.Time) {
	switch {
	case !now.Before(r.due.OverdueFrom):
		r.due.State = schedule.Overdue
		if r.due.At.IsZero() || r.due.OverdueFrom.Before(r.due.At) {
			r.due.At = r.due.OverdueFrom
		}
	case len(r.share) > 0 || r.whole:
		r.due.State = schedule.InGrace
	case r.due.At.IsZero():
		r.due.State = schedule.Quiet // its turn lies farther ahead than is looked
	default:
		r.due.State = schedule.Coming
	}
}

// tell adds to how a routine stands what the shares make of it.
func (n *shareNow) tell(t timetable, line timetableLine, due schedule.Due, told *pb.RoutineDue) {
	if n == nil {
		return
	}
	if of := n.of[line.routine.GetName()]; of != nil && line.shared {
		told.Share = of.share
		if of.due.Worse(due) {
			told.State, told.Due, told.OverdueFrom = pb.DueState(of.due.State), instantOrNone(of.due.At), instantOrNone(of.due.OverdueFrom)
			told.Because, told.OpenSteps = pb.HappeningKind_HAPPENING_KIND_UNSPECIFIED, of.steps
			told.Changes = instantOrNone(n.changes(of.due))
			told.Text = t.calendar.ShareWords(line.routine.GetTitle(), of.due, len(of.share))
			if of.whole {
				told.OpenSteps, told.Changes = told.GetSteps(), instantOrNone(of.due.Changes())
				told.Text = t.calendar.Words(line.routine.GetTitle(), of.due) + ": walk it whole, most of it was never looked at"
			}
		}
	}
	if !line.shared && slices.ContainsFunc(line.occasions, schedule.Routine.ByWatch) {
		told.WithItems = n.all
	}
}

// changes is when the share, or how its routine stands, next changes by itself.
func (n *shareNow) changes(due schedule.Due) time.Time {
	if next := due.Changes(); !next.IsZero() && next.Before(n.watch.Ends) {
		return next
	}
	return n.watch.Ends
}
