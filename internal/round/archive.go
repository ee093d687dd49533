package round

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/grpc"

	"bayround/internal/catalogue"
	"bayround/internal/measure"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// askFor is how long the station of record has to answer a question about the past:
// somebody stands before the vehicle and waits.
const askFor = 2 * time.Second

// Ledger knows what was measured over time and how findings came about. The station
// of record does, and the tablet's twin does of the newest readings.
type Ledger interface {
	// GetHistory returns what was measured at a step.
	GetHistory(context.Context, *pb.GetHistoryRequest) (*pb.GetHistoryResponse, error)
	// ListForecasts returns which places will next reach a limit.
	ListForecasts(context.Context, *pb.ListForecastsRequest) (*pb.ListForecastsResponse, error)
	// Explain returns how a finding came about.
	Explain(context.Context, *pb.ExplainRequest) (*pb.ExplainResponse, error)
}

// Source is where an answer about the past came from.
type Source int

// The sources. The station of record has everything; the tablet has what a verdict
// rests on, and that includes what it has not sent yet.
const (
	SourceStation Source = 1
	SourceTablet  Source = 2
)

// Past is what was measured at one step of a vehicle.
type Past struct {
	Step    *pb.CheckStep
	History *pb.GetHistoryResponse
}

// Unit is the unit in which the station shows the step, as people read it.
func (p Past) Unit() string { return unitWords(p.History.GetUnit()) }

// Shown is a number of the history in that unit; as it is where it cannot be said in it.
func (p Past) Shown(value float64) float64 {
	shown, err := measure.Convert(value, catalogue.UnitOf(p.History.GetQuantity()), p.History.GetUnit())
	if err != nil {
		return value
	}
	return shown
}

// ShownChange is a difference of such numbers in that unit: scales of temperature
// begin elsewhere.
func (p Past) ShownChange(change float64) float64 { return p.Shown(change) - p.Shown(0) }

// ShownAdded is what was put in before a point, as far as it raised the number shown;
// 0 when nobody knows how far: litres raise a level by their share of what lies
// between its marks.
func (p Past) ShownAdded(point *pb.SeriesPoint) float64 {
	added := point.GetAdded()
	if p.Step.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_LEVEL {
		between := p.Step.GetVolumeBetweenMarksL()
		if !(between > 0) {
			return 0
		}
		added /= between
	}
	return p.ShownChange(added)
}

// ArchiveConfig says whom an archive asks.
type ArchiveConfig struct {
	// Twin is the tablet's own station: it knows the plans, and answers where the
	// station of record does not.
	Twin *station.Station
	// Conn leads to the station of record; its errors must be faults, as those of
	// rpc.Dial are.
	Conn grpc.ClientConnInterface
}

// Archive answers the tablet's questions about the past. Its methods may be called
// from any goroutine.
type Archive struct {
	twin   *station.Station
	record Ledger
	book   DefectBook
}

// NewArchive returns an archive; there is nothing to close.
func NewArchive(c ArchiveConfig) *Archive {
	return &Archive{twin: c.Twin, record: overWire{pb.NewHistoryServiceClient(c.Conn)}, book: defectsOverWire{pb.NewDefectServiceClient(c.Conn)}}
}

// History returns what was measured at one step of a vehicle.
func (a *Archive) History(ctx context.Context, vehicle, stepID string) (Past, Source, error) {
	steps, err := a.measuredSteps(ctx, vehicle)
	if err != nil {
		return Past{}, 0, err
	}
	past := Past{Step: &pb.CheckStep{StepId: stepID}} // no plan has it any more; its history stays
	for _, s := range steps {
		if s.GetStepId() == stepID {
			past.Step = s
		}
	}
	var from Source
	past.History, from, err = ask(ctx, a, func(ctx context.Context, of Ledger) (*pb.GetHistoryResponse, error) {
		return of.GetHistory(ctx, &pb.GetHistoryRequest{Vehicle: vehicle, StepId: stepID})
	})
	return past, from, err
}

// Measured returns the steps of a vehicle at which a number is read, routine by
// routine in walking order, each with what was measured there; all of it from one source.
func (a *Archive) Measured(ctx context.Context, vehicle string) ([]Past, Source, error) {
	steps, err := a.measuredSteps(ctx, vehicle)
	if err != nil {
		return nil, 0, err
	}
	return ask(ctx, a, func(ctx context.Context, of Ledger) ([]Past, error) {
		all := make([]Past, len(steps))
		for i, s := range steps {
			h, err := of.GetHistory(ctx, &pb.GetHistoryRequest{Vehicle: vehicle, StepId: s.GetStepId()})
			if err != nil {
				return nil, err
			}
			all[i] = Past{Step: s, History: h}
		}
		return all, nil
	})
}

// Forecasts returns a page of which places will next reach a limit, soonest first;
// an empty token asks for the first.
func (a *Archive) Forecasts(ctx context.Context, token string) (*pb.ListForecastsResponse, Source, error) {
	return ask(ctx, a, func(ctx context.Context, of Ledger) (*pb.ListForecastsResponse, error) {
		return of.ListForecasts(ctx, &pb.ListForecastsRequest{PageToken: token})
	})
}

// Explain returns how a finding of now came about.
func (a *Archive) Explain(ctx context.Context, vehicle, finding string) (*pb.Explanation, Source, error) {
	return ask(ctx, a, func(ctx context.Context, of Ledger) (*pb.Explanation, error) {
		resp, err := of.Explain(ctx, &pb.ExplainRequest{Vehicle: vehicle, FindingId: finding})
		return resp.GetExplanation(), err
	})
}

// ask puts a question to the station of record and, when it gives no answer in time
// or does not know, to the tablet's own: what was found here a moment ago may not
// have been sent yet.
func ask[T any](ctx context.Context, a *Archive, question func(context.Context, Ledger) (T, error)) (T, Source, error) {
	return askOf(ctx, a.record, Ledger(a.twin), question)
}

// askOf is ask, of whoever keeps what is asked for.
func askOf[K, T any](ctx context.Context, record, twin K, question func(context.Context, K) (T, error)) (T, Source, error) {
	limited, cancel := context.WithTimeout(ctx, askFor)
	defer cancel()
	answer, err := question(limited, record)
	if err == nil || ctx.Err() != nil {
		return answer, SourceStation, err
	}
	answer, err = question(ctx, twin)
	return answer, SourceTablet, err
}

// measuredSteps are the steps of all plans of a vehicle that ask for a number.
func (a *Archive) measuredSteps(ctx context.Context, vehicle string) ([]*pb.CheckStep, error) {
	routines, err := a.twin.ListRoutines(ctx, &pb.ListRoutinesRequest{})
	if err != nil {
		return nil, fmt.Errorf("list the routines: %w", err)
	}
	var steps []*pb.CheckStep
	known := map[string]bool{}
	for _, r := range routines.GetRoutines() {
		o, err := a.twin.Outline(vehicle, r.GetName(), nil)
		if err != nil {
			return nil, fmt.Errorf("read the plan of %s for %s: %w", r.GetName(), vehicle, err)
		}
		for _, s := range o.Plan.GetSteps() {
			if asksNumber(s) && !known[s.GetStepId()] {
				known[s.GetStepId()] = true
				steps = append(steps, s)
			}
		}
	}
	return steps, nil
}

func asksNumber(s *pb.CheckStep) bool {
	switch s.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_READING, pb.AnswerKind_ANSWER_KIND_PROFILE, pb.AnswerKind_ANSWER_KIND_LEVEL:
		return true
	}
	return false
}

// overWire is the station of record as a ledger.
type overWire struct{ client pb.HistoryServiceClient }

func (o overWire) GetHistory(ctx context.Context, req *pb.GetHistoryRequest) (*pb.GetHistoryResponse, error) {
	return o.client.GetHistory(ctx, req)
}

func (o overWire) ListForecasts(ctx context.Context, req *pb.ListForecastsRequest) (*pb.ListForecastsResponse, error) {
	return o.client.ListForecasts(ctx, req)
}

func (o overWire) Explain(ctx context.Context, req *pb.ExplainRequest) (*pb.ExplainResponse, error) {
	return o.client.Explain(ctx, req)
}
