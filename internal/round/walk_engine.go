package round

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	pb "bayround/proto/bayround/v1"
)

// said is what was said of the engine. Written out: the session file keeps it.
type said int

const (
	saidNothing said = 0
	saidStopped said = 1 // it stopped at an instant
	saidUnknown said = 2 // nobody knows when
	saidRunning said = 3 // it runs
)

// engine is what is known of when the engine last ran.
type engine struct {
	Said    said      `json:"said,omitempty"`
	Stopped time.Time `json:"stopped,omitzero"` // when it stopped; of saidUnknown and saidRunning, when that was said
	Ran     time.Time `json:"ran,omitzero"`     // when a step of this round last ran it

	ToldLag time.Duration `json:"told_lag,omitempty"` // what had to be added to the tablet's clock when the station was told
}

// lastRan is the latest instant at which the engine may have run. Nobody knowing
// it means: it may have run until that was said. The zero time means that nothing
// was said.
func (e engine) lastRan(now time.Time) time.Time {
	switch {
	case e.Said == saidRunning:
		return now
	case e.Ran.After(e.Stopped):
		return e.Ran
	}
	return e.Stopped
}

// coldAt is from when a step can be done that needs an engine which has stood
// for a time; zero for a step that does not, and while nothing is known.
func (e engine) coldAt(step *pb.CheckStep, now time.Time) time.Time {
	ran := e.lastRan(now)
	if step.GetColdAfter() == nil || ran.IsZero() {
		return time.Time{}
	}
	return ran.Add(step.GetColdAfter().AsDuration())
}

// coolSteps says of each step that must be cold how long the engine must have stood by
// the rule packs in force, as the station will ask: not at all where the vehicle was
// driven no farther than they allow.
func (d *Desk) coolSteps(plan *pb.Plan) error {
	km, said := number(d.session.Figures[figureDriven])
	for _, step := range plan.GetSteps() {
		if step.GetColdAfter() == nil {
			continue
		}
		rule, err := d.twin.ColdRule(plan.GetVehicle(), step.GetItem())
		if err != nil {
			return fmt.Errorf("read what counts as cold at %s: %w", step.GetStepId(), err)
		}
		if rule == nil {
			continue
		}
		step.ColdAfter = rule.GetStood()
		if most := rule.GetDrivenAtMostKm(); said && most > 0 && km <= most {
			step.ColdAfter = durationpb.New(0)
		}
	}
	return nil
}

// conditions are what is told to the station: nothing of what nobody knows.
func (e engine) conditions(ambient string) *pb.RoundConditions {
	c := &pb.RoundConditions{}
	if e.Said == saidStopped || e.Said == saidRunning {
		c.EngineStopped = timestamp(e.Stopped)
	}
	if x, whole := number(ambient); whole {
		c.AmbientCelsius = &x
	}
	return c
}

// ranBy tells that a step is done with the engine running.
func ranBy(step *pb.CheckStep) bool {
	switch step.GetState().GetEngine() {
	case pb.EngineState_ENGINE_STATE_COLD_START, pb.EngineState_ENGINE_STATE_RUNNING, pb.EngineState_ENGINE_STATE_RUNNING_WARM:
		return true
	}
	return false
}

// coldSteps counts the steps that need an engine which has stood, and says when
// the last of them can be done; zero when now, or not known.
func coldSteps(steps []*pb.CheckStep, e engine, now time.Time) (n int, last time.Time) {
	for _, step := range steps {
		if step.GetColdAfter() == nil {
			continue
		}
		n++
		if at := e.coldAt(step, now); at.After(now) && at.After(last) {
			last = at
		}
	}
	return n, last
}
