package screen

import (
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// Whoever picks a vehicle up reads what runs out, and without the network as of when.
func TestTabletPage_SaysWhatTheStationRunsOutOf(t *testing.T) {
	for name, want := range map[string]string{
		"vehicles":      "Low at Skarholm Quay: engine oil: 3 l left, low.",
		"vehicles-none": "Low at Skarholm Quay: engine oil: 3 l left, low, as told " + pane{View: baseView(t)}.At(sampleNow.Add(-time.Hour)) + ".",
	} {
		if said := wordsOf(parsePage(t, samplePage(t, name, ""))); !strings.Contains(said, want) || strings.Contains(said, "coolant mix") {
			t.Errorf("%s does not say %q, or what is not low", name, want)
		}
	}
	two := []*pb.Stock{{Station: "a", StationTitle: "A", Text: "x: 1 left, low", Low: true}, {Station: "a", StationTitle: "A", Text: "y: 0 left, low", Low: true}, {Station: "b", StationTitle: "B", Text: "z: 1 left, low", Low: true}}
	said := pane{View: &round.View{Stock: two, Link: round.Link{Live: true}}}.LowStock()
	if want := []string{"Low at A: x: 1 left, low; y: 0 left, low.", "Low at B: z: 1 left, low."}; !slices.Equal(said, want) {
		t.Errorf("of two stations it says %q", said)
	}
	if said := (pane{View: &round.View{}}).LowStock(); len(said) > 0 {
		t.Errorf("of nothing it says %q", said)
	}
}

func TestStockAt_SaysWhatThereIsOfWhatIsToppedUpThere(t *testing.T) {
	live, cut := baseView(t), baseView(t)
	cut.Link = round.Link{}
	for _, tc := range []struct {
		why, step, want string
		view            *round.View
	}{
		{"live", "FLU-030/bonnet", "At the station coolant mix: 20 l left. Write the unit as l or ml.", live},
		{"cut off", "FLU-030/bonnet", "At the station coolant mix: 20 l left, as told " + pane{View: cut}.At(cut.StockTold) + ". Write the unit as l or ml.", cut},
		{"nobody keeps account of it", "TYR-010/axle-1-nearside", "", live},
	} {
		if got := (pane{View: tc.view}).StockAt(tc.step); got != tc.want {
			t.Errorf("%s: %q, want %q", tc.why, got, tc.want)
		}
	}
}
