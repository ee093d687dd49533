package station_test

import (
	"context"
	"errors"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"bayround/internal/fault"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// tellAll goes through a record from a place to its newest command.
func tellAll(t *testing.T, k *stationtest.Kit, from station.Place) (all []station.Moment, places []station.Place) {
	t.Helper()
	telling, err := k.Tell(t.Context(), from)
	if err != nil {
		t.Fatal(err)
	}
	for len(places) == 0 || telling.Behind() > 0 {
		moments, place, err := telling.Next(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		all, places = append(all, moments...), append(places, place)
	}
	return all, places
}

// busyDays is a record in which verdicts change by results, by time, by both within
// one round, and by a change of the configuration.
func busyDays(t *testing.T, k *stationtest.Kit) {
	t.Helper()
	k.RecordAll(p1, shift)
	k.Clock.Advance(time.Minute)
	round := k.RecordAll(p2, shift)
	k.Record(round, stationtest.Seen(screen, "03"))
	k.Clock.Advance(15 * time.Hour) // p1 goes stale in between, unseen
	k.RecordAll(p1, shift)
	k.ApplyAltered("authority: Quay", "authority: Quay Council")
	k.Clock.Advance(15 * time.Hour)
	k.OpenRound(p2, shift)
}

// What was told along the way is what GetReadiness says of each instant; nothing is
// left out, and after every place the rest is the same, with the same ids.
func TestTell_EveryMomentOnceFromEveryPlace(t *testing.T) {
	k := stationtest.Open(t)
	begin, places := tellAll(t, k, station.Place{})
	if len(begin) != 2 || begin[0].Before != nil || begin[0].Now.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN {
		t.Fatalf("at the beginning both vehicles are told as they stand; told was %v", begin)
	}
	busyDays(t, k)
	all, after := tellAll(t, k, places[0])
	var verdicts []string
	ids := map[string]bool{}
	for i, m := range all {
		if m.Now.GetVehicle() == p1 && m.Before.GetVerdict() != m.Now.GetVerdict() {
			verdicts = append(verdicts, m.Now.GetVerdict().String())
		}
		if ids[m.ID] {
			t.Errorf("moment %d bears an id that another has: %s", i, m.ID)
		}
		ids[m.ID] = true
		holdAgainstReadiness(t, k, m)
	}
	want := []string{"VERDICT_FIT", "VERDICT_UNPROVEN", "VERDICT_FIT", "VERDICT_UNPROVEN"}
	if !slices.Equal(verdicts, want) {
		t.Errorf("p1 was told %v, want %v", verdicts, want)
	}
	k.Reopen()
	for i := 0; i < len(after)-1; i += 5 {
		rest, _ := tellAll(t, k, after[i])
		for j, m := range rest {
			same := all[len(all)-len(rest)+j]
			if m.ID != same.ID || m.Before.GetVerdict() != same.Before.GetVerdict() {
				t.Fatalf("from place %d on, moment %d is %s, was %s", i, j, m.ID, same.ID)
			}
			if diff := cmp.Diff(same.Now, m.Now, protocmp.Transform()); diff != "" {
				t.Fatalf("from place %d on, moment %d (-was +is):\n%s", i, j, diff)
			}
		}
	}
}

// holdAgainstReadiness compares a moment with what is said as of its instant.
func holdAgainstReadiness(t *testing.T, k *stationtest.Kit, m station.Moment) {
	t.Helper()
	resp, err := k.GetReadiness(t.Context(), &pb.GetReadinessRequest{Vehicle: m.Now.GetVehicle(), AsOf: m.Now.GetAsOf()})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(resp.GetReadiness(), m.Now, protocmp.Transform(), protocmp.IgnoreFields(&pb.Readiness{}, "rounds", "ways_back")); diff != "" {
		t.Errorf("%s at %v (-readiness +moment):\n%s", m.ID, m.At, diff)
	}
}

// A doubt in the record is told, and that it is gone, also to who was told of it before
// a restart.
func TestTell_DoubtInTheRecord(t *testing.T) {
	k := stationtest.Open(t)
	k.RecordAll(p1, shift)
	_, places := tellAll(t, k, station.Place{})
	telling, err := k.Tell(t.Context(), places[len(places)-1])
	if err != nil {
		t.Fatal(err)
	}
	k.ClaimDamage(true)
	moments, place, err := telling.Next(t.Context())
	if err != nil || len(moments) != 2 || moments[0].Before.GetVerdict() != pb.Verdict_VERDICT_FIT || moments[0].Now.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN {
		t.Fatalf("a doubt was told as %v, %v", moments, err)
	}
	k.Reopen()
	if telling, err = k.Tell(t.Context(), place); err != nil {
		t.Fatal(err)
	}
	gone, _, err := telling.Next(t.Context())
	if err != nil || len(gone) != 2 || gone[0].Before.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN || gone[0].Now.GetVerdict() != pb.Verdict_VERDICT_FIT || gone[0].ID == moments[0].ID {
		t.Fatalf("that the doubt is gone was told as %v, %v", gone, err)
	}
}

func TestTell_RefusesAPlaceOfAnotherHistory(t *testing.T) {
	k, other := stationtest.Open(t), stationtest.Open(t)
	_, places := tellAll(t, other, station.Place{})
	if _, err := k.Tell(t.Context(), places[0]); !fault.Is(err, fault.Precondition) {
		t.Errorf("a place of another station was answered with %v", err)
	}
	telling, err := k.Tell(t.Context(), station.Place{})
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := telling.Next(t.Context()); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, _, err := telling.Next(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("who has gone hears %v", err)
	}
}
