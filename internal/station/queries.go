package station

import (
	"context"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/rules"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// What queries return is shared with the station and must not be changed.

// GetVehicle returns a vehicle configuration, the newest or a former revision.
func (s *Station) GetVehicle(_ context.Context, req *pb.GetVehicleRequest) (*pb.GetVehicleResponse, error) {
	newest := s.current.Load().lib.set.Vehicles[req.GetName()]
	switch {
	case newest == nil:
		return nil, unknown("vehicle", req.GetName())
	case req.GetRevision() == 0 || req.GetRevision() == newest.GetRevision():
		return &pb.GetVehicleResponse{Vehicle: newest}, nil
	}
	value, err := s.journal.Row(revisionKey(req.GetName(), req.GetRevision()), 0)
	if err != nil {
		return nil, err
	}
	if value == nil {
		return nil, fault.New(fault.NotFound, "REVISION_UNKNOWN", "%s has no revision %d; the newest is %d", req.GetName(), req.GetRevision(), newest.GetRevision())
	}
	f, err := readFields(value)
	if err != nil {
		return nil, unreadable("a row of "+req.GetName(), err)
	}
	l := loader{journal: s.journal}
	ev, err := l.event(f.number(1))
	if err != nil {
		return nil, err
	}
	return &pb.GetVehicleResponse{Vehicle: ev.GetVehicleApplied()}, nil
}

// Outline is the plan of a routine for a vehicle, for readers in the same process: it costs
// nothing to ask for, where GetPlan copies every step to write its newest result into it.
type Outline struct {
	Plan   *pb.Plan // without newest results
	latest map[string]*verdict.Answer
}

// Last is the newest result of a step; nil when it was never answered.
func (o Outline) Last(stepID string) *pb.Result {
	if a := o.latest[stepID]; a != nil {
		return a.Newest
	}
	return nil
}

// Outline returns the plan of a routine, and of items beside its own, for a vehicle.
func (s *Station) Outline(vehicle, routine string, with []string) (Outline, error) {
	snap, err := s.current.Load().vehicle(vehicle)
	if err != nil {
		return Outline{}, err
	}
	p := snap.model.plan(routine, with)
	if p == nil {
		return Outline{}, unknown("routine", routine)
	}
	return Outline{Plan: p, latest: snap.input.Latest}, nil
}

// GetPlan returns the steps of a routine for a vehicle with their newest results.
func (s *Station) GetPlan(_ context.Context, req *pb.GetPlanRequest) (*pb.GetPlanResponse, error) {
	o, err := s.Outline(req.GetVehicle(), req.GetRoutine(), req.GetWithItems())
	if err != nil {
		return nil, err
	}
	p := proto.CloneOf(o.Plan)
	for _, step := range p.GetSteps() {
		step.Last = o.Last(step.GetStepId())
	}
	return &pb.GetPlanResponse{Plan: p}, nil
}

// GetCatalogue returns the catalogue in force.
func (s *Station) GetCatalogue(context.Context, *pb.GetCatalogueRequest) (*pb.GetCatalogueResponse, error) {
	c := s.current.Load().lib.set.Catalogue
	if c == nil {
		return nil, fault.New(fault.Precondition, "CATALOGUE_MISSING", "no catalogue was applied yet; apply one")
	}
	return &pb.GetCatalogueResponse{Catalogue: c}, nil
}

// GetRulePack returns the rule pack in force under a name.
func (s *Station) GetRulePack(_ context.Context, req *pb.GetRulePackRequest) (*pb.GetRulePackResponse, error) {
	p := s.current.Load().lib.set.Packs[req.GetName()]
	if p == nil {
		return nil, unknown("pack", req.GetName())
	}
	return &pb.GetRulePackResponse{RulePack: p, Digest: rules.Digest(p)}, nil
}

// GetRound returns a round.
func (s *Station) GetRound(ctx context.Context, req *pb.GetRoundRequest) (*pb.GetRoundResponse, error) {
	p := s.current.Load()
	r, err := s.roundOf(ctx, req.GetName(), p.sequence)
	if err != nil {
		return nil, err
	}
	if r == nil {
		return nil, unknown("round", req.GetName())
	}
	return &pb.GetRoundResponse{Round: r}, nil
}

// roundOf reads a round as it was after an event; nil when there was none.
func (s *Station) roundOf(ctx context.Context, name string, sequence int64) (*pb.Round, error) {
	l := loader{journal: s.journal, at: uint64(sequence)}
	p, err := l.progress(ctx, uuidOf(name))
	if err != nil || p.frame == nil {
		return nil, err
	}
	return p.message(), nil
}

// GetReadiness returns the readiness of a vehicle, now or as it was known at an
// instant in the past.
func (s *Station) GetReadiness(ctx context.Context, req *pb.GetReadinessRequest) (*pb.GetReadinessResponse, error) {
	now := s.clock()
	if req.GetAsOf() == nil {
		p := s.current.Load()
		name, err := req.GetVehicle(), error(nil)
		if req.GetCallSign() != "" {
			name, err = answering(p.called(), req.GetCallSign())
		}
		if err != nil {
			return nil, err
		}
		snap, err := p.vehicle(name)
		if err != nil {
			return nil, err
		}
		return &pb.GetReadinessResponse{Readiness: snap.at(now).asOf(now)}, nil
	}
	at, err := pastInstant(req, now)
	if err != nil {
		return nil, err
	}
	var r *pb.Readiness
	if req.GetCallSign() != "" {
		r, err = s.vehicleThen(ctx, req.GetCallSign(), at)
	} else {
		r, err = s.readinessAt(ctx, req.GetVehicle(), at)
	}
	if err != nil {
		return nil, err
	}
	return &pb.GetReadinessResponse{Readiness: r}, nil
}

func pastInstant(req *pb.GetReadinessRequest, now time.Time) (time.Time, error) {
	if !req.GetAsOf().IsValid() {
		return time.Time{}, invalid("AS_OF_WRONG", "as_of", "this is no instant between the years 1 and 9999")
	}
	at := req.GetAsOf().AsTime()
	if at.After(now) {
		return time.Time{}, invalid("AS_OF_IN_FUTURE", "as_of", "%s lies in the future; it is %s at the station", clockWords(at), clockWords(now))
	}
	return at, nil
}

// GetCheckpoint returns the newest signed checkpoint of the journal.
func (s *Station) GetCheckpoint(context.Context, *pb.GetCheckpointRequest) (*pb.GetCheckpointResponse, error) {
	checkpoint := s.current.Load().checkpoint // the journal's own may count an event that is not shown yet
	if checkpoint == nil {
		return nil, fault.New(fault.Precondition, "JOURNAL_EMPTY", "nothing was recorded yet, so there is nothing to sign")
	}
	return &pb.GetCheckpointResponse{Checkpoint: string(checkpoint), VerifierKey: s.journal.Verifier(), JournalId: s.journal.ID()}, nil
}
