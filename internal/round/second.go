package round

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"bayround/internal/admit"
	"bayround/internal/fault"
	"bayround/internal/signature"
	pb "bayround/proto/bayround/v1"
)

// A routine may ask an officer to sign after the driver, as another person. The officer does
// it on the page after the driver's, or later from the list of vehicles, where the rounds
// that wait are named.

// awaiter is an uplink that knows which rounds wait at the station for an officer.
type awaiter interface {
	// Awaiting are they, newest first; known is false while the station has not said.
	Awaiting() (rounds []*pb.Round, known bool)
}

// mostAwaiting is how many rounds that wait are named.
const mostAwaiting = 20

// Awaiting is a round that waits for an officer's signature.
type Awaiting struct {
	Round    *pb.Round
	CallSign string
	Routine  string // its title
	Driver   string // by the name that is spoken
	Finished time.Time
	Here     bool // it can be signed on this tablet
}

// awaited is what the twin says of rounds that wait, as of one look at it.
type awaited struct {
	of     *scene
	rounds []*pb.Round
}

// awaitingHere are the rounds that this tablet knows to wait; read once for one state of the twin.
func (d *Desk) awaitingHere(ctx context.Context) ([]*pb.Round, error) {
	if d.awaited.of == d.scene {
		return d.awaited.rounds, nil
	}
	resp, err := d.twin.ListRounds(ctx, &pb.ListRoundsRequest{AwaitingOfficer: true, PageSize: mostAwaiting})
	if err != nil {
		return nil, fmt.Errorf("read which rounds wait for an officer: %w", err)
	}
	d.awaited.of, d.awaited.rounds = d.scene, resp.GetRounds()
	return d.awaited.rounds, nil
}

// awaiting are the rounds that wait, newest first. While the station is heard it counts what
// the station says, and what was not sent yet: an officer may have signed elsewhere.
func (d *Desk) awaiting(ctx context.Context) ([]Awaiting, error) {
	here, err := d.awaitingHere(ctx)
	if err != nil {
		return nil, err
	}
	rounds := here
	if up, ok := d.uplink.(awaiter); ok {
		if there, known := up.Awaiting(); known {
			rounds = slices.DeleteFunc(slices.Clone(here), func(r *pb.Round) bool {
				return indexOf(there, r) < 0 && d.uplink.Pending(r.GetVehicle()) == 0
			})
			for _, r := range there {
				if indexOf(rounds, r) < 0 && !d.signedHere(ctx, r) && d.scene.vehicle(r.GetVehicle()) != nil {
					rounds = append(rounds, r)
				}
			}
		}
	}
	all := make([]Awaiting, 0, len(rounds))
	for _, r := range rounds {
		all = append(all, Awaiting{
			Round: r, CallSign: d.scene.vehicle(r.GetVehicle()).GetCallSign(), Routine: d.scene.routine(r.GetRoutine()).GetTitle(),
			Driver: d.scene.person(r.GetDriver()).GetTitle(), Finished: r.GetLastActivity().AsTime(), Here: indexOf(here, r) >= 0,
		})
	}
	slices.SortStableFunc(all, func(a, b Awaiting) int { return b.Finished.Compare(a.Finished) })
	return all, nil
}

func indexOf(rounds []*pb.Round, r *pb.Round) int {
	return slices.IndexFunc(rounds, func(one *pb.Round) bool { return one.GetName() == r.GetName() })
}

// signedHere tells that an officer has signed a round on this tablet, which the station may not know yet.
func (d *Desk) signedHere(ctx context.Context, r *pb.Round) bool {
	resp, err := d.twin.GetRound(ctx, &pb.GetRoundRequest{Name: r.GetName()})
	return err == nil && resp.GetRound().GetState() == pb.RoundState_ROUND_STATE_FINISHED && !signature.OfficerMissing(resp.GetRound())
}

// toSecond goes to the page on which an officer signs: of the round that has just ended, or
// of one that waits.
func (d *Desk) toSecond(ctx context.Context, a Act) error {
	s, name := d.session, a.Values["round"]
	if s.Phase == PhaseHandover && (name == "" || name == s.Round) {
		if !signature.OfficerMissing(d.scene.round) {
			return fault.New(fault.Precondition, "NOT_AWAITED", "this round waits for no officer's signature")
		}
		s.Phase = PhaseSecond
		return nil
	}
	here, err := d.awaitingHere(ctx)
	if err != nil {
		return err
	}
	at := indexOf(here, &pb.Round{Name: name})
	if at < 0 {
		return fault.New(fault.NotFound, "NOT_AWAITED", "this round waits for no signature here: it is signed already, or was driven with another tablet; sign it there, or at the station")
	}
	r := here[at]
	s.leaveRound()
	s.Phase, s.Vehicle, s.Routine, s.Round = PhaseSecond, r.GetVehicle(), r.GetRoutine(), r.GetName()
	d.stale = true
	return nil
}

// leaveSecond leaves it for later: back to the words for the next watch, or to the vehicles.
func (d *Desk) leaveSecond(context.Context, Act) error {
	if d.session.Closed != nil {
		d.session.Phase = PhaseHandover
		return nil
	}
	d.leave()
	return nil
}

// signSecond takes an officer's PIN under what the page shows.
func (d *Desk) signSecond(ctx context.Context, a Act) error {
	s, person := d.session, a.Values["person"]
	who := d.scene.person(person)
	rule, may := admit.PersonMay(who.GetRoles(), admit.SignSecond)
	switch {
	case who == nil || who.GetErased():
		return fault.New(fault.NotFound, "PERSON_UNKNOWN", "choose first which officer signs")
	case person == d.scene.round.GetDriver():
		return fault.New(fault.Precondition, "SAME_PERSON", "who drove the round does not sign it a second time; have another officer look at it and sign")
	case !may:
		return fault.New(fault.Denied, rule.Reason, "%s %s", who.GetTitle(), rule.Words)
	}
	ready, _ := d.readinessOf(s.Vehicle, d.link())
	p, err := d.paper(ctx, ready)
	if err != nil {
		return err
	}
	if err := p.lookAgain(a); err != nil {
		return err
	}
	if err := d.checkPIN(ctx, person, a.Values["pin"]); err != nil {
		return err
	}
	return d.command(ctx, &pending{Kind: commandSign}, &pb.SignRoundRequest{
		RequestId: uuid.NewString(), Round: s.Round, Signature: d.signed(p, person, pb.Role_ROLE_OFFICER), Shown: p.shown,
	})
}

func (d *Desk) signedSecond(ctx context.Context, _ *pb.SignRoundRequest, _ *pb.SignRoundResponse) error {
	return d.leaveSecond(ctx, Act{})
}
