package schedule

import (
	"fmt"
	"slices"
	"time"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// Of returns the calendar of a station as its settings have it. A station without one has
// a calendar of days alone: one watch from midnight to midnight, which makes nothing due,
// see Occasions. What is wrong is returned as a fault of the kind Invalid.
func Of(station *pb.Station) (Calendar, error) {
	zone, err := time.LoadLocation(station.GetTimeZone())
	if err != nil {
		return Calendar{}, fault.New(fault.Invalid, "NO_ZONE", "%q is no time zone that is known here; give one such as Europe/London", station.GetTimeZone())
	}
	given := station.GetCalendar()
	if given == nil {
		return NewCalendar(zone, []Change{{Watch: "all day"}}, Rota{})
	}
	var changes []Change
	for _, change := range given.GetChanges() {
		at, err := timeOfDay(change.GetAt())
		if err != nil {
			return Calendar{}, err
		}
		changes = append(changes, Change{At: at, Watch: change.GetWatch()})
	}
	var rota Rota
	for _, day := range given.GetRota() {
		rota.Days = append(rota.Days, day.GetCrews())
	}
	if len(rota.Days) > 0 {
		if rota.Anchor, err = date(given.GetRotaFrom()); err != nil {
			return Calendar{}, err
		}
	}
	return NewCalendar(zone, changes, rota)
}

// timeOfDay reads 00:00 to 23:59.
func timeOfDay(text string) (t TimeOfDay, err error) {
	at, err := time.Parse("15:04", text)
	if err != nil || len(text) != len("15:04") {
		return t, fault.New(fault.Invalid, "NO_TIME_OF_DAY", "%q is no time of day; give one from 00:00 to 23:59", text)
	}
	return TimeOfDay{at.Hour(), at.Minute()}, nil
}

// date reads 2026-01-31.
func date(text string) (Date, error) {
	at, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return Date{}, fault.New(fault.Invalid, "NO_SUCH_DAY", "%q is no day of the calendar; give one such as 2026-01-31", text)
	}
	return DateAt(at, time.UTC), nil
}

// Occasions returns what makes a routine due at the vehicles of a station, in the order of
// the settings. scheduled tells that the calendar does, and not only what happens to a
// vehicle. Where the station has no calendar, no watch does.
func Occasions(r *pb.Routine, station *pb.Station, scheduled bool) ([]Routine, error) {
	var all []Routine
	for i, given := range r.GetOccasions() {
		on, err := occasion(given)
		if err != nil {
			return nil, fmt.Errorf("occasion %d of %s: %w", i+1, r.GetName(), err)
		}
		_, happens := on.(AfterEvent)
		_, byWatch := on.(EachWatch)
		if !happens && !scheduled || byWatch && station.GetCalendar() == nil {
			continue
		}
		all = append(all, Routine{On: on, Grace: Span{Days: int(given.GetGraceDays()), Exact: time.Duration(given.GetGraceMinutes()) * time.Minute}})
	}
	return all, nil
}

func occasion(given *pb.Occasion) (Occasion, error) {
	switch o := given.GetOn().(type) {
	case *pb.Occasion_EachWatch:
		return EachWatch{Only: o.EachWatch.GetOnly()}, nil
	case *pb.Occasion_Daily:
		at, err := timeOfDay(o.Daily.GetAt())
		return Daily{At: at}, err
	case *pb.Occasion_Weekly:
		at, err := timeOfDay(o.Weekly.GetAt())
		return Weekly{On: weekday(o.Weekly.GetOn()), At: at}, err
	case *pb.Occasion_MonthlyOnDay:
		at, err := timeOfDay(o.MonthlyOnDay.GetAt())
		return MonthlyOnDay{Day: int(o.MonthlyOnDay.GetDay()), At: at}, err
	case *pb.Occasion_MonthlyOnWeekday:
		at, err := timeOfDay(o.MonthlyOnWeekday.GetAt())
		return MonthlyOnWeekday{Nth: int(o.MonthlyOnWeekday.GetNth()), On: weekday(o.MonthlyOnWeekday.GetOn()), At: at}, err
	case *pb.Occasion_EveryDays:
		at, err := timeOfDay(o.EveryDays.GetAt())
		return EveryDays{Days: int(o.EveryDays.GetDays()), At: at}, err
	case *pb.Occasion_After:
		var kinds []EventKind
		for _, kind := range o.After.GetKinds() {
			kinds = append(kinds, KindOf(kind))
		}
		return AfterEvent{Kinds: kinds}, nil
	case *pb.Occasion_AfterStanding:
		return AfterStanding{Longer: time.Duration(o.AfterStanding.GetDays()) * 24 * time.Hour}, nil
	}
	return nil, fault.New(fault.Invalid, "NO_OCCASION", "an occasion says on what it comes; this version knows none of what is given")
}

// weekday is the day of the week: Go counts from Sunday, the contract from Monday.
func weekday(day pb.Weekday) time.Weekday { return time.Weekday(day % 7) }

// kinds are what happens to vehicles, as the contract numbers it.
func kinds() []EventKind { return []EventKind{"", Repaired, Incident, Changed, TakenFor, Fitted} }

// KindOf is a kind of event of the contract; empty for one that is not known here.
func KindOf(kind pb.HappeningKind) EventKind {
	if all := kinds(); kind > 0 && int(kind) < len(all) {
		return all[kind]
	}
	return ""
}

// HappeningOf is KindOf backwards.
func HappeningOf(kind EventKind) pb.HappeningKind {
	return pb.HappeningKind(max(0, slices.Index(kinds(), kind)))
}
