package schedule

import "time"

// Stood is a time in which a vehicle stood.
type Stood struct{ From, Until time.Time }

// Stands is what is known of a vehicle's standing: when it last ran, and the times of a day
// and more in which it had stood before, oldest first.
type Stands struct {
	Ran   time.Time // zero when nobody has said
	Stood []Stood
}

// since is from when on a vehicle has stood that was checked, or came into force, at an
// instant: since it last ran, or from the beginning of the first time of standing after
// the check that was too long, which no run since has cleared.
func (s Stands) since(checked time.Time, tooLong time.Duration) time.Time {
	for _, stood := range s.Stood {
		from := stood.From
		if from.Before(checked) {
			from = checked
		}
		if stood.Until.Sub(from) >= tooLong {
			return from
		}
	}
	if s.Ran.After(checked) {
		return s.Ran
	}
	return checked
}

// Worst returns how a routine stands that several occasions make due: of those that are
// overdue or due, the one that has been so for longest; else the one that comes first. No
// occasion at all means quiet.
func (c Calendar) Worst(occasions []Routine, past Past, stands Stands, now time.Time) (Due, error) {
	worst := Due{State: Quiet}
	for _, r := range occasions {
		due, err := c.Next(r, past.standing(r, stands, now), now)
		if err != nil {
			return Due{}, err
		}
		if due.Worse(worst) {
			worst = due
		}
	}
	return worst, nil
}

// standing puts what is known of the vehicle's standing in the place of when the routine
// was done, for an occasion that asks for it.
func (p Past) standing(r Routine, s Stands, now time.Time) Past {
	o, ok := r.On.(AfterStanding)
	if !ok || p.began().IsZero() || p.LastDone.After(now.Add(ClockSkew)) {
		return p
	}
	return Past{LastDone: s.since(p.began(), o.Longer)}
}

func (p Past) began() time.Time { return history{done: p.LastDone, inForce: p.InForceSince}.began() }

// Worse tells that a routine stands worse than another: its state is, or it has been so for
// longer.
func (d Due) Worse(other Due) bool {
	if d.State != other.State {
		return d.State > other.State
	}
	return d.At.Before(other.At) // zero, since nobody knows when, is the worst
}

// Check says what is wrong with occasions, as a fault of the kind Invalid.
func (c Calendar) Check(occasions []Routine) error {
	for _, r := range occasions {
		if err := c.check(r); err != nil {
			return err
		}
	}
	return nil
}
