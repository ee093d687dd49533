package station

import (
	"context"
	"slices"
	"strings"
	"time"

	"bayround/internal/changeover"
	"bayround/internal/fault"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// called is a vehicle as far as call signs go.
type called struct {
	name    string // vehicles/{vehicle}
	own     string // call sign, as configured
	answers string // call sign; empty for none
	holding *pb.CallSignHolding
}

func (st *state) called() []called {
	all := make([]called, 0, len(st.vehicles))
	for _, name := range sortedKeys(st.vehicles) {
		v := st.vehicles[name]
		all = append(all, called{name, v.model.vehicle.GetCallSign(), v.answersTo(), v.holding})
	}
	return all
}

func (p *published) called() []called {
	all := make([]called, 0, len(p.names))
	for _, name := range p.names {
		s := p.vehicles[name]
		all = append(all, called{name, s.model.vehicle.GetCallSign(), verdict.AnswersTo(s.model.vehicle, s.input.Holding), s.input.Holding})
	}
	return all
}

// answering is the vehicle that answers to a call sign.
func answering(all []called, callSign string) (string, error) {
	var names []string
	own := ""
	for _, v := range all {
		if sameCallSign(v.answers, callSign) {
			names = append(names, v.name)
		}
		if sameCallSign(v.own, callSign) {
			own = v.name
		}
	}
	switch {
	case len(names) == 1:
		return names[0], nil
	case len(names) > 1:
		return "", fault.New(fault.Precondition, "CALL_SIGN_AMBIGUOUS", "several vehicles answer to %s: %s; name the vehicle, and give each its own call sign", callSign, strings.Join(names, ", ")).
			At("call_sign", "is that of several vehicles")
	case own != "":
		return "", fault.New(fault.NotFound, "CALL_SIGN_UNANSWERED", "nobody answers to %s now: it is the call sign of %s, whose place another vehicle has taken under another", callSign, own)
	}
	return "", unknown("call sign", callSign)
}

func holderOf(st *state, callSign string) (*vehicle, error) {
	name, err := answering(st.called(), callSign)
	if err != nil {
		return nil, err
	}
	return st.vehicles[name], nil
}

// vehicleThen is the vehicle that answered to a call sign at an instant in the past.
func (s *Station) vehicleThen(ctx context.Context, callSign string, at time.Time) (*pb.Readiness, error) {
	var all []called
	told := map[string]*pb.Readiness{}
	for _, v := range s.current.Load().called() {
		if v.holding == nil && !sameCallSign(v.own, callSign) {
			continue // never had another's
		}
		r, err := s.readinessAt(ctx, v.name, at)
		if fault.Is(err, fault.NotFound) {
			continue // did not exist then
		}
		if err != nil {
			return nil, err
		}
		told[v.name] = r
		all = append(all, called{v.name, r.GetCallSign(), r.GetAnswersTo(), r.GetHolding()})
	}
	name, err := answering(all, callSign)
	return told[name], err
}

// ListCallSigns returns who answers to which call sign.
func (s *Station) ListCallSigns(_ context.Context, req *pb.ListCallSignsRequest) (*pb.ListCallSignsResponse, error) {
	known := map[string]*pb.CallSign{}
	for _, v := range s.current.Load().called() {
		if v.answers == "" {
			continue
		}
		of := &pb.CallSign{CallSign: v.answers, Home: v.name, Vehicle: v.name, Holding: v.holding}
		if v.holding != nil && !v.holding.GetOwn() {
			of.Home = v.holding.GetOther()
		}
		known[v.answers+"\x00"+v.name] = of // two vehicles may have the same
	}
	entries, next, err := page(known, req, everything)
	return &pb.ListCallSignsResponse{CallSigns: entries, NextPageToken: next}, err
}

// CompareVehicles says what control must know before one vehicle takes another's place.
func (s *Station) CompareVehicles(_ context.Context, req *pb.CompareVehiclesRequest) (*pb.CompareVehiclesResponse, error) {
	p := s.current.Load()
	takes, err := p.vehicle(req.GetVehicle())
	if err != nil {
		return nil, err
	}
	instead, err := p.vehicle(req.GetInsteadOf())
	if err != nil {
		return nil, err
	}
	return &pb.CompareVehiclesResponse{Differences: changeover.Differences(takes.model.vehicle, instead.model.vehicle)}, nil
}

// watched are the vehicles of a watch now; nil for all.
func (p *published) watched(req *pb.WatchReadinessRequest) ([]string, error) {
	names := slices.Clone(req.GetVehicles())
	if len(req.GetCallSigns()) == 0 {
		return names, nil
	}
	all := p.called()
	for _, callSign := range req.GetCallSigns() {
		name, err := answering(all, callSign)
		if err != nil {
			return nil, err
		}
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names, nil
}
