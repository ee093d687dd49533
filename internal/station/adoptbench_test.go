package station_test

import (
	"testing"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// benchTwin is a station of true size with a whole round on one vehicle, and a
// twin that has taken it over.
func benchTwin(b *testing.B) (k, twin *stationtest.Kit, another func()) {
	b.Helper()
	k = stationtest.OpenDemo(b)
	person := k.Library().GetPeople()[0].GetName()
	name := "rounds/" + k.ID()
	if _, err := k.Station.OpenRound(b.Context(), &pb.OpenRoundRequest{Round: name, Vehicle: engine, Routine: shift, Driver: person, Device: "tablet-2"}); err != nil {
		b.Fatal(err)
	}
	steps := k.Plan(engine, shift).GetSteps()
	record := func(step *pb.CheckStep) {
		r := stationtest.Sound(step)
		r.Person = person
		k.Record(name, r)
	}
	for _, step := range steps {
		record(step)
	}
	twin = k.Twin()
	twin.AdoptLibrary(k)
	twin.AdoptStanding(k, engine)
	next := 0
	return k, twin, func() { next++; record(steps[next%len(steps)]) }
}

func BenchmarkGetStanding(b *testing.B) {
	k, _, _ := benchTwin(b)
	for b.Loop() {
		k.Standing(engine)
	}
}

// One more result was recorded at the station since the last time.
func BenchmarkAdoptStanding_OneMore(b *testing.B) {
	k, twin, another := benchTwin(b)
	for b.Loop() {
		b.StopTimer()
		another()
		given := k.Standing(engine)
		b.StartTimer()
		if changed, err := twin.Station.AdoptStanding(b.Context(), twin.ID(), given); err != nil || !changed {
			b.Fatal(changed, err)
		}
	}
}

func BenchmarkAdoptStanding_NothingNew(b *testing.B) {
	k, twin, _ := benchTwin(b)
	given := k.Standing(engine)
	for b.Loop() {
		if _, err := twin.Station.AdoptStanding(b.Context(), twin.ID(), given); err != nil {
			b.Fatal(err)
		}
	}
}
