package plan_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"bayround/internal/plan"
	pb "bayround/proto/bayround/v1"

	"github.com/google/go-cmp/cmp"
)

// TestBuild_Titles: readable, and what item and place both say stands once.
func TestBuild_Titles(t *testing.T) {
	for _, tc := range []struct {
		item   string
		places []string
		want   []string
	}{
		{"Mirror, nearside", []string{"mirror, nearside"}, []string{"Mirror, nearside"}},
		{"Mirror, nearside", []string{"mirror, nearside", "kerb mirror"}, []string{"Mirror, nearside", "Mirror, nearside, kerb"}},
		{"Mirror, nearside", []string{"wide glass"}, []string{"Mirror, nearside, wide glass"}},
		{"Rear fog lamp", []string{"rear fog lamp"}, []string{"Rear fog lamp"}},
		{"Rear fog lamp", []string{"rear fog lamp 1", "rear fog lamp 2"}, []string{"Rear fog lamp, no. 1", "Rear fog lamp, no. 2"}},
		{"Rear fog lamp", []string{"rear fog lamp 2"}, []string{"Rear fog lamp, no. 2"}},
		{"Stop lamp", []string{"stop lamp, offside", "upper stop lamp, offside"}, []string{"Stop lamp, offside", "Stop lamp, upper, offside"}},
		{"Dipped headlamp", []string{"dipped beam, nearside", "dipped beam, offside"}, []string{"Dipped headlamp, nearside", "Dipped headlamp, offside"}},
		{"Side lamps and rear lamps", []string{"rear position lamp", "front position lamp"}, []string{"Side lamps and rear lamps, rear position", "Side lamps and rear lamps, front position"}},
		{"Rear tread depth, nearside", []string{"rear axle, nearside, outer", "rear axle, nearside, inner"}, []string{"Rear tread depth, nearside, outer", "Rear tread depth, nearside, inner"}},
		{"Rear tread depth, nearside", []string{"first rear axle, nearside", "second rear axle, nearside"}, []string{"Tread depth, first rear axle, nearside", "Tread depth, second rear axle, nearside"}},
		{"Rear outer tyre pressure, nearside", []string{"first rear axle, nearside, outer", "second rear axle, nearside"}, []string{"Outer tyre pressure, first rear axle, nearside", "Outer tyre pressure, second rear axle, nearside"}},
		{"Locker or shutter, nearside", []string{"locker 1, nearside", "pump bay shutter"}, []string{"Locker 1, nearside", "Pump bay shutter, nearside"}},
		{"Locker or shutter, nearside", []string{"box"}, []string{"Locker or shutter, nearside, box"}},
		{"Side marker, outline lamp or reflector", []string{"side marker 3", "rear reflector"}, []string{"Side marker 3", "Rear reflector"}},
		{"Cab door, step and handle", []string{"driver's door", "crew door"}, []string{"Cab door, step and handle, driver's", "Cab door, step and handle, crew"}},
		{"Side guard, steps", []string{"here"}, []string{"Side guard, steps, here"}},
		{"Charge at the start of the shift", []string{"the box at the start"}, []string{"Charge at the start of the shift"}},
	} {
		v := vehicle(pb.PowerTrain_POWER_TRAIN_DIESEL, axle(0, true, 1))
		for i, place := range tc.places {
			v.Fittings = append(v.Fittings, &pb.Fitting{
				Place: &pb.Place{Id: fmt.Sprint(i), Title: place, At: &pb.Point{}}, Kind: pb.FittingKind_FITTING_KIND_MIRROR, Side: pb.Side_SIDE_NEARSIDE,
			})
		}
		item := &pb.Item{Title: tc.item, RepeatOver: pb.RepeatOver_REPEAT_OVER_MIRRORS, Side: pb.Side_SIDE_NEARSIDE}
		var got []string
		for _, step := range one(v, item) {
			got = append(got, step.GetTitle())
		}
		if diff := cmp.Diff(tc.want, got); diff != "" {
			t.Errorf("%q at %q (-want +got):\n%s", tc.item, tc.places, diff)
		}
	}
}

// TestBuild_TitlesDoNotStutter: on the vehicles of the county no word of an item
// is said again by the place, but for those that tell things apart.
func TestBuild_TitlesDoNotStutter(t *testing.T) {
	loaded := plan.LoadCounty(t)
	titles := map[string]string{}
	for _, item := range loaded.Catalogue.GetItems() {
		titles[item.GetId()] = item.GetTitle()
	}
	apart := []string{"front", "rear", "nearside", "offside", "inner", "outer", "upper", "lower"}
	count := func(title string) map[string]int {
		words := map[string]int{}
		for _, w := range strings.FieldsFunc(strings.ToLower(title), func(r rune) bool { return r == ' ' || r == ',' }) {
			words[strings.TrimSuffix(w, "s")]++
		}
		return words
	}
	for _, v := range loaded.Vehicles {
		for _, s := range plan.Build(plan.Input{Vehicle: v, Catalogue: loaded.Catalogue, Routine: everything()}).GetSteps() {
			itemSays := count(titles[s.GetItem()])
			for word, n := range count(s.GetTitle()) {
				if n > max(1, itemSays[word]) && !slices.Contains(apart, word) {
					t.Errorf("%s, %s: %q says %q twice", v.GetCallSign(), s.GetStepId(), s.GetTitle(), word)
				}
			}
		}
	}
}
