package station

import (
	"context"
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/rules"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// measured is what was measured at one step, as far as a verdict rests on it. It
// is never changed but replaced. nil when nothing was.
type measured struct {
	series *pb.Series // by when somebody looked, at most maxPoints
	fresh  int        // how many of the newest stand in the row of the fresh ones
	taken  int64      // the event that took it over, with what was known here; 0 when none did
}

// points are those measured, oldest first; m may be nil.
func (m *measured) points() []*pb.SeriesPoint {
	if m == nil {
		return nil
	}
	return m.series.GetPoints()
}

// told is the series as others are told it; nil when there is none.
func (m *measured) told() *pb.Series {
	if len(m.points()) == 0 {
		return nil
	}
	return m.series
}

// with returns what was measured when a point joins it, at the place that when
// somebody looked gives it, however late it came. The first point since a repair
// begins anew. When the points become too many, old ones are thinned.
func (m *measured) with(p *pb.SeriesPoint, repaired time.Time) *measured {
	known := m.points()
	at := after(known, p.GetLookedAt().AsTime())
	next := &measured{}
	if m != nil {
		next.fresh, next.taken = m.fresh, m.taken
	}
	points := slices.Insert(slices.Clone(known), at, p)
	begun := beginAnew(points, repaired)
	if next.fresh++; at < len(known) || begun < len(known) || next.fresh > maxFresh || len(points) > maxPoints {
		next.fresh = 0
	}
	next.series = &pb.Series{Points: thinned(points)}
	return next
}

// less returns what was measured without the later of the points at an instant,
// and that point; nil when there is none. m may be nil.
func (m *measured) less(at time.Time) (*measured, *pb.SeriesPoint) {
	points := m.points()
	place := after(points, at) - 1
	if place < 0 || !points[place].GetLookedAt().AsTime().Equal(at) {
		return m, nil
	}
	rest := slices.Delete(slices.Clone(points), place, place+1)
	return &measured{series: &pb.Series{Points: rest}, fresh: maxFresh, taken: m.taken}, points[place] // all are written anew
}

// joined returns what was measured when a result joins it by its point. One that
// corrects a slip takes the place of what it corrects.
func (k known) joined(p *pb.SeriesPoint, r *pb.Result) *measured {
	m := k.measured
	if k.slip(r) {
		var slip *pb.SeriesPoint
		if m, slip = m.less(verdict.Looked(k.answer.Real)); slip != nil && r.GetCure() == nil {
			p.Added, p.Reset_ = slip.GetAdded(), slip.GetReset_()
		}
	}
	return m.with(p, k.repaired())
}

// slip tells that a result corrects the newest look: of the same person, in the
// same round.
func (k known) slip(r *pb.Result) bool {
	return r.GetCorrection() && k.answer != nil && k.answer.Real != nil && isMeasured(k.answer.Real) &&
		k.answer.Real.GetRound() == r.GetRound() && k.answer.Real.GetPerson() == r.GetPerson() &&
		!verdict.Looked(r).Before(verdict.Looked(k.answer.Real))
}

// after is the place behind all points at or before an instant.
func after(points []*pb.SeriesPoint, at time.Time) int {
	return sort.Search(len(points), func(i int) bool { return points[i].GetLookedAt().AsTime().After(at) })
}

// beginAnew marks the first point since a repair. It returns the place of the
// point that it replaced; their number when it replaced none.
func beginAnew(points []*pb.SeriesPoint, repaired time.Time) int {
	if repaired.IsZero() {
		return len(points)
	}
	from := sort.Search(len(points), func(i int) bool { return !points[i].GetLookedAt().AsTime().Before(repaired) })
	if from == len(points) || points[from].GetReset_() {
		return len(points)
	}
	points[from] = proto.CloneOf(points[from])
	points[from].Reset_ = true
	return from
}

// before is what was measured before a result that is among it. m may be nil.
func (m *measured) before(r *pb.Result) *pb.Series {
	looked := verdict.Looked(r)
	points := m.points()
	points = points[:after(points, looked)]
	if n := len(points); n > 0 && isMeasured(r) && points[n-1].GetLookedAt().AsTime().Equal(looked) {
		points = points[:n-1] // its own
	}
	if len(points) == 0 {
		return nil
	}
	return &pb.Series{Points: points}
}

// isMeasured tells that an answer that fits its step has a number.
func isMeasured(r *pb.Result) bool {
	return r.GetReading() != nil || r.GetProfile() != nil || r.GetLevel() != nil
}

// point is what joins the series of a step when a result is recorded in a round;
// nil when nothing was measured, or the answer does not fit the step of today. m is
// what was measured there before.
func (f *frame) point(today *step, r *pb.Result, m *measured) *pb.SeriesPoint {
	if today == nil || r.GetNotChecked() != nil || !fits(today.CheckStep, r) {
		return nil
	}
	p := rules.Point(today.CheckStep, r)
	if p == nil {
		return nil
	}
	p.OdometerKm, p.EngineHours = f.meters(r)
	if r.GetCure() != nil {
		points := m.points()
		p.Added, p.Reset_ = rules.PutIn(rules.Observe(today.CheckStep, r), points[:after(points, verdict.Looked(r))])
	}
	return p
}

// measure puts what a result measured into the series of its step; false when
// nothing changes there.
func (st *state) measure(v *vehicle, r *round, res *pb.Result, rows *rowSet) (bool, error) {
	id := res.GetStepId()
	k := v.knownOf(id)
	p := r.point(v.model.steps[id], res, k.measured)
	if p == nil {
		return false, nil
	}
	next := k.joined(p, res)
	if k.slip(res) {
		rows.drop(measuredKey(v.name, id, k.answer.RealSequence))
	}
	if err := rows.putMessage(measuredKey(v.name, id, st.sequence), p); err != nil {
		return false, err
	}
	return true, v.putMeasured(id, next, rows)
}

// measuredKey is the key of the row of what the result of an event measured.
func measuredKey(vehicle, stepID string, sequence int64) string {
	return fmt.Sprintf("%s%016d", everMeasuredKey(vehicle, stepID), sequence)
}

// everMeasuredKey begins the keys of those rows.
func everMeasuredKey(vehicle, stepID string) string {
	return measuredRows + vehicle + "/" + stepID + "/"
}

// The last parts of the keys of what was measured at a step.
const (
	freshPart   = "fresh"
	settledPart = "settled"
	takenPart   = "taken"
)

// seriesKey begins the keys of the rows of what was measured at a step.
func seriesKey(vehicle, stepID string) string { return seriesRows + vehicle + "/" + stepID + "/" }

// putMeasured puts in force what was measured at a step.
func (v *vehicle) putMeasured(id string, m *measured, rows *rowSet) error {
	key, before := seriesKey(v.name, id), v.measured[id]
	v.measured[id] = m
	if m.fresh > 0 {
		points := m.series.GetPoints()
		return rows.putMessage(key+freshPart, &pb.Series{Points: points[len(points)-m.fresh:]})
	}
	if before != nil && before.fresh > 0 {
		rows.drop(key + freshPart)
	}
	return rows.putMessage(key+settledPart, m.series)
}

// takeMeasured puts in force what was measured at a step as an event takes it
// over; nil when nothing was.
func (v *vehicle) takeMeasured(id string, s *pb.Series, sequence int64, rows *rowSet) error {
	if len(s.GetPoints()) == 0 && v.measured[id] == nil {
		return nil
	}
	rows.put(seriesKey(v.name, id)+takenPart, record{}.number(1, sequence))
	return v.putMeasured(id, &measured{series: s, taken: sequence}, rows)
}

// measured reads what was measured at the steps of a vehicle.
func (l *loader) measured(ctx context.Context, v *vehicle) error {
	return l.each(ctx, seriesRows+v.name+"/", func(key string, value []byte) error {
		at := strings.LastIndexByte(key, '/')
		id := key[:max(at, 0)]
		m := v.measured[id]
		if m == nil {
			m = &measured{series: &pb.Series{}}
			v.measured[id] = m
		}
		if err := m.read(key[at+1:], value); err != nil {
			return unreadable("the row of what was measured at "+key, err)
		}
		return nil
	})
}

// read takes one of the rows, in whatever order they come.
func (m *measured) read(part string, value []byte) error {
	if part == takenPart {
		f, err := readFields(value)
		m.taken = f.number(1)
		return err
	}
	s := &pb.Series{}
	if err := proto.Unmarshal(value, s); err != nil {
		return err
	}
	switch part {
	case freshPart:
		m.fresh = len(s.GetPoints())
		m.series.Points = append(m.series.Points, s.GetPoints()...)
	case settledPart:
		m.series.Points = append(s.GetPoints(), m.series.GetPoints()...)
	default:
		return errRow
	}
	return nil
}
