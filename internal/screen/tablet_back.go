package screen

import (
	pb "bayround/proto/bayround/v1"
)

// BackTimes are the answers to when a vehicle came back that are one touch away.
func (p pane) BackTimes() []engineTime {
	return []engineTime{{0, "just now"}, {15, "15 min ago"}, {30, "30 min ago"}, {60, "1 h ago"}, {120, "2 h ago"}}
}

// Tellers are those who may be the one who tells of a run: everybody, where nobody has
// signed in.
func (p pane) Tellers() []*pb.Person { return p.StopPeople() }

// TellNeeds says what must be told before a run can be recorded.
func (p pane) TellNeeds() string {
	switch {
	case !p.Back.Said:
		return "Say first when it came back."
	case p.Session == nil:
		return "Touch your name above: that records it."
	}
	return ""
}

// DueChoices is what is due after a run.
func (p pane) DueChoices() []*pb.RoutineDue { return p.Back.Due }

// AfterNeeds says that nothing must be done at once.
func (p pane) AfterNeeds() string {
	if len(p.Back.Due) == 0 {
		return ""
	}
	return "It stays due until it is done."
}

// BrokenOff are the rounds of the vehicle that can be gone on with; none where the page
// leads back to one by itself.
func (p pane) BrokenOff() []*pb.Round {
	if p.Back.Broken {
		return nil
	}
	return p.Chosen.Resumable
}

// RoutineOf is what a routine of the vehicle dealt with is called.
func (p pane) RoutineOf(name string) string { return vehicleRow{Vehicle: *p.Chosen}.RoutineTitle(name) }

// RunDoneWord leads back to where the run was told from.
func (p pane) RunDoneWord() string {
	if p.Back.Broken {
		return "To the round"
	}
	return "To the vehicles"
}
