package screen

import (
	"strings"
	"testing"
	"time"

	"bayround/internal/round"
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
	if said := (pane{View: &round.View{}}).LowStock(); said != "" {
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
