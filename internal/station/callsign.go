package station

import (
	"context"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/admit"
	"bayround/internal/changeover"
	"bayround/internal/fault"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// checkedAhead is how long before a change of call sign its takeover check may have
// been begun (common practice: it is checked first, and takes the place then, within
// the same watch).
const checkedAhead = 12 * time.Hour

// swap is a change of call sign: one vehicle gives it, another takes it.
type swap struct {
	gives, takes *vehicle
	callSign     string
	home         bool // whose own it is takes it
}

// MoveCallSign lets a reserve take another's place.
func (s *Station) MoveCallSign(ctx context.Context, req *pb.MoveCallSignRequest) (*pb.MoveCallSignResponse, error) {
	r, sequence, err := s.swap(ctx, req, func(st *state) (swap, error) {
		takes := st.vehicles[req.GetVehicle()]
		if takes == nil {
			return swap{}, unknown("vehicle", req.GetVehicle())
		}
		gives, err := holderOf(st, req.GetCallSign())
		if err != nil {
			return swap{}, err
		}
		return swap{gives: gives, takes: takes, callSign: gives.answersTo()}, mayTake(takes, gives)
	})
	return &pb.MoveCallSignResponse{Readiness: r, Sequence: sequence}, err
}

// mayTake refuses a vehicle that is no reserve or stands in already, and a call sign
// that is not with the vehicle whose own it is.
func mayTake(takes, gives *vehicle) error {
	of := takes.model.vehicle
	switch {
	case takes == gives:
		return fault.New(fault.Precondition, "STANDS_IN", "%s answers to %s already", of.GetTitle(), takes.answersTo()).At("vehicle", "answers to it already")
	case !gives.answersToOwn():
		return fault.New(fault.Precondition, "CALL_SIGN_AWAY", "%s is with a reserve, %s; give it back first, then move it", gives.answersTo(), gives.model.vehicle.GetCallSign()).
			At("call_sign", "is with a reserve")
	case !of.GetReserve():
		return fault.New(fault.Precondition, "NOT_RESERVE", "%s is not held in reserve: nobody keeps it equipped to take a place; choose a reserve", of.GetCallSign()).
			At("vehicle", "is no reserve")
	case !takes.answersToOwn():
		return fault.New(fault.Precondition, "STANDS_IN", "%s answers to %s now; give that back first", of.GetCallSign(), takes.answersTo()).
			At("vehicle", "has taken a place already")
	}
	return nil
}

// ReturnCallSign gives a call sign back.
func (s *Station) ReturnCallSign(ctx context.Context, req *pb.ReturnCallSignRequest) (*pb.ReturnCallSignResponse, error) {
	r, sequence, err := s.swap(ctx, req, func(st *state) (swap, error) {
		gives, err := holderOf(st, req.GetCallSign())
		if err != nil {
			return swap{}, err
		}
		if gives.answersToOwn() {
			return swap{}, fault.New(fault.Precondition, "CALL_SIGN_HOME", "%s is with the vehicle whose own it is; there is nothing to give back", gives.answersTo()).
				At("call_sign", "is at home")
		}
		takes := st.vehicles[gives.holding.GetOther()]
		if takes == nil {
			return swap{}, unknown("vehicle", gives.holding.GetOther())
		}
		return swap{gives: gives, takes: takes, callSign: gives.answersTo(), home: true}, nil
	})
	return &pb.ReturnCallSignResponse{Readiness: r, Sequence: sequence}, err
}

// swapRequest is what both commands have.
type swapRequest interface {
	proto.Message
	GetRequestId() string
	GetPerson() string
	GetReason() string
	GetControlTold() bool
}

// swap carries out a change of call sign, and gives the readiness of the vehicle that
// has taken it.
func (s *Station) swap(ctx context.Context, req swapRequest, decide func(st *state) (swap, error)) (*pb.Readiness, int64, error) {
	var left *snapshot
	done, receipt, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.CallSign, error) {
		w, err := decide(c.state)
		if err != nil {
			return nil, err
		}
		given, taken, err := c.holdings(w, req)
		if err != nil {
			return nil, err
		}
		if err := c.happen(callSignEvent(w.gives, given), nil); err != nil {
			return nil, err
		}
		if err := c.happen(callSignEvent(w.takes, taken), nil); err != nil {
			return nil, err
		}
		left = w.takes.snapshot()
		return &pb.CallSign{CallSign: w.callSign, Vehicle: w.takes.name, Holding: taken}, nil
	})
	if err != nil {
		return nil, 0, err
	}
	sequence := int64(receipt.Last)
	if !receipt.Repeated {
		return left.at(left.standing.at).asOf(left.standing.at), sequence, nil
	}
	r, err := s.readinessAfter(ctx, done.GetVehicle(), sequence)
	return r, sequence, err
}

func callSignEvent(v *vehicle, h *pb.CallSignHolding) *pb.JournalEvent {
	return &pb.JournalEvent{Person: h.GetPerson(), Vehicle: v.name, Event: &pb.JournalEvent_CallSignChanged{CallSignChanged: h}}
}

// holdings are what the change makes of the vehicle that gives and of the one that
// takes, or why the person may not make it.
func (c *command) holdings(w swap, req swapRequest) (given, taken *pb.CallSignHolding, err error) {
	if err := c.state.lib.active(req.GetPerson(), c.time); err != nil {
		return nil, nil, err
	}
	deed := admit.Move
	if w.home {
		deed = admit.Return
	}
	if err := c.state.may(req.GetPerson(), deed); err != nil {
		return nil, nil, err
	}
	differences := changeover.Differences(w.takes.model.vehicle, w.gives.model.vehicle)
	if !req.GetControlTold() {
		return nil, nil, fault.New(fault.Precondition, "CONTROL_NOT_TOLD", "tell control first that %s will be another vehicle, and in what it differs (%s); then say that control was told",
			w.callSign, changeover.InWords(differences)).At("control_told", "was not said")
	}
	from, err := c.state.countsFrom(w.takes, c.time)
	if err != nil {
		return nil, nil, err
	}
	now := timestamppb.New(c.time)
	given = &pb.CallSignHolding{Other: w.takes.name, Person: req.GetPerson(), StationTime: now, Reason: req.GetReason()}
	if w.home { // a reserve that gives a place back answers to its own again
		given.Own, given.AnswersTo = true, w.gives.model.vehicle.GetCallSign()
	}
	taken = &pb.CallSignHolding{
		AnswersTo: w.callSign, Own: w.home, Other: w.gives.name, Person: req.GetPerson(), StationTime: now, Reason: req.GetReason(),
		Differences: differences, CountsFrom: timestamppb.New(from),
	}
	return given, taken, nil
}

// countsFrom is from when on looks count for a takeover now: from the opening of the
// newest takeover round on the vehicle when that is not long ago, otherwise from now.
func (st *state) countsFrom(v *vehicle, now time.Time) (time.Time, error) {
	for _, ref := range slices.Backward(st.opened) {
		if ref.vehicle != v.name {
			continue
		}
		r, err := st.recall(ref.name)
		if err != nil || r == nil {
			return now, err
		}
		opened := r.frame.round.GetOpened().AsTime()
		if now.Sub(opened) > checkedAhead {
			break
		}
		if r.state() != pb.RoundState_ROUND_STATE_GIVEN_UP && isTakeover(v.model.routines[r.frame.round.GetRoutine()]) {
			return opened, nil
		}
	}
	return now, nil
}

func isTakeover(r *pb.Routine) bool {
	return slices.Contains(r.GetTriggers(), pb.Trigger_TRIGGER_RESERVE_TAKEOVER)
}

// takeoverSteps are the steps of the routines that are due at a takeover; what is
// required anyway where no routine is.
func (m *model) takeoverSteps() []*pb.CheckStep {
	var due []*pb.Routine
	for _, r := range sortedValues(m.routines) {
		if isTakeover(r) {
			due = append(due, r)
		}
	}
	if len(due) == 0 {
		return m.required
	}
	return m.list(together(due))
}

func (v *vehicle) answersTo() string { return verdict.AnswersTo(v.model.vehicle, v.holding) }

func (v *vehicle) answersToOwn() bool { return v.holding == nil || v.holding.GetOwn() }

// takeUp works out the check that the vehicle needs for the call sign it answers to.
func (v *vehicle) takeUp() {
	v.takeover = nil
	if h := v.holding; h.GetCountsFrom() != nil && h.GetChecked() == nil {
		v.takeover = verdict.NewTakeover(v.model.takeoverSteps(), h.GetCountsFrom().AsTime())
	}
}

func (st *state) callSignChanged(v *vehicle, h *pb.CallSignHolding, rows *rowSet) error {
	v.holding = h
	v.takeUp()
	return rows.putMessage(holdingRows+v.name, h)
}

// endTakeover notes that a takeover check is whole; from then on what is required
// of every vehicle is required of this one.
func (st *state) endTakeover(v *vehicle, rows *rowSet) error {
	if v.takeover == nil || !v.takeover.Whole(v.answers) {
		return nil
	}
	checked := proto.CloneOf(v.holding)
	checked.Checked = timestamppb.New(st.station)
	return st.callSignChanged(v, checked, rows)
}

// sameHolding compares all but when a check was whole, which every station tells by
// its own clock.
func sameHolding(here, there *pb.CallSignHolding) bool {
	if there == nil || here == nil {
		return there == nil
	}
	if there.GetChecked() != nil && here.GetChecked() == nil {
		return false
	}
	a, b := proto.CloneOf(here), proto.CloneOf(there)
	a.Checked, b.Checked = nil, nil
	return proto.Equal(a, b)
}

// sameCallSign tells that two call signs are the same; capitals do not matter.
func sameCallSign(a, b string) bool { return a != "" && strings.EqualFold(a, b) }
