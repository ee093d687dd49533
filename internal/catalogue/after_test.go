package catalogue

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"

	pb "bayround/proto/bayround/v1"
)

// later lets the items of soundCatalogue come after others, first to last.
func later(fluid, lamp, tyre string) []string {
	var pairs []string
	for _, item := range [][2]string{{"    - id: FLU-010\n", fluid}, {"    - id: LMP-010\n", lamp}, {"    - id: TYR-010\n", tyre}} {
		pairs = append(pairs, item[0], item[0]+"      after: ["+item[1]+"]\n")
	}
	return pairs
}

func TestLoad_TakesWhatComesAfter(t *testing.T) {
	loaded, err := Load([]File{{Name: "f.yaml", Content: []byte(changed(t, soundCatalogue, later("TYR-010, LMP-010", "TYR-010", "")...))}})
	if err != nil {
		t.Fatal(err)
	}
	if got := loaded.Catalogue.GetItems()[0].GetAfter(); !slices.Equal(got, []string{"TYR-010", "LMP-010"}) {
		t.Errorf("FLU-010 comes after %v, want TYR-010 and LMP-010", got)
	}
}

func TestLoad_ChecksWhatComesAfter(t *testing.T) {
	running := []string{"state: {engine: ENGINE_STATE_OFF}\n      position: POSITION_OUTSIDE\n      fits_any: [powered]\n      repeat_over: REPEAT_OVER_ALL", "state: {engine: ENGINE_STATE_RUNNING}\n      position: POSITION_OUTSIDE\n      fits_any: [powered]\n      repeat_over: REPEAT_OVER_ALL"}
	for _, tc := range []struct {
		name    string
		changes []string
		want    []string
	}{
		{"an unknown one", later("", "TYR-010, FLU-011", ""), []string{
			`f.yaml:31:24: LMP-010 comes after "FLU-011", which the catalogue does not have; did you mean FLU-010?`,
		}},
		{"no id", later("", "oil", ""), []string{
			`f.yaml:31:15: after is "oil"; write the id of an item, such as FLU-010`,
			`f.yaml:31:15: LMP-010 comes after "oil", which the catalogue does not have; there is FLU-010, LMP-010, TYR-010`,
		}},
		{"one twice", later("", "TYR-010, TYR-010", ""), []string{
			`f.yaml:31:7: an entry of after is given twice; keep one of them`,
		}},
		{"itself", later("", "LMP-010", ""), []string{
			`f.yaml:31:15: items wait for each other: LMP-010 comes after LMP-010; take one of these away`,
		}},
		{"a ring", later("LMP-010", "TYR-010", "FLU-010"), []string{
			`f.yaml:53:15: items wait for each other: FLU-010 comes after LMP-010 comes after TYR-010 comes after FLU-010; take one of these away`,
		}},
		{"a ring that is entered from outside", later("LMP-010", "TYR-010", "LMP-010"), []string{
			`f.yaml:53:15: items wait for each other: LMP-010 comes after TYR-010 comes after LMP-010; take one of these away`,
		}},
		{"cold after running", append(later("TYR-010", "", ""), running...), []string{
			`f.yaml:12:15: FLU-010 needs the engine cold and comes after TYR-010, which waits until it is running; take it away, or change the engine state of one of them`,
		}},
		{"cold after what comes after running", append(later("LMP-010", "TYR-010", ""), running...), []string{
			`f.yaml:12:15: FLU-010 needs the engine cold and comes after LMP-010, which waits until it is running; take it away, or change the engine state of one of them`,
		}},
		{"put back nowhere", stays("FLU-012"), []string{
			`f.yaml:30:20: what LMP-010 leaves undone cannot be put back at "FLU-012", which is no other item; did you mean FLU-010?`,
		}},
		{"put back at itself", stays("LMP-010"), []string{
			`f.yaml:30:20: what LMP-010 leaves undone cannot be put back at "LMP-010", which is no other item; did you mean FLU-010?`,
		}},
		{"put back at no id", stays("lamps"), []string{
			`f.yaml:30:20: stays_until is "lamps"; write the id of an item, such as FLU-010`,
			`f.yaml:30:20: what LMP-010 leaves undone cannot be put back at "lamps", which is no other item; there is FLU-010, TYR-010`,
		}},
	} {
		t.Run(tc.name, func(t *testing.T) { refused(t, changed(t, soundCatalogue, tc.changes...), tc.want...) })
	}
}

// stays lets LMP-010 of soundCatalogue stay undone until another item.
func stays(until string) []string {
	return []string{"    - id: LMP-010\n", "    - id: LMP-010\n      stays_until: " + until + "\n"}
}

func TestLoad_MissesNoItemOfAnUnreadableFile(t *testing.T) {
	_, err := Load([]File{
		{Name: "a.yaml", Content: []byte(changed(t, soundCatalogue, later("", "FLU-011", "")...))},
		{Name: "b.yaml", Content: []byte("a: b: c")},
	})
	want := []string{`b.yaml:1:1: a colon stands where none can; put text that holds ": " in quotes, and indent the line like its neighbours`}
	if diff := gocmp.Diff(want, lines(t, err)); diff != "" {
		t.Errorf("problems (-want +got):\n%s", diff)
	}
}

// stretches are the stretches of a round, in which neither engine nor ignition is
// touched, that an item can be done in: 1 all off, 2 ignition on, 3 the start,
// 4 running, 5 warm, 6 stopped with the ignition on, 7 all off again, 8 closing.
func stretches(item *pb.Item) []int {
	switch state := item.GetState(); state.GetEngine() {
	case pb.EngineState_ENGINE_STATE_COLD:
		if state.GetIgnitionOn() {
			return []int{2}
		}
		return []int{1}
	case pb.EngineState_ENGINE_STATE_COLD_START:
		return []int{3}
	case pb.EngineState_ENGINE_STATE_RUNNING:
		return []int{4}
	case pb.EngineState_ENGINE_STATE_RUNNING_WARM:
		return []int{5}
	default:
		switch {
		case state.GetIgnitionOn() && item.GetStop() == "engine-running":
			return []int{6}
		case state.GetIgnitionOn():
			return []int{2, 6}
		case item.GetStop() == "close-down":
			return []int{8}
		}
		return []int{1, 7}
	}
}

// due is a choice of items, and what each comes after among them.
type due struct {
	items map[string]*pb.Item
	after map[string][]string
}

// dueOf gives the default items that a routine selects, or all for an empty name.
func dueOf(t *testing.T, routine string) due {
	t.Helper()
	loaded := defaults(t)
	d := due{items: map[string]*pb.Item{}, after: map[string][]string{}}
	for _, item := range loaded.Catalogue.GetItems() {
		selected := routine == "" || slices.ContainsFunc(loaded.Routines, func(r *pb.Routine) bool {
			return r.GetName() == routine && (slices.Contains(r.GetItems(), item.GetId()) ||
				slices.ContainsFunc(item.GetTriggers(), func(tr pb.Trigger) bool { return slices.Contains(r.GetTriggers(), tr) }))
		})
		if selected {
			d.items[item.GetId()] = item
		}
	}
	for id, item := range d.items {
		for _, before := range item.GetAfter() {
			if d.items[before] != nil {
				d.after[id] = append(d.after[id], before)
			}
		}
	}
	return d
}

// stretches gives every item the first stretch it can be done in when each
// stretch is entered once.
func (d due) stretches(t *testing.T) map[string]int {
	t.Helper()
	found := map[string]int{}
	var visit func(id string) int
	visit = func(id string) int {
		if s, known := found[id]; known {
			return s
		}
		earliest := 1
		for _, before := range d.after[id] {
			earliest = max(earliest, visit(before))
		}
		possible := stretches(d.items[id])
		at := slices.IndexFunc(possible, func(s int) bool { return s >= earliest })
		if at < 0 {
			t.Errorf("%s can be done in none of the stretches %v: what it comes after reaches into stretch %d", id, possible, earliest)
			found[id] = earliest
			return earliest
		}
		found[id] = possible[at]
		return found[id]
	}
	for id := range d.items {
		visit(id)
	}
	return found
}

// A stop is left once it is begun, in each stretch, and so is a lamp setting. What
// comes after what must be free of rings for whole stops too, or no round could
// keep it: for every routine, and for all items at once.
func TestDefaults_OrderCanBeKeptStopByStop(t *testing.T) {
	routines := []string{""}
	for _, r := range defaults(t).Routines {
		routines = append(routines, r.GetName())
	}
	for _, routine := range routines {
		t.Run(cmp.Or(routine, "all"), func(t *testing.T) { keepsStops(t, dueOf(t, routine)) })
	}
}

func keepsStops(t *testing.T, d due) {
	t.Helper()
	stretch := d.stretches(t)
	group := func(id string) string {
		state := d.items[id].GetState()
		return fmt.Sprint(stretch[id], " ", d.items[id].GetStop(), " ", state.GetAssistant(), " ", strings.Join(state.GetLampsLit(), " "))
	}
	before := map[string]map[string]string{}
	for id, list := range d.after {
		for _, first := range list {
			if from, to := group(first), group(id); from != to {
				if before[to] == nil {
					before[to] = map[string]string{}
				}
				before[to][from] = first + " before " + id
			}
		}
	}
	seen := map[string]int8{}
	var way []string
	var visit func(g string)
	visit = func(g string) {
		seen[g] = open
		for from, why := range before[g] {
			way = append(way, why)
			switch seen[from] {
			case open:
				t.Errorf("stops wait for each other: %s", strings.Join(way, "; "))
			case unseen:
				visit(from)
			}
			way = way[:len(way)-1]
		}
		seen[g] = done
	}
	for g := range before {
		if seen[g] == unseen {
			visit(g)
		}
	}
}

// What must come before what, held to the places where it was published; and the
// stretch of the round that a test must fall into.
func TestDefaults_OrderIsThatOfTheSources(t *testing.T) {
	items := byID(defaults(t).Catalogue)
	const (
		manual = "US commercial driver's manual, 5.3 step 7, final air-brake check"
		wa     = "Road Traffic (Vehicles) Regulations 2014 (WA), reg. 334(1)(d): the spring brake must not act before the warning"
		niosh  = "NIOSH F2010-37: crushed when the engine was cranked in gear, wheels not blocked"
		cfr    = "49 CFR 396.13: the last report is read before driving"
		hsg    = "HSE HSG187: exhaust led out"
	)
	for _, tc := range []struct{ source, first, then string }{
		{manual, "BRA-110", "BRA-120"},
		{manual, "BRA-120", "BRA-130"},
		{manual, "BRA-130", "BRA-140"},
		{wa, "BRA-140", "BRA-150"},
		{niosh, "PRE-030", "ENG-110"},
		{niosh, "CAB-090", "ENG-110"},
		{niosh, "PRE-030", "BRA-120"},
		{cfr, "PRE-080", "PRE-090"},
		{hsg, "PRE-040", "ENG-110"},
		{"common practice: air found, before any is let out", "BRA-040", "BRA-020"},
		{"common practice: rags and tools are counted last", "FLU-010", "ENG-040"},
		{"common practice: cab locked before the start", "CAB-120", "ENG-110"},
		{"common practice: outriggers before the boom", "AER-020", "AER-080"},
		{"common practice: the interlock before the full movement", "AER-030", "AER-080"},
		{"common practice: the drive before the pump", "PMP-020", "PMP-030"},
		{"common practice: coupled before the trailer's brake", "TRL-010", "TRL-070"},
		{"common practice: the floor before it is moved", "PRE-060", "BRK-010"},
	} {
		if !slices.Contains(items[tc.then].GetAfter(), tc.first) {
			t.Errorf("%s does not come after %s: %s", tc.then, tc.first, tc.source)
		}
	}
	stretch := dueOf(t, "").stretches(t)
	for id, want := range map[string]int{"BRA-020": 7, "BRA-030": 1, "AER-060": 6, "CAB-120": 1, "AER-010": 1, "HVE-130": 1} {
		if stretch[id] != want {
			t.Errorf("%s falls into stretch %d, want %d", id, stretch[id], want)
		}
	}
}

// Chocks before anyone kneels, leans in, or stands where a vehicle that moves
// would strike (NIOSH F2010-37); the assistant is named before the first is needed.
func TestDefaults_PrecautionsComeFirst(t *testing.T) {
	items := defaults(t).Catalogue.GetItems()
	kneeling := 0
	for _, item := range items {
		low := item.GetPosition() == pb.Position_POSITION_OUTSIDE_KNEELING || item.GetPosition() == pb.Position_POSITION_ENGINE_FLAP ||
			item.GetPosition() == pb.Position_POSITION_OUTSIDE && item.GetStop() != "close-down" && item.GetStop() != "before-you-start" && slices.Contains([]string{"front", "rear", "underneath"}, item.GetAnchor())
		if low {
			kneeling++
			if !slices.Contains(item.GetAfter(), "PRE-030") && item.GetId() != "TRL-100" { // a plate is read from the side
				t.Errorf("%s is done kneeling, at the flap, in front or behind, and does not come after PRE-030", item.GetId())
			}
		}
		if item.GetState().GetAssistant() && !slices.Contains(item.GetAfter(), "PRE-070") {
			t.Errorf("%s needs the assistant and does not come after PRE-070", item.GetId())
		}
		running := item.GetState().GetEngine() > pb.EngineState_ENGINE_STATE_OFF
		if running && !slices.Contains(item.GetAfter(), "PRE-040") {
			t.Errorf("%s needs the engine running and does not come after PRE-040", item.GetId())
		}
		if item.GetStop() == "before-you-start" && item.GetId() != "PRE-010" && !slices.Contains(item.GetAfter(), "PRE-010") {
			t.Errorf("%s does not come after PRE-010", item.GetId())
		}
	}
	if kneeling < 50 {
		t.Errorf("only %d items are done kneeling, at the flap, in front or behind", kneeling)
	}
}
