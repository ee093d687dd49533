package main

import (
	"strings"
	"testing"
	"time"
	"unicode"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// falling is a history of weekly tyre pressures that fall by 10 kPa, with a top-up
// in the fourth and a repair before the last.
func falling() *pb.GetHistoryResponse {
	h := &pb.GetHistoryResponse{Title: "Tyre", Quantity: pb.Quantity_QUANTITY_PRESSURE, Unit: "bar"}
	for i, kpa := range []float64{850, 840, 830, 850, 840, 850} {
		at := time.Date(2026, 1, 1+7*i, 8, 0, 0, 0, time.Local)
		h.Points = append(h.Points, &pb.SeriesPoint{LookedAt: timestamppb.New(at), Value: kpa})
	}
	h.Points[3].Added = 30
	h.Points[5].Reset_ = true
	h.Limits = []*pb.LimitLine{{Bound: 835, Side: pb.LimitSide_LIMIT_SIDE_AT_LEAST}, {Bound: 100, Side: pb.LimitSide_LIMIT_SIDE_AT_LEAST}}
	return h
}

func TestChart_ShowsPointsTopUpsRepairsAndLimitsNearby(t *testing.T) {
	lines := chart(falling())
	field := lines[:chartRows]
	if !strings.HasPrefix(strings.TrimSpace(field[0]), "8.5 bar |o") || !strings.HasSuffix(field[0], "!") {
		t.Errorf("the top row is %q: first and last stand highest", field[0])
	}
	if last := field[chartRows-1]; !strings.Contains(last, "8.3 bar |") || strings.Count(last, "o") != 1 {
		t.Errorf("the bottom row is %q: the lowest value alone", last)
	}
	drawn := strings.Join(field, "\n")
	for sign, times := range map[string]int{"o": 4, "+": 1, "!": 1} {
		if n := strings.Count(drawn, sign); n != times {
			t.Errorf("%q stands there %d times, want %d\n%s", sign, n, times, drawn)
		}
	}
	limits := 0
	for _, row := range field {
		if strings.Contains(row, "----------") {
			limits++
		}
	}
	if limits != 1 {
		t.Errorf("%d limits are drawn, want the near one alone\n%s", limits, drawn)
	}
	for _, line := range lines {
		if strings.ContainsFunc(line, func(r rune) bool { return r > unicode.MaxASCII || unicode.IsControl(r) }) {
			t.Errorf("%q has more than plain characters", line)
		}
	}
	requireIn(t, lines[chartRows+1], "1 Jan 2026", "5 Feb 2026")
}

// One point, equal points and points far apart in value all fit.
func TestChart_HoldsWhateverWasMeasured(t *testing.T) {
	for _, values := range [][]float64{{5}, {5, 5, 5}, {0, 1e9}, {-3, 0, 7}} {
		h := &pb.GetHistoryResponse{}
		for i, value := range values {
			h.Points = append(h.Points, &pb.SeriesPoint{LookedAt: timestamppb.New(time.Unix(int64(i)*86400, 0)), Value: value})
		}
		if n := strings.Count(strings.Join(chart(h)[:chartRows], ""), "o"); n != len(values) {
			t.Errorf("%v: %d points are drawn", values, n)
		}
	}
}
