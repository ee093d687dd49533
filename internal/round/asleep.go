package round

import (
	"context"
	"slices"
	"time"

	pb "bayround/proto/bayround/v1"
)

const (
	// idleFor is after how long without an act nobody is believed to hold the tablet any
	// more (ours).
	idleFor = 3 * time.Minute
	// idleWhileTaken is the same while a value is being taken, and the driver watches it.
	idleWhileTaken = 15 * time.Minute
)

// asleepDeeds are what can be done while it is not known who holds the tablet.
var asleepDeeds = []string{"wake", "sign-out", "turnout", "stop", "dismiss-notice"}

// inHand tells that a round stands on the tablet and waits for answers or the signature.
func (s *session) inHand() bool {
	return s.Phase == PhaseStep || s.Phase == PhaseOverview || s.Phase == PhaseSign
}

// idleAt is when nobody is believed to hold the tablet any more; zero when nobody is, or while
// a vehicle is made safe for a turnout.
func (d *Desk) idleAt() time.Time {
	s := d.session
	switch {
	case s.Driver == "" && s.Phase != PhaseSecond, s.Phase == PhaseAsleep, s.Phase == PhaseTurnout && s.Turnout != nil && s.Turnout.Away.IsZero():
		return time.Time{}
	case s.Phase == PhaseStep:
		if step := d.scene.stepOf(s.Step); step != nil && s.Draft.running(step) {
			return s.LastAct.Add(idleWhileTaken)
		}
	}
	return s.LastAct.Add(idleFor)
}

// endIdle ends what was believed of who did nothing for too long, and tells whether it did. A
// round in hand stays where it is until the driver gives the PIN again; elsewhere the session
// ends. The round stays as it is.
func (d *Desk) endIdle(now time.Time) bool {
	at, s := d.idleAt(), d.session
	if at.IsZero() || now.Before(at) {
		return false
	}
	if s.inHand() {
		s.fallAsleep()
		return true
	}
	s.signOut()
	if s.Phase != PhaseTurnout {
		s.leaveRound()
	}
	d.stale = true
	return true
}

func (s *session) fallAsleep() { s.Asleep, s.Phase = s.Phase, PhaseAsleep }

// finish carries out what was decided on before. It wakes nobody up.
func (d *Desk) finish(ctx context.Context) error {
	asleep := d.session.Phase == PhaseAsleep
	err := d.carryOut(ctx)
	if asleep && d.session.inHand() {
		d.session.fallAsleep()
	}
	return err
}

// wakeUp goes on with the round in hand, by the driver's PIN.
func (d *Desk) wakeUp(ctx context.Context, a Act) error {
	s := d.session
	if err := d.checkPIN(ctx, s.Driver, a.Values["pin"]); err != nil {
		return err
	}
	s.Phase, s.Asleep = s.Asleep, 0
	return nil
}

// endChanged ends the session of somebody whose roles are not those of the sign-in any
// more. What was answered stays, and the round can be gone on with by whoever may.
func (d *Desk) endChanged() {
	s := d.session
	if s.Driver == "" || s.Pending != nil {
		return
	}
	roles := rolesOf(d.scene.person(s.Driver))
	if s.Roles == nil || slices.Equal(s.Roles, roles) {
		s.Roles = roles // of a session of before, that did not keep them
		return
	}
	s.signOut()
	s.Notice = &Notice{
		Reason: "ROLES_CHANGED", Message: "what you may do was changed at the station; sign in again. What was recorded counts", At: d.now().Round(0),
	}
	if s.Phase == PhaseTurnout {
		return
	}
	s.leaveRound()
	d.scene.plan, d.scene.round = nil, nil
}

// rolesOf are a person's roles in their order; never nil.
func rolesOf(who *pb.Person) []pb.Role {
	roles := append([]pb.Role{}, who.GetRoles()...)
	slices.Sort(roles)
	return roles
}
