package station_test

import (
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// Rounds are found by who drove or assisted and by when they were opened, to the instant:
// page by page the same as looking through all of them. A page for which too much would
// have to be read may be empty, and says where to go on.
func TestListRounds_ByPersonAndTime(t *testing.T) {
	k := stationtest.Open(t)
	began := k.Clock.Now()
	var all []*pb.Round // newest first
	for i := range 24 {
		req := &pb.OpenRoundRequest{Round: "rounds/" + k.ID(), Vehicle: []string{p1, p2}[i%2], Routine: shift, Driver: "people/driver", Device: "tablet-1"}
		switch {
		case i == 3:
			req.Driver = "people/other"
		case i == 20:
			req.Assistant = "people/other"
		}
		resp, err := k.Station.OpenRound(ctx, req)
		if err != nil {
			t.Fatal(err)
		}
		all = append([]*pb.Round{resp.GetRound()}, all...)
		k.Clock.Advance(time.Hour)
	}
	at := func(hours int) *timestamppb.Timestamp {
		return timestamppb.New(began.Add(time.Duration(hours) * time.Hour))
	}
	for _, tc := range []struct {
		why   string
		ask   *pb.ListRoundsRequest
		wants func(*pb.Round) bool
		n     int
	}{
		{"who drove or assisted", &pb.ListRoundsRequest{Person: "people/other"}, func(r *pb.Round) bool { return r.GetDriver() == "people/other" || r.GetAssistant() == "people/other" }, 2},
		{"nobody's", &pb.ListRoundsRequest{Person: "people/mechanic"}, func(*pb.Round) bool { return false }, 0},
		{"from the opening of one on", &pb.ListRoundsRequest{OpenedFrom: all[3].GetOpened()}, func(r *pb.Round) bool { return !r.GetOpened().AsTime().Before(all[3].GetOpened().AsTime()) }, 4},
		{"before the opening of one", &pb.ListRoundsRequest{OpenedBefore: all[20].GetOpened()}, func(r *pb.Round) bool { return r.GetOpened().AsTime().Before(all[20].GetOpened().AsTime()) }, 3},
		{"of a vehicle, in between", &pb.ListRoundsRequest{Vehicle: p2, OpenedFrom: at(5), OpenedBefore: at(10)}, func(r *pb.Round) bool {
			return r.GetVehicle() == p2 && !r.GetOpened().AsTime().Before(at(5).AsTime()) && r.GetOpened().AsTime().Before(at(10).AsTime())
		}, 3},
	} {
		t.Run(tc.why, func(t *testing.T) {
			var want, got []string
			for _, r := range all {
				if tc.wants(r) {
					want = append(want, r.GetName())
				}
			}
			pages := 0
			for token := ""; pages == 0 || token != ""; pages++ {
				tc.ask.PageSize, tc.ask.PageToken = 1, token
				resp, err := k.ListRounds(ctx, tc.ask)
				if err != nil {
					t.Fatal(err)
				}
				if len(resp.GetRounds()) > 1 {
					t.Fatalf("a page of one holds %d", len(resp.GetRounds()))
				}
				for _, r := range resp.GetRounds() {
					got = append(got, r.GetName())
				}
				token = resp.GetNextPageToken()
			}
			if !slices.Equal(got, want) || len(want) != tc.n {
				t.Errorf("rounds %v, want these %d: %v", got, tc.n, want)
			}
			if tc.n == 0 && pages != 3 { // 24 rounds, ten for a page
				t.Errorf("for nothing it took %d pages", pages)
			}
		})
	}
}

// By a defect those rounds are found in which it was found or its step was looked at again,
// page by page; a token is good for the same question alone.
func TestListRounds_ByDefect(t *testing.T) {
	k := stationtest.Open(t)
	walk := func(answers ...*pb.Result) string {
		round := k.OpenRound(p1, shift)
		for _, a := range answers {
			k.Clock.Advance(time.Minute)
			k.Record(round, a)
		}
		k.Clock.Advance(time.Hour)
		return round
	}
	skip := stationtest.NotChecked(screen, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME)
	walk(stationtest.Seen(screen, "sound")) // before
	walk(stationtest.Seen(pump, "01"))      // of another defect
	found := walk(stationtest.Seen(screen, "03"), stationtest.NotChecked(screen, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME))
	walk(skip) // nobody looked
	again := walk(stationtest.Seen(screen, "sound"))
	elsewhere := k.OpenRound(p2, shift)
	k.Record(elsewhere, stationtest.Seen(screen, "03"))
	var defect string
	for _, d := range k.Readiness(p1).GetOpenDefects() {
		if d.GetStepId() == screen {
			defect = d.GetName()
		}
	}
	list := func(req *pb.ListRoundsRequest) (names []string) {
		for first := true; first || req.GetPageToken() != ""; first = false {
			resp, err := k.ListRounds(ctx, req)
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range resp.GetRounds() {
				names = append(names, r.GetName())
			}
			req.PageToken = resp.GetNextPageToken()
		}
		return names
	}
	if got, want := list(&pb.ListRoundsRequest{PageSize: 1, Defect: defect}), []string{again, found}; !slices.Equal(got, want) {
		t.Errorf("found in %v, want %v", got, want)
	}
	for why, req := range map[string]*pb.ListRoundsRequest{
		"of another vehicle": {Defect: defect, Vehicle: p2}, "of another person": {Defect: defect, Person: "people/other"},
		"before it all": {Defect: defect, OpenedBefore: timestamppb.New(k.Clock.Now().Add(-24 * time.Hour))},
	} {
		if got := list(req); len(got) != 0 {
			t.Errorf("%s: %v", why, got)
		}
	}
	_, err := k.ListRounds(ctx, &pb.ListRoundsRequest{Defect: p1 + "/defects/00"})
	refusal{fault.NotFound, "DEFECT_UNKNOWN"}.check(t, err)
	resp, err := k.ListRounds(ctx, &pb.ListRoundsRequest{PageSize: 1, Defect: defect})
	if err != nil || resp.GetNextPageToken() == "" {
		t.Fatalf("%v, %v", resp, err)
	}
	_, err = k.ListRounds(ctx, &pb.ListRoundsRequest{PageSize: 1, PageToken: resp.GetNextPageToken()})
	refusal{fault.Invalid, "PAGE_TOKEN_OF_OTHER_LIST"}.check(t, err)
	if _, err = k.ListRounds(ctx, &pb.ListRoundsRequest{PageSize: 7, Defect: defect, PageToken: resp.GetNextPageToken()}); err != nil {
		t.Errorf("with another size of page: %v", err)
	}
}
