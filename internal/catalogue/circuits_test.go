package catalogue

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	pb "bayround/proto/bayround/v1"
)

// walked is soundCatalogue with walk times, and with circuits that its lamp needs.
// Its circuits begin in line 71.
const walked = soundCatalogue + `  circuits:
    - {id: brake, title: stop, not_with: [side], held: true, source: us}
    - {id: side, title: side, source: us}
  walk_times:
` + handlings

const handlings = `    speed_m_per_s: 1
    speed_source: us
    clearance_m: 0.6
    clearance_source: us
    reach_m: 0.8
    reach_source: us
    climb_in: {seconds: 6, source: us}
    climb_out: {seconds: 5, source: us}
    change_seat: {seconds: 4, source: us}
    roof_up: {seconds: 15, source: us}
    roof_down: {seconds: 15, source: us}
    kneel: {seconds: 4, source: us}
    flap_open: {seconds: 12, source: us}
    flap_close: {seconds: 8, source: us}
    ignition: {seconds: 2, source: us}
    engine_start: {seconds: 8, source: us}
    engine_stop: {seconds: 3, source: us}
    circuit: {seconds: 3, source: us}
    new_stop: {seconds: 3, source: us}
`

// lit wants a circuit lit for the lamps of soundCatalogue.
func lit(word string) []string {
	return []string{
		"state: {engine: ENGINE_STATE_OFF}\n      position: POSITION_OUTSIDE\n      fits_any: [powered]\n      repeat_over: REPEAT_OVER_LAMPS",
		"state: {engine: ENGINE_STATE_OFF, lamps_lit: [" + word + "]}\n      position: POSITION_OUTSIDE\n      fits_any: [powered]\n      repeat_over: REPEAT_OVER_LAMPS",
	}
}

func TestLoad_TakesWalkTimesAndCircuits(t *testing.T) {
	loaded, err := Load([]File{{Name: "f.yaml", Content: []byte(changed(t, walked, lit("brake")...))}})
	if err != nil {
		t.Fatal(err)
	}
	want := []*pb.Circuit{{Id: "brake", Title: "stop", NotWith: []string{"side"}, Held: true, Source: "us"}, {Id: "side", Title: "side", Source: "us"}}
	if diff := cmp.Diff(want, loaded.Catalogue.GetCircuits(), protocmp.Transform()); diff != "" {
		t.Errorf("circuits (-want +got):\n%s", diff)
	}
	if got := loaded.Catalogue.GetWalkTimes().GetNewStop(); got.GetSeconds() < 3 || got.GetSource() != "us" {
		t.Errorf("a new stop takes %v, want 3 s, says us", got)
	}
}

// A catalogue of a service that says nothing of circuits may call them as it likes.
func TestLoad_AsksForNoCircuitWhereNoneIsGiven(t *testing.T) {
	refused(t, changed(t, soundCatalogue, lit("headlights")...))
}

func TestLoad_ChecksCircuits(t *testing.T) {
	for _, tc := range []struct {
		name    string
		changes []string
		want    []string
	}{
		{"circuit twice", []string{"id: side, title: side", "id: brake, title: side", "[side]", "[brak]"}, []string{
			`f.yaml:71:43: circuit brake cannot be judged together with "brak", which is no circuit; did you mean brake?`,
			`f.yaml:72:7: circuit brake is given twice, first at f.yaml:71; keep one of them, or give one another name`,
		}},
		{"not with an unknown one", []string{"[side]", "[sidde]"}, []string{
			`f.yaml:71:43: circuit brake cannot be judged together with "sidde", which is no circuit; did you mean side?`,
		}},
		{"not with itself", []string{"[side]", "[side, brake]"}, []string{
			`f.yaml:71:49: circuit brake cannot be judged together with itself; take it away, or name another circuit`,
		}},
		{"lamps without a circuit", lit("side, brak"), []string{
			`f.yaml:42:59: LMP-010 wants the circuit "brak" lit, which the catalogue does not have; did you mean brake?`,
		}},
		{"no name for a circuit", []string{"id: brake", "id: Brake"}, []string{
			`f.yaml:71:12: id is "Brake"; write small letters and digits with single hyphens, such as engine-flap`,
		}},
		{"no source", []string{"held: true, source: us", "held: true"}, []string{
			`f.yaml:71:7: source is missing; give it`,
		}},
		{"no time for a thing", []string{"    kneel: {seconds: 4, source: us}\n", ""}, []string{
			`f.yaml:73:3: kneel is missing; give its fields, such as seconds or source`,
		}},
		{"faster than anybody", []string{"speed_m_per_s: 1\n", "speed_m_per_s: 4\n"}, []string{
			`f.yaml:74:20: speed_m_per_s is 4; it must be greater than or equal to 0.3 and less than or equal to 3`,
		}},
	} {
		t.Run(tc.name, func(t *testing.T) { refused(t, changed(t, walked, tc.changes...), tc.want...) })
	}
}

func TestLoad_PutsWalkTimesAndCircuitsTogether(t *testing.T) {
	head, side, _ := strings.Cut(walked, "    - {id: side")
	side, times, _ := strings.Cut("    - {id: side"+side, "  walk_times:\n")
	begin := "catalogue:\n  version: \"1\"\n"
	whole, err := Load([]File{{Name: "f.yaml", Content: []byte(walked)}})
	if err != nil {
		t.Fatal(err)
	}
	parts, err := Load([]File{ // side comes first here, and its circuit still second
		{Name: "a.yaml", Content: []byte(begin + "  circuits:\n" + side)},
		{Name: "b.yaml", Content: []byte(begin + "  walk_times:\n" + times)},
		{Name: "c.yaml", Content: []byte(head)},
	})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(whole.Catalogue, parts.Catalogue, protocmp.Transform()); diff != "" {
		t.Errorf("one file and three (-one +three):\n%s", diff)
	}
	if file, line, column := parts.Place("catalogue", "circuits[1].id"); file != "a.yaml" || line != 4 || column != 12 {
		t.Errorf("the circuit side stands at %s:%d:%d, want a.yaml:4:12", file, line, column)
	}
	if file, line, column := parts.Place("catalogue", "walk_times.kneel"); file != "b.yaml" || line != 15 || column != 5 {
		t.Errorf("kneeling stands at %s:%d:%d, want b.yaml:15:5", file, line, column)
	}
}

func TestLoad_RefusesWalkTimesTwice(t *testing.T) {
	_, err := Load([]File{
		{Name: "a.yaml", Content: []byte(walked)},
		{Name: "b.yaml", Content: []byte("catalogue:\n  version: \"1\"\n  walk_times:\n" + handlings)},
	})
	want := []string{`b.yaml:3:3: walk_times are given twice, first at a.yaml:73; keep one of them: they belong together`}
	if diff := cmp.Diff(want, lines(t, err)); diff != "" {
		t.Errorf("problems (-want +got):\n%s", diff)
	}
}

// Where a file could not be read, its circuits are not missed.
func TestLoad_MissesNoCircuitOfAnUnreadableFile(t *testing.T) {
	_, err := Load([]File{
		{Name: "a.yaml", Content: []byte(changed(t, walked, append(lit("fog"), "[side]", "[fog]")...))},
		{Name: "b.yaml", Content: []byte("a: b: c")},
	})
	want := []string{`b.yaml:1:1: a colon stands where none can; put text that holds ": " in quotes, and indent the line like its neighbours`}
	if diff := cmp.Diff(want, lines(t, err)); diff != "" {
		t.Errorf("problems (-want +got):\n%s", diff)
	}
}

// The circuits that come with Bayround are the words which the first page of the
// catalogue lists for lamps_lit, and every one is called by some item.
func TestDefaults_CircuitsAreTheWordsOfLampsLit(t *testing.T) {
	used := map[string]bool{}
	loaded := defaults(t)
	for _, item := range loaded.Catalogue.GetItems() {
		for _, word := range item.GetState().GetLampsLit() {
			used[word] = true
		}
	}
	listed := strings.Split("all, amber, blue, brake, dipped, fog, hazard, indicators, interior, main, reverse, scene, side", ", ")
	var ids []string
	for _, circuit := range loaded.Catalogue.GetCircuits() {
		ids = append(ids, circuit.GetId())
		if !used[circuit.GetId()] {
			t.Errorf("no item wants the circuit %s lit", circuit.GetId())
		}
	}
	if !slices.Equal(ids, listed) {
		t.Errorf("circuits %v, want %v", ids, listed)
	}
}

// What must never be judged together, whatever else is said of the circuits.
func TestDefaults_CircuitsThatHideEachOtherAreApart(t *testing.T) {
	apart := map[[2]string]bool{}
	held := map[string]bool{}
	for _, circuit := range defaults(t).Catalogue.GetCircuits() {
		held[circuit.GetId()] = circuit.GetHeld()
		for _, other := range circuit.GetNotWith() {
			apart[[2]string{circuit.GetId(), other}], apart[[2]string{other, circuit.GetId()}] = true, true
		}
	}
	for _, tc := range []struct{ why, one, other string }{
		{"the same lamps (Regulation UN R48, 6.6: hazard works all direction indicators; from memory)", "hazard", "indicators"},
		{"one housing, often one bulb with two filaments (common practice)", "side", "brake"},
		{"the edge of the dipped beam is what is judged (Directive 2014/45/EU annex, 4.1.2, judges the aim; common practice)", "dipped", "main"},
	} {
		if !apart[[2]string{tc.one, tc.other}] {
			t.Errorf("%s and %s may be judged together: %s", tc.one, tc.other, tc.why)
		}
	}
	for _, id := range []string{"brake", "reverse"} { // a pedal, a pedal and a lever
		if !held[id] {
			t.Errorf("nobody is said to hold %s", id)
		}
	}
	if held["side"] {
		t.Error("somebody is said to hold the side lamps on: they have a switch")
	}
}
