package screen

import (
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/admit"
	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// tellViews are the pages on which something is told: untouched and with nobody signed in,
// half told, and told.
func tellViews(t testing.TB, views map[string]*round.View) {
	tellRunViews(t, views)
	tellWheelViews(t, views)
	tellStockViews(t, views)
}

func telling(t testing.TB, of round.Tale, deed admit.Deed, choices ...round.TellChoice) *round.View {
	v := baseView(t)
	v.Phase, v.Telling = round.PhaseTell, &round.Telling{Of: of, Choices: choices}
	v.Telling.Tellers = slices.DeleteFunc(slices.Clone(v.People), func(who *pb.Person) bool {
		_, may := admit.PersonMay(who.GetRoles(), deed)
		return !may
	})
	return v
}

func tellRunViews(t testing.TB, views map[string]*round.View) {
	back := func(callSign string) *round.View {
		v := telling(t, round.TaleRun, admit.Incident, round.UsesOf(vehicle(t, callSign))...)
		v.Chosen = sampleVehicle(t, callSign)
		return v
	}
	views["back-nobody"] = back("WN32")
	v := back("WN11")
	v.Session = &round.Session{Driver: person(t, "arkwith")}
	v.Telling.Said, v.Telling.When, v.Telling.Broken = true, sampleNow.Add(-15*time.Minute), true
	v.Telling.Choices[0].Chosen, v.Telling.Choices[2].Chosen = true, true
	views["back-said"] = v
	v = back("WN11")
	v.Session = &round.Session{Driver: person(t, "arkwith")}
	v.Telling.Recorded, v.Telling.When, v.Telling.Words = true, sampleNow.Add(-15*time.Minute), []string{"breathing sets", "foam", "a bump or a kerb"}
	v.Telling.Due = []*pb.RoutineDue{
		{Vehicle: "vehicles/wn11", Routine: "routines/after-incident", Title: "after an incident", Steps: 21, OpenSteps: 21},
		{Vehicle: "vehicles/wn11", Routine: "routines/weekly", Title: "weekly check", Steps: 80, OpenSteps: 12},
	}
	v.Chosen.Resumable = []*pb.Round{{Name: "rounds/00000000-0000-0000-0000-000000000001", Routine: "routines/shift", Answered: 31, Steps: 142}}
	views["back-told"] = v
}

// tellWheelViews name the wheels as the plan of the vehicle does.
func tellWheelViews(t testing.TB, views map[string]*round.View) {
	fitted := func() *round.View {
		var wheels []round.TellChoice
		for _, s := range steps(t, "WN11", "re-torque") {
			if s.GetItem() == "WHL-200" {
				wheels = append(wheels, round.TellChoice{ID: s.GetStepId()[len("WHL-200/"):], Text: s.GetPlace().GetTitle()})
			}
		}
		slices.SortFunc(wheels, func(x, y round.TellChoice) int { return strings.Compare(x.ID, y.ID) })
		v := telling(t, round.TaleWheels, admit.FitWheels, wheels...)
		v.Chosen = sampleVehicle(t, "WN11")
		return v
	}
	views["wheels-nobody"] = fitted()
	v := fitted()
	v.Session = &round.Session{Driver: person(t, "arkwith")}
	v.Telling.Said, v.Telling.When, v.Telling.Choices[1].Chosen = true, sampleNow, true
	views["wheels-said"] = v
	v = fitted()
	v.Link = round.Link{Pending: 1, Since: sampleNow.Add(-time.Hour)}
	v.Telling.Recorded, v.Telling.When = true, sampleNow
	v.Telling.Words = []string{"wheel nuts torqued again, rear axle, offside: due Wed 25 Nov 08:12 or after 40 km"}
	views["wheels-told"] = v
}

func tellStockViews(t testing.TB, views map[string]*round.View) {
	stocked := func(of round.Tale, deed admit.Deed) *round.View {
		v := telling(t, of, deed)
		for i, says := range []string{"3 l left, low", "20 l left"} {
			m := v.Stock[i].GetMaterial()
			v.Telling.Choices = append(v.Telling.Choices, round.TellChoice{ID: "stations/skarholm-quay/" + m.GetId(), Text: m.GetTitle(), Says: says, Material: m})
		}
		swabs := &pb.StockedMaterial{Id: "swabs", Title: "tyre swabs", Unit: pb.StockUnit_STOCK_UNIT_PIECES}
		v.Telling.Choices = append(v.Telling.Choices, round.TellChoice{ID: "stations/skarholm-quay/swabs", Text: swabs.GetTitle(), Material: swabs})
		return v
	}
	views["delivery-nobody"] = stocked(round.TaleDelivery, admit.Deliver)
	v := stocked(round.TaleDelivery, admit.Deliver)
	v.Session, v.Link = &round.Session{Driver: person(t, "arkwith")}, round.Link{Since: sampleNow.Add(-time.Hour)}
	v.Telling.Said, v.Telling.When, v.Telling.Choices[0].Chosen = true, sampleNow.Add(-time.Hour), true
	views["delivery-said"] = v
	v = stocked(round.TaleCount, admit.Count)
	v.Telling.Said, v.Telling.When, v.Telling.Choices[2].Chosen = true, sampleNow, true
	views["count-said"] = v
	v = stocked(round.TaleCount, admit.Count)
	v.Telling.Recorded, v.Telling.When, v.Telling.Words = true, sampleNow, []string{"engine oil: 17.5 l"}
	views["count-told"] = v
}
