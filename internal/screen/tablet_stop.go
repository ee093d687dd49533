package screen

import (
	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// StopAt is what an unfolded stop is about: it folds away when that changes.
func (p pane) StopAt() string {
	if one := p.stopVehicle(); one != nil {
		return "stop " + one.Configuration.GetName()
	}
	return "stop"
}

// stopVehicle is the vehicle that a stop means without being told; nil where it must be chosen.
func (p pane) stopVehicle() *round.Vehicle {
	if p.Phase == round.PhaseVehicles {
		return nil
	}
	return p.Chosen
}

// StopVehicle is its name; empty where it must be chosen.
func (p pane) StopVehicle() string {
	if one := p.stopVehicle(); one != nil {
		return one.Configuration.GetName()
	}
	return ""
}

// StopCallSign is what it is called; empty where it must be chosen.
func (p pane) StopCallSign() string {
	if one := p.stopVehicle(); one != nil {
		return one.Configuration.GetCallSign()
	}
	return ""
}

// StopVehicles are those to choose from; none where the vehicle is known.
func (p pane) StopVehicles() (all []*pb.VehicleConfiguration) {
	if p.stopVehicle() != nil {
		return nil
	}
	for _, v := range p.View.Vehicles {
		all = append(all, v.Configuration)
	}
	return all
}

// StopPeople are those who may be the one who stops: everybody, where nobody has signed in.
func (p pane) StopPeople() (all []*pb.Person) {
	if p.Session != nil {
		return nil
	}
	for _, who := range p.People {
		if !who.GetErased() {
			all = append(all, who)
		}
	}
	return all
}

// StopReasons are what can be said with one touch.
func (p pane) StopReasons() []round.StopReason { return round.StopReasons() }

// StoppedSince says that the vehicle dealt with is stopped, and since when; empty when
// it is not.
func (p pane) StoppedSince() string {
	if p.Chosen == nil || p.Phase == round.PhaseVehicles || len(p.Chosen.Stopped) == 0 {
		return ""
	}
	return "STOPPED since " + p.Since(p.Chosen.Stopped[0].Defect.GetStop().GetStationTime())
}

// ReleaseStep is one of what must come before a stopped vehicle moves.
type ReleaseStep struct {
	Who  string
	What string
	Done bool
	Turn string // done, now or then
}

// ReleaseSteps are what must come before a stopped vehicle moves, in order; the first
// that is not done is whose turn it is.
func (p pane) ReleaseSteps() []ReleaseStep {
	r := p.Release
	repaired := r.Defect.GetState() == pb.DefectState_DEFECT_STATE_RECTIFIED
	workshop := ReleaseStep{Who: "The workshop", What: "repairs it and records what it did.", Done: repaired}
	if repaired {
		workshop.What = p.repairWords(r.Defect.GetRepair()) + " Recorded " + p.Since(r.Defect.GetRepair().GetStationTime()) + "."
	}
	steps := []ReleaseStep{workshop}
	if n := len(r.Defect.GetStop().GetStepIds()); n > 0 {
		again := ReleaseStep{Who: "Not who repaired it", What: "checks again, in a round: " + counted(n, "step") + ".", Done: repaired && r.Missing == ""}
		if repaired && r.Missing != "" {
			again.What = p.Sentence(r.Missing)
		}
		steps = append(steps, again)
	}
	steps = append(steps, ReleaseStep{Who: "Not who repaired it", What: "says what was checked again, and releases it by name and PIN."})
	turn := "now"
	for i := range steps {
		if steps[i].Turn = turn; steps[i].Done {
			steps[i].Turn = "done"
		} else {
			turn = "then"
		}
	}
	return steps
}

// ReleaseWaits says what it means for a release that the station is not reached; empty
// while it is.
func (p pane) ReleaseWaits() string {
	switch {
	case p.Link.Live:
		return ""
	case p.Release.Missing != "":
		return "The station is not reached: what was recorded there since is not known here. Connect the tablet, or ask there."
	}
	return "The station is not reached. Released here, it counts on this tablet alone and provisionally; the station hears of it when it is there again, and may refuse it."
}

// StoppedWords say one stop: why, by whom, since when, and what must come before it ends.
func (p pane) StoppedWords(s round.Stopped) string {
	stop := s.Defect.GetStop()
	words := p.Sentence(stop.GetReason())
	if s.By != "" {
		words += " " + s.By + ","
	}
	words += " " + p.Since(stop.GetStationTime()) + "."
	if s.Missing != "" {
		return words + " Missing: " + s.Missing + "."
	}
	return words + " Repaired and checked again: whoever did not repair it may release it."
}
