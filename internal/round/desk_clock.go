package round

import (
	"context"
	"math"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// clockStep is how far the tablet's clock must have been set since the engine was
// told of before it is told of anew.
const clockStep = time.Minute

// furthestAhead is the contract's: ten years, in seconds.
const furthestAhead = 315360000

// now is the right time, as far as the tablet knows it: all that is judged and shown
// goes by it.
func (d *Desk) now() time.Time {
	if d.right == nil {
		return d.wall()
	}
	return d.right.Now()
}

// lag is what must be added to the tablet's clock.
func (d *Desk) lag() time.Duration {
	if d.right == nil {
		return 0
	}
	shown := d.wall()
	return d.right.Right(shown).Sub(shown.Round(0))
}

// deviceTime is when a command is given: by the tablet's clock, right or wrong.
func (d *Desk) deviceTime() *timestamppb.Timestamp { return timestamp(d.wall()) }

// deviceAhead is by how many seconds the tablet's clock is known to be ahead; nil
// while nobody knows.
func (d *Desk) deviceAhead() *float64 {
	if d.right == nil || !d.right.Known() {
		return nil
	}
	ahead := -d.lag().Seconds()
	if math.Abs(ahead) > furthestAhead {
		return nil // it has been lost: no one can say what it shows
	}
	return &ahead
}

// engineTold is what the station is told of the engine, by the tablet's clock.
func (d *Desk) engineTold() *pb.RoundConditions {
	s := d.session
	s.Engine.ToldLag = d.lag()
	told := s.Engine
	told.Stopped = told.Stopped.Add(-told.ToldLag)
	c := told.conditions(s.Ambient)
	figuresInto(c, s.Figures)
	return c
}

// tellEngineAnew says when the engine stopped by the clock as it is now, where that
// was set since it was said: a result says its time by the same clock, and whether
// the engine was cold follows from the two.
func (d *Desk) tellEngineAnew(ctx context.Context, step *pb.CheckStep) error {
	s := d.session
	stopped := s.Engine.Said == saidStopped || s.Engine.Said == saidRunning
	if step.GetColdAfter() == nil || !stopped || (d.lag()-s.Engine.ToldLag).Abs() < clockStep {
		return nil
	}
	return d.command(ctx, &pending{Kind: commandResume}, &pb.ResumeRoundRequest{
		RequestId: uuid.NewString(), Round: s.Round, Conditions: d.engineTold(), DeviceTime: d.deviceTime(),
	})
}
