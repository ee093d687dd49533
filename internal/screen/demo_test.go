package screen

import (
	"os"
	"path/filepath"
	"sync"
	"testing"

	"bayround/internal/catalogue"
	"bayround/internal/plan"
	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// county is the default catalogue together with the county of the demo.
var county = sync.OnceValues(func() (*catalogue.Loaded, error) {
	files := catalogue.Defaults()
	for _, pattern := range []string{"*.yaml", "vehicles/*.yaml"} {
		names, err := filepath.Glob(filepath.Join("../../testdata/demo", pattern))
		if err != nil {
			return nil, err
		}
		for _, name := range names {
			content, err := os.ReadFile(name)
			if err != nil {
				return nil, err
			}
			files = append(files, catalogue.File{Name: filepath.ToSlash(name), Content: content})
		}
	}
	return catalogue.Load(files)
})

func loadCounty(t testing.TB) *catalogue.Loaded {
	t.Helper()
	loaded, err := county()
	if err != nil {
		t.Fatal(err)
	}
	return loaded
}

func vehicle(t testing.TB, callSign string) *pb.VehicleConfiguration {
	t.Helper()
	for _, v := range loadCounty(t).Vehicles {
		if v.GetCallSign() == callSign {
			return v
		}
	}
	t.Fatalf("the county has no %s", callSign)
	return nil
}

func routine(t testing.TB, name string) *pb.Routine {
	t.Helper()
	for _, r := range loadCounty(t).Routines {
		if r.GetName() == "routines/"+name {
			return r
		}
	}
	t.Fatalf("there is no routine %s", name)
	return nil
}

// plans keeps what was planned once: planning is the slow part of these tests.
var plans sync.Map // call sign and routine to steps, which nobody changes

// steps is the real plan of one routine for one vehicle of the county.
func steps(t testing.TB, callSign, routineName string) []*pb.CheckStep {
	t.Helper()
	if known, ok := plans.Load(callSign + " " + routineName); ok {
		return known.([]*pb.CheckStep)
	}
	built := plan.Build(planInput(t, callSign, routineName)).GetSteps()
	plans.Store(callSign+" "+routineName, built)
	return built
}

// planInput is what the plan of a demo vehicle is made from.
func planInput(t testing.TB, callSign, routineName string) plan.Input {
	t.Helper()
	loaded := loadCounty(t)
	v := vehicle(t, callSign)
	in := plan.Input{Vehicle: v, Catalogue: loaded.Catalogue, Routine: routine(t, routineName)}
	for _, s := range loaded.Stations {
		if s.GetName() == v.GetStation() {
			in.Station = s
		}
	}
	return in
}

// walkOf is a round through steps: those before current are answered, one of
// each other state among them.
func walkOf(r *pb.Routine, all []*pb.CheckStep, current int) *round.Round {
	w := &round.Round{Name: "rounds/1", Routine: r, Current: current}
	before := ""
	for i, s := range all {
		if s.GetStop() != before {
			before = s.GetStop()
			w.Stops = append(w.Stops, round.Stop{Title: s.GetStopTitle()})
		}
		m := round.Mark{StepID: s.GetStepId(), Title: s.GetTitle(), Place: s.GetPlace(), State: round.MarkOpen, Stop: len(w.Stops) - 1}
		if i < current {
			m.State, m.Answer = round.MarkAnswered, "as it should be"
			w.Answered++
			switch i % 23 {
			case 7:
				m.State = round.MarkFault
			case 13:
				m.State = round.MarkNotChecked
				w.NotChecked++
			}
		} else if s.GetState().GetEngine() == pb.EngineState_ENGINE_STATE_COLD && i%2 == 0 {
			m.State = round.MarkCold
		}
		stop := &w.Stops[m.Stop]
		stop.Steps++
		if isOpen(m.State) {
			stop.Left++
		}
		w.Marks = append(w.Marks, m)
	}
	return w
}
