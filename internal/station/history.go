package station

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"strconv"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/catalogue"
	"bayround/internal/rules"
	"bayround/internal/trend"
	pb "bayround/proto/bayround/v1"
)

// GetHistory returns everything that was measured at a step, and what it says.
func (s *Station) GetHistory(ctx context.Context, req *pb.GetHistoryRequest) (*pb.GetHistoryResponse, error) {
	p := s.current.Load()
	snap, err := p.vehicle(req.GetVehicle())
	if err != nil {
		return nil, err
	}
	if req.GetSince() != nil && !req.GetSince().IsValid() {
		return nil, invalid("SINCE_WRONG", "since", "this is no instant between the years 1 and 9999")
	}
	step := snap.model.steps[req.GetStepId()]
	if step == nil {
		return nil, unknown("step", req.GetStepId())
	}
	l := loader{journal: s.journal, at: uint64(p.sequence)}
	points, err := l.everMeasured(ctx, snap, step.GetStepId())
	if err != nil {
		return nil, err
	}
	if req.GetSince() != nil {
		first := req.GetSince().AsTime()
		points = slices.DeleteFunc(points, func(p *pb.SeriesPoint) bool { return p.GetLookedAt().AsTime().Before(first) })
	}
	resp := snap.historyOf(step, s.clock())
	resp.Points, resp.Normalised = points, snap.model.normalised(step, points)
	return resp, nil
}

// everMeasured reads everything that was measured at a step, oldest first: what
// results recorded here measured, and what was taken over. A point of the series
// that a verdict rests on says more than its row: whether it begins anew.
func (l *loader) everMeasured(ctx context.Context, snap *snapshot, stepID string) ([]*pb.SeriesPoint, error) {
	m := snap.measured[stepID]
	var all []*pb.SeriesPoint
	err := l.each(ctx, everMeasuredKey(snap.model.vehicle.GetName(), stepID), func(key string, value []byte) error {
		p := &pb.SeriesPoint{}
		sequence, err := strconv.ParseInt(key, 10, 64)
		if err = errors.Join(err, proto.Unmarshal(value, p)); err != nil {
			return unreadable("the row of what event "+key+" measured", err)
		}
		if !m.replaces(p, sequence) {
			all = append(all, p)
		}
		return nil
	})
	slices.SortStableFunc(all, byLook)
	return m.beside(all), err
}

func byLook(a, b *pb.SeriesPoint) int {
	return a.GetLookedAt().AsTime().Compare(b.GetLookedAt().AsTime())
}

// replaces tells that what an event measured counts no more for itself: a series
// that was taken over later tells of the time since its first point. m may be nil.
func (m *measured) replaces(p *pb.SeriesPoint, sequence int64) bool {
	if m == nil || sequence > m.taken {
		return false
	}
	return len(m.points()) == 0 || byLook(p, m.points()[0]) >= 0
}

// beside is everything measured, oldest first, where rows tell it of all that was
// recorded here, in order.
func (m *measured) beside(rows []*pb.SeriesPoint) []*pb.SeriesPoint {
	all, met := slices.Clone(rows), map[*pb.SeriesPoint]bool{}
	for _, p := range m.points() {
		at, _ := slices.BinarySearchFunc(rows, p, byLook)
		for ; at < len(rows) && byLook(rows[at], p) == 0; at++ {
			if row := rows[at]; !met[row] && row.GetValue() == p.GetValue() {
				met[row] = true
				row.Reset_ = row.GetReset_() || p.GetReset_()
				break
			}
		}
		if at == len(rows) || byLook(rows[at], p) != 0 {
			all = append(all, p)
		}
	}
	slices.SortStableFunc(all, byLook)
	return all
}

// normalised brings what was measured to the reference temperature where that is
// known; the rest stays as it was read.
func (m *model) normalised(step *step, points []*pb.SeriesPoint) []float64 {
	history := m.circumstances(nil).History(&pb.Observation{Step: step.CheckStep, Series: &pb.Series{Points: points}})
	values := make([]float64, len(points))
	for i, p := range points {
		if values[i] = history[i].Value; !isNumber(values[i]) {
			values[i] = p.GetValue()
		}
	}
	return values
}

// historyOf is what the history of a step says now, without its points.
func (s *snapshot) historyOf(step *step, now time.Time) *pb.GetHistoryResponse {
	resp := &pb.GetHistoryResponse{Title: step.GetTitle(), Target: step.Target}
	resp.Quantity, resp.Unit = quantityOf(step.CheckStep)
	o := s.observation(step)
	if o == nil {
		resp.Limits = s.model.limits(&pb.Observation{Step: step.CheckStep})
		return resp
	}
	resp.Limits = s.model.limits(o)
	resp.Trend = s.model.circumstances(nil).Trend(o)
	resp.Peers = s.peersOf(o)
	resp.Forecast = s.model.forecast(o, resp.GetLimits(), now)
	return resp
}

// quantityOf is what the series of a step counts, and the unit it is shown in.
func quantityOf(step *pb.CheckStep) (pb.Quantity, string) {
	if len(step.GetParts()) == 0 {
		if step.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_LEVEL {
			return pb.Quantity_QUANTITY_FRACTION, "%"
		}
		return pb.Quantity_QUANTITY_UNSPECIFIED, ""
	}
	q := step.GetParts()[0].GetQuantity()
	if len(step.GetUnits()) > 0 {
		return q, step.GetUnits()[0]
	}
	return q, catalogue.UnitOf(q)
}

// observation is what rules see of a step now; nil when nobody has looked, or the
// answer does not fit the step any more. A repair does not make it go away here:
// what was measured before it is history all the same.
func (s *snapshot) observation(step *step) *pb.Observation {
	a := s.input.Latest[step.GetStepId()]
	if a == nil || a.Real == nil || !a.RealFits {
		return nil
	}
	return s.model.observe(step, a.Real, s.measured[step.GetStepId()])
}

// peersOf is how a wheel does against the other places of its item; nil when it
// has no peers.
func (s *snapshot) peersOf(o *pb.Observation) *pb.PeerTrend {
	if o.GetStep().GetAxle() == 0 {
		return nil
	}
	var all []*pb.Observation
	own := 0
	for _, id := range sortedKeys(s.measured) {
		other := s.model.steps[id]
		if other == nil || other.GetAxle() == 0 || !sameKind(other.CheckStep, o.GetStep()) {
			continue
		}
		if id == o.GetStep().GetStepId() {
			own = len(all)
		}
		if seen := s.observation(other); seen != nil {
			all = append(all, seen)
		}
	}
	if len(all) < 2 {
		return nil
	}
	return rules.Peers(all)[own]
}

// sameKind tells that two steps measure the same, on whatever wheels: front and
// rear wheels, inner and outer ones are items of their own.
func sameKind(a, b *pb.CheckStep) bool {
	return len(a.GetParts()) > 0 && len(b.GetParts()) > 0 && (a.GetColdAfter() == nil) == (b.GetColdAfter() == nil) &&
		a.GetParts()[0].GetId() == b.GetParts()[0].GetId() && a.GetParts()[0].GetQuantity() == b.GetParts()[0].GetQuantity()
}

// limits are the bounds that apply at a step, by the rules in force.
func (m *model) limits(o *pb.Observation) []*pb.LimitLine {
	if m.judge == nil {
		return nil
	}
	return m.judge.Limits(o)
}

// forecast says which of the limits is reached first, and when; nil when none is
// in sight. A limit that is reached already is no forecast but a finding.
func (m *model) forecast(o *pb.Observation, limits []*pb.LimitLine, now time.Time) *pb.Forecast {
	var first *pb.Forecast
	history := m.circumstances(nil).History(o)
	if len(history) == 0 {
		return nil
	}
	for _, limit := range limits {
		f := trend.Predict(history, trend.Limit{Value: limit.GetBound(), Above: isUpper(limit.GetSide())}, now)
		if f.Outlook != trend.InSight || f.Likely.IsZero() {
			continue
		}
		if told := m.told(o.GetStep(), limit, f); first == nil || sooner(told, first) < 0 {
			first = told
		}
	}
	return first
}

func isUpper(side pb.LimitSide) bool {
	return side == pb.LimitSide_LIMIT_SIDE_AT_MOST || side == pb.LimitSide_LIMIT_SIDE_LESS_THAN
}

// sooner puts forecasts in order: the one that is likely to come true first, of
// two at once the one that takes away more.
func sooner(a, b *pb.Forecast) int {
	return cmp.Or(a.GetLikely().AsTime().Compare(b.GetLikely().AsTime()), -cmp.Compare(a.GetLimit().GetEffect(), b.GetLimit().GetEffect()))
}
