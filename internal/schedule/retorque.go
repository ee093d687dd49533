package schedule

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// When the nuts of a wheel that was off are torqued again: after 30 minutes standing, or
// after 40 to 80 km. Source: row "UK practice, re-torque" of
// testdata/reference/wheel-fastener-limits.csv; job description A2, row 23.
const (
	RetorqueAfter     = 30 * time.Minute
	RetorqueDueKm     = 40.0
	RetorqueOverdueKm = 80.0
)

// WheelFitted is when a wheel was fitted, and what the odometer showed then. A reading that
// was not taken is not a number.
type WheelFitted struct {
	At         time.Time
	OdometerKm float64
}

// RetorqueState is how the re-torque of a wheel stands.
type RetorqueState int

// The states. Unknown is no reprieve: the nuts may be overdue, so torque them now.
const (
	RetorqueComing  RetorqueState = 1 // neither the time nor the distance has come
	RetorqueDue     RetorqueState = 2 // one of them has
	RetorqueOverdue RetorqueState = 3 // driven as far as the source allows, or farther
	RetorqueUnknown RetorqueState = 4 // no two odometer readings that can be believed, or no time of fitting
)

// Retorque is what is known of the re-torque of one wheel.
type Retorque struct {
	State RetorqueState
	// DueAt is when it falls due, or fell due, by time. It counts from the fitting, since
	// nobody records how long a vehicle stands: at most too early.
	DueAt time.Time
	// DrivenKm is the distance since the fitting; not a number when unknown.
	DrivenKm float64
	// LeftKm is how much farther it may be driven before it is overdue, none when it is;
	// not a number when unknown.
	LeftKm float64
}

// Retorque returns how the re-torque stands, by time or distance, whichever comes first. An
// odometer that was not read, or that runs backwards, makes the state unknown, and so does
// a fitting without a time, or one in the future by more than ClockSkew. Once the nuts are
// torqued again there is nothing left to ask.
func (w WheelFitted) Retorque(now time.Time, odometerKm float64) Retorque {
	driven := odometerKm - w.OdometerKm
	if !(driven >= 0) || math.IsInf(driven, 0) { // not a number compares false
		driven = math.NaN()
	}
	r := Retorque{State: RetorqueComing, DueAt: w.At.Add(RetorqueAfter), DrivenKm: driven, LeftKm: max(0, RetorqueOverdueKm-driven)}
	switch {
	case math.IsNaN(driven), w.At.IsZero(), w.At.After(now.Add(ClockSkew)):
		r.State = RetorqueUnknown
	case driven >= RetorqueOverdueKm:
		r.State = RetorqueOverdue
	case driven >= RetorqueDueKm, !now.Before(r.DueAt):
		r.State = RetorqueDue
	}
	return r
}

// ByWheel tells that a wheel that was fitted makes the routine due.
func (r Routine) ByWheel() bool {
	o, ok := r.On.(AfterEvent)
	return ok && slices.Contains(o.Kinds, Fitted)
}

// Due is the re-torque as a due. read is when the odometer was read that the distance is
// taken from. What is unknown counts as overdue since the wheel was fitted.
func (r Retorque) Due(w WheelFitted, read time.Time) Due {
	due := Due{State: Coming, At: r.DueAt, Because: Fitted}
	if r.DrivenKm >= RetorqueDueKm && read.Before(r.DueAt) {
		due.At = read
	}
	switch r.State {
	case RetorqueDue:
		due.State = InGrace
	case RetorqueOverdue:
		due.State, due.OverdueFrom = Overdue, read
	case RetorqueUnknown:
		due.State, due.At, due.OverdueFrom = Overdue, w.At, w.At
	}
	return due
}

// RetorqueWords say how the re-torque of a wheel stands, as Words do: "wheel nuts torqued
// again, rear axle, nearside: due Tue 3 Feb 10:30 or after 40 km". read tells that the
// odometer was read since the wheel was fitted.
func (c Calendar) RetorqueWords(what string, w WheelFitted, r Retorque, read bool) string {
	known := "fitted " + c.clock(w.At)
	switch {
	case r.State == RetorqueComing:
		return fmt.Sprintf("%s: due %s or after %v km", what, c.clock(r.DueAt), RetorqueDueKm)
	case r.State == RetorqueUnknown:
		return fmt.Sprintf("%s: overdue (%s, no odometer reading tells how far it was driven)", what, known)
	case read:
		known += fmt.Sprintf(", %.0f km driven", r.DrivenKm)
	default:
		known += ", odometer not read since"
	}
	if r.State == RetorqueOverdue {
		return fmt.Sprintf("%s: overdue (%s)", what, known)
	}
	return fmt.Sprintf("%s: due (%s), overdue at %v km", what, known, RetorqueOverdueKm)
}
