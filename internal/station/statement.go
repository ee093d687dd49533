package station

import (
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// statement is what was said of the circumstances of a round at one time.
type statement struct {
	conditions *pb.RoundConditions // nil when nothing was said
	station    time.Time           // when that came, by the station's clock
	device     time.Time           // when it was said, by the device's clock; zero when the device did not say
}

func saidAt(c *pb.RoundConditions, station time.Time, device *timestamppb.Timestamp) statement {
	return statement{c, station, timestampOr(device, time.Time{})}
}

// at is when it was said: as a result's look is dated (lookedBy), by a device whose
// clock was ahead by so much.
func (s statement) at(ahead time.Duration) time.Time {
	if s.device.IsZero() {
		return s.station
	}
	if device := s.device.Add(-ahead); device.Before(s.station) {
		return device
	}
	return s.station
}

// saidBefore is what had been said of the circumstances when somebody looked, oldest
// first; what came before the first of them is taken to have been so, too. A result
// that is delivered late takes nothing from what was said after it.
func (f *frame) saidBefore(r *pb.Result) []*pb.RoundConditions {
	looked, ahead := verdict.Looked(r), aheadOf(r)
	then := slices.DeleteFunc(slices.Clone(f.said), func(s statement) bool { return s.at(ahead).After(looked) })
	if len(then) == 0 {
		then = f.said[:min(1, len(f.said))]
	}
	slices.SortStableFunc(then, func(a, b statement) int { return a.at(ahead).Compare(b.at(ahead)) })
	all := make([]*pb.RoundConditions, len(then))
	for i, s := range then {
		all[i] = s.conditions
	}
	return all
}

// spelt are conditions as others are told them: empty when nothing was said.
func spelt(c *pb.RoundConditions) *pb.RoundConditions {
	if c == nil {
		return &pb.RoundConditions{}
	}
	return c
}

// allSaid is what was said each time.
func (f *frame) allSaid() []*pb.RoundConditions {
	all := make([]*pb.RoundConditions, len(f.said))
	for i, s := range f.said {
		all[i] = spelt(s.conditions)
	}
	return all
}

// air is the temperature of the air that was newest when somebody looked; nil when nobody had said it.
func (f *frame) air(r *pb.Result) *float64 {
	for _, c := range slices.Backward(f.saidBefore(r)) {
		if c != nil && c.AmbientCelsius != nil && isNumber(c.GetAmbientCelsius()) {
			return proto.Float64(c.GetAmbientCelsius())
		}
	}
	return nil
}

// driven is the distance since the vehicle was cold, as it was said last when somebody
// looked; nil when it was not said then. What was said before says nothing: it was driven since.
func (f *frame) driven(r *pb.Result) *float64 {
	for _, c := range slices.Backward(f.saidBefore(r)) {
		if c != nil {
			return c.DrivenKm
		}
	}
	return nil
}

// meters are the odometer in km and the engine hours that were newest when somebody
// looked; nil when nobody had said them.
func (f *frame) meters(r *pb.Result) (odometer, hours *float64) {
	for _, c := range f.saidBefore(r) {
		if c != nil && c.OdometerKm != nil {
			odometer = c.OdometerKm
		}
		if c != nil && c.EngineHours != nil {
			hours = c.EngineHours
		}
	}
	return odometer, hours
}

// saidThere is what was said of a round that is taken over, which tells it in order
// and without times. What was known here before keeps its own; what was not was said
// before anything that is recorded here from now on. r is nil when it was not known.
func (r *round) saidThere(e *pb.StandingRound) []statement {
	all := make([]statement, len(e.GetConditions()))
	latest := time.Time{}
	for i, c := range e.GetConditions() {
		all[i] = statement{conditions: c, station: latest}
		if r != nil && i < len(r.said) && proto.Equal(spelt(r.said[i].conditions), c) {
			all[i] = r.said[i]
			latest = later(latest, all[i].station)
		}
	}
	return all
}
