package screen

import (
	"testing"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// backViews are the page of a run: untouched and with nobody signed in, half told, and told.
func backViews(t testing.TB, views map[string]*round.View) {
	back := func(callSign string) *round.View {
		v := baseView(t)
		v.Phase, v.Chosen, v.Back = round.PhaseBack, sampleVehicle(t, callSign), &round.Back{}
		for _, u := range round.UsesOf(v.Chosen.Configuration) {
			v.Back.Uses = append(v.Back.Uses, round.UseChoice{Use: u})
		}
		return v
	}
	views["back-nobody"] = back("WN32")
	v := back("WN11")
	v.Session = &round.Session{Driver: person(t, "arkwith")}
	v.Back.Said, v.Back.Returned, v.Back.Broken = true, sampleNow.Add(-15*time.Minute), true
	v.Back.Uses[0].Chosen, v.Back.Uses[2].Chosen = true, true
	views["back-said"] = v
	v = back("WN11")
	v.Session = &round.Session{Driver: person(t, "arkwith")}
	v.Back.Recorded, v.Back.Returned, v.Back.Words = true, sampleNow.Add(-15*time.Minute), []string{"breathing sets", "foam", "a bump or a kerb"}
	v.Back.Due = []*pb.RoutineDue{
		{Vehicle: "vehicles/wn11", Routine: "routines/after-incident", Title: "after an incident", Steps: 21, OpenSteps: 21},
		{Vehicle: "vehicles/wn11", Routine: "routines/weekly", Title: "weekly check", Steps: 80, OpenSteps: 12},
	}
	v.Chosen.Resumable = []*pb.Round{{Name: "rounds/00000000-0000-0000-0000-000000000001", Routine: "routines/shift", Answered: 31, Steps: 142}}
	views["back-told"] = v
}
