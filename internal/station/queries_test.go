package station_test

import (
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// Lists come in the order of names, in pages that fit together.
func TestLists_PagesInOrder(t *testing.T) {
	k := stationtest.Open(t)
	type pageOf func(size int32, token string) (names []string, next string, err error)
	named := func(names []string, next string, err error) ([]string, string, error) { return names, next, err }
	for name, tc := range map[string]struct {
		page pageOf
		want []string
	}{
		"vehicles": {func(size int32, token string) ([]string, string, error) {
			resp, err := k.ListVehicles(ctx, &pb.ListVehiclesRequest{PageSize: size, PageToken: token})
			return named(namesOf(resp.GetVehicles()), resp.GetNextPageToken(), err)
		}, []string{p1, p2}},
		"routines": {func(size int32, token string) ([]string, string, error) {
			resp, err := k.ListRoutines(ctx, &pb.ListRoutinesRequest{PageSize: size, PageToken: token})
			return named(namesOf(resp.GetRoutines()), resp.GetNextPageToken(), err)
		}, []string{"routines/before-tow", shift, weekly}},
		"gauges": {func(size int32, token string) ([]string, string, error) {
			resp, err := k.ListGauges(ctx, &pb.ListGaugesRequest{PageSize: size, PageToken: token})
			return named(namesOf(resp.GetGauges()), resp.GetNextPageToken(), err)
		}, []string{"gauges/d-1", "gauges/g-1", "gauges/g-old"}},
		"people": {func(size int32, token string) ([]string, string, error) {
			resp, err := k.ListPeople(ctx, &pb.ListPeopleRequest{PageSize: size, PageToken: token})
			return named(namesOf(resp.GetPeople()), resp.GetNextPageToken(), err)
		}, []string{"people/driver", "people/mechanic", "people/other"}},
		"stations": {func(size int32, token string) ([]string, string, error) {
			resp, err := k.ListStations(ctx, &pb.ListStationsRequest{PageSize: size, PageToken: token})
			return named(namesOf(resp.GetStations()), resp.GetNextPageToken(), err)
		}, []string{"stations/quay"}},
		"packs": {func(size int32, token string) ([]string, string, error) {
			resp, err := k.ListRulePacks(ctx, &pb.ListRulePacksRequest{PageSize: size, PageToken: token})
			return named(namesOf(resp.GetRulePacks()), resp.GetNextPageToken(), err)
		}, []string{"packs/house"}},
		"readiness": {func(size int32, token string) ([]string, string, error) {
			resp, err := k.ListReadiness(ctx, &pb.ListReadinessRequest{PageSize: size, PageToken: token})
			var names []string
			for _, r := range resp.GetReadiness() {
				names = append(names, r.GetVehicle())
			}
			return names, resp.GetNextPageToken(), err
		}, []string{p1, p2}},
	} {
		for _, size := range []int32{0, 1, 2, 3, 200} {
			var got []string
			for token := ""; ; {
				names, next, err := tc.page(size, token)
				if err != nil || size > 0 && len(names) > int(size) {
					t.Fatalf("%s in pages of %d: %v, %v", name, size, names, err)
				}
				got = append(got, names...)
				if token = next; token == "" {
					break
				}
			}
			if !slices.Equal(got, tc.want) {
				t.Errorf("%s in pages of %d: %v, want %v", name, size, got, tc.want)
			}
		}
		_, _, err := tc.page(1, "nonsense")
		refusal{fault.Invalid, "PAGE_TOKEN_UNREADABLE"}.check(t, err)
	}
	for _, tc := range []struct {
		station string
		want    int
	}{{"stations/quay", 2}, {"stations/none", 0}} {
		vehicles, err1 := k.ListVehicles(ctx, &pb.ListVehiclesRequest{Station: tc.station})
		readiness, err2 := k.ListReadiness(ctx, &pb.ListReadinessRequest{Station: tc.station})
		if len(vehicles.GetVehicles()) != tc.want || len(readiness.GetReadiness()) != tc.want || err1 != nil || err2 != nil {
			t.Errorf("at %s: %v %v, %v %v", tc.station, vehicles, err1, readiness, err2)
		}
	}
}

func namesOf[T interface{ GetName() string }](all []T) (names []string) {
	for _, one := range all {
		names = append(names, one.GetName())
	}
	return names
}

func TestQueries_UnknownNames(t *testing.T) {
	k := stationtest.Open(t)
	_, err := k.GetPlan(ctx, &pb.GetPlanRequest{Vehicle: "vehicles/p9", Routine: shift})
	refusal{fault.NotFound, "VEHICLE_UNKNOWN"}.check(t, err)
	_, err = k.GetPlan(ctx, &pb.GetPlanRequest{Vehicle: p1, Routine: "routines/none"})
	refusal{fault.NotFound, "ROUTINE_UNKNOWN"}.check(t, err)
	_, err = k.GetRulePack(ctx, &pb.GetRulePackRequest{Name: "packs/none"})
	refusal{fault.NotFound, "PACK_UNKNOWN"}.check(t, err)
	_, err = k.GetRound(ctx, &pb.GetRoundRequest{Name: nowhere})
	refusal{fault.NotFound, "ROUND_UNKNOWN"}.check(t, err)
	_, err = k.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: "vehicles/p9"})
	refusal{fault.NotFound, "VEHICLE_UNKNOWN"}.check(t, err)
}

// A station to which nothing was told yet knows nothing, and says so.
func TestQueries_OfAnEmptyStation(t *testing.T) {
	k := stationtest.OpenWith(t, nil, station.Options{Dir: t.TempDir()})
	_, err := k.GetCatalogue(ctx, &pb.GetCatalogueRequest{})
	refusal{fault.Precondition, "CATALOGUE_MISSING"}.check(t, err)
	_, err = k.GetCheckpoint(ctx, &pb.GetCheckpointRequest{})
	refusal{fault.Precondition, "JOURNAL_EMPTY"}.check(t, err)
	if n := events(t, k); n != 0 {
		t.Errorf("%d events", n)
	}
	resp, err := k.ListReadiness(ctx, &pb.ListReadinessRequest{})
	if err != nil || len(resp.GetReadiness()) != 0 {
		t.Errorf("readiness %v, %v", resp, err)
	}
}

func TestQueries_WhatIsInForce(t *testing.T) {
	k := stationtest.Open(t)
	for range 2 {
		catalogue, err := k.GetCatalogue(ctx, &pb.GetCatalogueRequest{})
		if err != nil || catalogue.GetCatalogue().GetVersion() != "small-1" || len(catalogue.GetCatalogue().GetItems()) != 6 {
			t.Errorf("catalogue: %v, %v", catalogue.GetCatalogue().GetVersion(), err)
		}
		pack, err := k.GetRulePack(ctx, &pb.GetRulePackRequest{Name: "packs/house"})
		if err != nil || len(pack.GetRulePack().GetRules()) != 12 || len(pack.GetDigest()) != 64 {
			t.Errorf("pack: %v, %v", pack, err)
		}
		packs, err := k.ListRulePacks(ctx, &pb.ListRulePacksRequest{})
		if err != nil || len(packs.GetRulePacks()[0].GetRules()) != 0 || packs.GetRulePacks()[0].GetAuthority() != "Quay" {
			t.Errorf("packs: %v, %v", packs, err)
		}
		checkpoint, err := k.GetCheckpoint(ctx, &pb.GetCheckpointRequest{})
		if err != nil || len(checkpoint.GetJournalId()) != 32 || checkpoint.GetVerifierKey() == "" || checkpoint.GetCheckpoint() == "" {
			t.Errorf("checkpoint: %v, %v", checkpoint, err)
		}
		k.Reopen()
	}
}

// A plan shows the newest result of each step, not-checked ones too.
func TestGetPlan_ShowsLastResults(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	k.Record(round, stationtest.Seen(screen, "sound"))
	k.Record(round, stationtest.NotChecked(screen, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME))
	for range 2 {
		shown := 0
		for _, s := range k.Plan(p1, shift).GetSteps() {
			if s.GetLast() != nil {
				shown++
				if s.GetStepId() != screen || s.GetLast().GetNotChecked() == nil {
					t.Errorf("%s shows %v", s.GetStepId(), s.GetLast())
				}
			}
		}
		if shown != 1 {
			t.Errorf("%d steps show a result, want 1", shown)
		}
		k.Reopen()
	}
}

func TestGetReadiness_AsOf(t *testing.T) {
	k := stationtest.Open(t)
	k.Clock.Advance(time.Hour)
	k.ApplyAltered("name: vehicles/p1", "name: vehicles/p3")
	for name, tc := range map[string]struct {
		vehicle string
		at      time.Duration // after Morning
		want    refusal
	}{
		"now":                      {"vehicles/p3", time.Hour, refusal{}},
		"before it was there":      {"vehicles/p3", time.Hour - 1, refusal{fault.NotFound, "VEHICLE_UNKNOWN"}},
		"before there was a thing": {p1, -time.Second, refusal{fault.NotFound, "VEHICLE_UNKNOWN"}},
		"at the first instant":     {p1, 0, refusal{}},
		"tomorrow":                 {p1, 24 * time.Hour, refusal{fault.Invalid, "AS_OF_IN_FUTURE"}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := k.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: tc.vehicle, AsOf: timestamppb.New(stationtest.Morning.Add(tc.at))})
			tc.want.check(t, err)
		})
	}
	_, err := k.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: p1, AsOf: &timestamppb.Timestamp{Nanos: -1}})
	refusal{fault.Invalid, "AS_OF_WRONG"}.check(t, err)
}
