package catalogue

import (
	"bytes"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

func TestDefaults_FilesComeSortedAndFresh(t *testing.T) {
	first, second := Defaults(), Defaults()
	if !slices.IsSortedFunc(first, func(a, b File) int { return strings.Compare(a.Name, b.Name) }) {
		t.Error("the files are not sorted by name")
	}
	first[0].Content[0] ^= 0xff
	if bytes.Equal(first[0].Content, second[0].Content) {
		t.Error("changing one caller's copy changes another's")
	}
}

func TestDefaults_StopsAreTheWalkOfTheReference(t *testing.T) {
	want := []string{ // station_no 0 to 20 of item-catalogue.csv
		"before-you-start", "cab-off", "engine-cold", "front", "nearside", "rear-axle-nearside", "rear", "rear-axle-offside", "offside",
		"roof-and-underneath", "cab-ignition-on", "lamp-round", "engine-running", "yard-roll", "pump", "aerial", "rescue-and-lighting",
		"patient-compartment", "trailer", "high-voltage", "close-down",
	}
	loaded := defaults(t)
	for i, stop := range loaded.Catalogue.GetStops() {
		if int(stop.GetOrder()) != i || stop.GetId() != want[i] {
			t.Errorf("stop %d is %s with order %d, want %s", i, stop.GetId(), stop.GetOrder(), want[i])
		}
	}
	items := byID(loaded.Catalogue)
	for _, row := range table(t, "item-catalogue.csv") {
		n := slices.Index([]string{"0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12", "13", "14", "15", "16", "17", "18", "19", "20"}, row["station_no"])
		if got := items[row["item_id"]].GetStop(); got != want[n] {
			t.Errorf("%s stands at %s, want %s", row["item_id"], got, want[n])
		}
	}
}

func TestDefaults_AnchorsAreWordsOfTheVocabulary(t *testing.T) {
	var stops []byte
	for _, f := range Defaults() {
		if f.Name == "catalogue/stops.yaml" {
			stops = f.Content
		}
	}
	_, list, found := bytes.Cut(stops, []byte("Words of `anchor`"))
	list, _, ended := bytes.Cut(list, []byte("Words of `lamps_lit`"))
	if !found || !ended {
		t.Fatal("stops.yaml does not list the words of anchor")
	}
	known := map[string]bool{}
	for _, line := range bytes.Split(list, []byte("\n")) {
		if rest, ok := bytes.CutPrefix(line, []byte("#   ")); ok {
			for word := range strings.SplitSeq(string(rest), ", ") {
				known[word] = false
			}
		}
	}
	for _, item := range defaults(t).Catalogue.GetItems() {
		anchor := item.GetAnchor()
		once := item.GetRepeatOver() == pb.RepeatOver_REPEAT_OVER_ONCE && item.GetFluid() == pb.FluidKind_FLUID_KIND_UNSPECIFIED
		if (anchor != "") != once {
			t.Errorf("%s: anchor is %q, but an anchor belongs to what is not repeated and has no fluid", item.GetId(), anchor)
		}
		if _, ok := known[anchor]; !ok && anchor != "" {
			t.Errorf("%s: anchor %q is not in the list of stops.yaml", item.GetId(), anchor)
		}
		known[anchor] = true
	}
	for word, used := range known {
		if !used {
			t.Errorf("stops.yaml lists the anchor %q, which no item uses", word)
		}
	}
}

func TestDefaults_SidesFollowTheTitle(t *testing.T) {
	for _, item := range defaults(t).Catalogue.GetItems() {
		want := pb.Side_SIDE_UNSPECIFIED
		switch {
		case strings.HasSuffix(item.GetTitle(), ", nearside"):
			want = pb.Side_SIDE_NEARSIDE
		case strings.HasSuffix(item.GetTitle(), ", offside"):
			want = pb.Side_SIDE_OFFSIDE
		}
		if item.GetSide() != want {
			t.Errorf("%s %q has side %s, want %s", item.GetId(), item.GetTitle(), item.GetSide(), want)
		}
		if regexp.MustCompile(`(?i),\s*(left|right)$`).MatchString(item.GetTitle()) {
			t.Errorf("%s %q says left or right, want nearside or offside", item.GetId(), item.GetTitle())
		}
	}
}

func TestDefaults_ColdReadingsWait(t *testing.T) {
	want := map[string]time.Duration{}
	for _, id := range []string{"FLU-010", "FLU-020"} {
		want[id] = 15 * time.Minute // job-map A4 "maker's time for oil, typically 10 to 15 min": from memory
	}
	for _, id := range []string{"FLU-030", "FLU-040", "FLU-050", "FLU-060", "FLU-070", "FLU-130", "FLU-140", "FLU-170", "HVE-080"} {
		want[id] = time.Hour // item-catalogue.csv PRE-020: 60 min for fluids
	}
	for _, id := range []string{"TYR-010", "TYR-011", "TYR-110", "TYR-111", "TYR-120", "TYR-121"} {
		want[id] = 3 * time.Hour // item-catalogue.csv PRE-020: 180 min for tyre pressure
	}
	for _, item := range defaults(t).Catalogue.GetItems() {
		if got := item.GetColdAfter().AsDuration(); got != want[item.GetId()] {
			t.Errorf("%s is cold after %v, want %v", item.GetId(), got, want[item.GetId()])
		}
	}
}

func TestDefaults_RangesHoldWhatHappens(t *testing.T) {
	items := byID(defaults(t).Catalogue)
	for _, tc := range []struct {
		what, item, part string
		value            float64
		unit             string
		plausible        bool
		possible         bool
	}{
		{"a flat tyre", "TYR-010", "pressure", 0, "bar", false, true},
		{"a heavy vehicle's placard (scenario, WN13)", "TYR-010", "pressure", 9, "bar", true, true},
		{"a light vehicle's placard (scenario, T2)", "TRL-050", "pressure", 2.5, "bar", true, true},
		{"psi read as bar", "TYR-110", "pressure", 120, "bar", false, false},
		{"the legal limit (SI 1986/1078 reg. 27)", "TYR-030", "tread", 1, "mm", true, true},
		{"a slipped decimal point", "TYR-030", "tread", 80, "mm", false, false},
		{"a full 24 V battery (S75: 25.4 V)", "ELE-010", "rest_voltage", 25.4, "V", true, true},
		{"a dead battery", "ELE-010", "rest_voltage", 4, "V", false, true},
		{"plain water in the radiator", "FLU-040", "protects_to", 0, "degC", false, true},
		{"a usual coolant fill", "FLU-040", "protects_to", -37, "degC", true, true},
		{"parked over a weekend", "PRE-020", "stood", 60, "h", true, true},
		{"a reserve that stood a month", "PRE-020", "stood", 30, "d", false, true},
		{"air loss at the limit (S15: 2 psi/min)", "BRA-120", "loss", 2, "psi/min", true, true},
		{"the build-up limit (S15: 45 s)", "BRA-100", "build_up_time", 45, "s", true, true},
		{"the warning at its limit (S15: 60 psi)", "BRA-140", "pressure", 60, "psi", true, true},
		{"a warning that never came", "BRA-140", "pressure", 0, "bar", false, true},
		{"a good dry vacuum", "PMP-040", "vacuum", 0.8, "bar", true, true},
		{"a vacuum beyond empty", "PMP-040", "vacuum", 1.2, "bar", false, false},
		{"a full oxygen cylinder", "AMB-030", "main", 200, "bar", true, true},
		{"an empty oxygen cylinder", "AMB-030", "portable", 0, "bar", false, true},
		{"more than a full tank", "FLU-110", "share", 110, "%", false, false},
		{"a test three days overdue", "PAP-010", "days_left", -3, "d", true, true},
	} {
		t.Run(tc.what, func(t *testing.T) {
			item := items[tc.item]
			at := slices.IndexFunc(item.GetParts(), func(p *pb.ReadingPart) bool { return p.GetId() == tc.part })
			if at < 0 {
				t.Fatalf("%s has no part %s", tc.item, tc.part)
			}
			part := item.GetParts()[at]
			value, err := measure.Convert(tc.value, tc.unit, UnitOf(part.GetQuantity()))
			if err != nil {
				t.Fatal(err)
			}
			within := func(r *pb.Range) bool { return r.GetLeast() <= value && value <= r.GetGreatest() }
			if got := within(part.GetPlausible()); got != tc.plausible {
				t.Errorf("%v %s: plausible %v, want %v", tc.value, tc.unit, got, tc.plausible)
			}
			if got := within(part.GetPossible()); got != tc.possible {
				t.Errorf("%v %s: possible %v, want %v", tc.value, tc.unit, got, tc.possible)
			}
		})
	}
}

func TestDefaults_RoutinesSelectWhatTheReferenceMakesDue(t *testing.T) {
	loaded := defaults(t)
	items := byID(loaded.Catalogue)
	want := map[string]int{} // items of item-catalogue.csv with these words in when_due
	for _, row := range table(t, "item-catalogue.csv") {
		due := strings.Split(row["when_due"], "|")
		for routine, words := range map[string][]string{
			"routines/shift": {"shift"}, "routines/weekly": {"weekly"}, "routines/monthly": {"monthly", "workshop"},
			"routines/after-repair":     {"after_repair", "after_repair_brake_steer_wheel", "after_change"},
			"routines/after-incident":   {"after_incident", "after_collision", "after_run"},
			"routines/reserve-takeover": {"reserve_takeover", "shift"},
			"routines/winter":           {"before_winter", "weekly in winter", "shift in frost"},
			"routines/before-tow":       {"before_tow"},
		} {
			if slices.ContainsFunc(words, func(w string) bool { return slices.Contains(due, w) }) {
				want[routine]++
			}
		}
	}
	want["routines/before-tow"] += 5 // PRE-010, PRE-030, PRE-090, PAP-060 and BDY-020 by id: the service's own
	want["routines/weekly"] += len(addedItems)
	want["routines/after-repair"]--     // WHL-200 has a routine of its own,
	want["routines/re-torque"] += 1 + 1 // with PRE-030 by id
	for _, routine := range loaded.Routines {
		got := 0
		for _, item := range items {
			if slices.Contains(routine.GetItems(), item.GetId()) || slices.ContainsFunc(item.GetTriggers(), func(tr pb.Trigger) bool { return slices.Contains(routine.GetTriggers(), tr) }) {
				got++
			}
		}
		if got != want[routine.GetName()] {
			t.Errorf("%s selects %d items, want %d", routine.GetName(), got, want[routine.GetName()])
		}
		delete(want, routine.GetName())
	}
	for name := range want {
		t.Errorf("%s is missing", name)
	}
}

func TestUnitOf_EveryQuantityHasAUnitThatMeasureKnows(t *testing.T) {
	for number, name := range pb.Quantity_name {
		unit := UnitOf(pb.Quantity(number))
		if number == 0 {
			if unit != "" {
				t.Errorf("an unspecified quantity has the unit %q", unit)
			}
			continue
		}
		if got, err := measure.Convert(1, unit, unit); err != nil || math.Abs(got-1) > 0 {
			t.Errorf("%s is kept in %q: %v, %v", name, unit, got, err)
		}
	}
}
