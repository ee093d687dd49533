package catalogue

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"
)

// library is what would be in force after l on top of before, which may be nil.
func library(l *Loaded, before *Library) *Library {
	after := &Library{
		Catalogue: l.Catalogue,
		Routines:  map[string]*pb.Routine{}, Packs: map[string]*pb.RulePack{}, Stations: map[string]*pb.Station{},
		Vehicles: map[string]*pb.VehicleConfiguration{}, Gauges: map[string]*pb.Gauge{}, People: map[string]*pb.Person{},
	}
	if before != nil {
		if after.Catalogue == nil {
			after.Catalogue = before.Catalogue
		}
		maps.Copy(after.Routines, before.Routines)
		maps.Copy(after.Packs, before.Packs)
		maps.Copy(after.Stations, before.Stations)
	}
	put(after.Routines, l.Routines)
	put(after.Packs, l.RulePacks)
	put(after.Stations, l.Stations)
	put(after.Vehicles, l.Vehicles)
	put(after.Gauges, l.Gauges)
	put(after.People, l.People)
	return after
}

func put[T named](into map[string]T, list []T) {
	for _, resource := range list {
		into[resource.GetName()] = resource
	}
}

// soundVehicle is a small station with one vehicle that nothing is wrong with,
// beside soundCatalogue and soundPack.
const soundVehicle = `stations:
  - name: stations/quay
    title: Quay
    pressure_unit: bar
    tread_unit: mm
    time_zone: Europe/London
    turnout_goal_s: 80
    minimum_crew: 4
gauges:
  - name: gauges/g1
    title: G1
    station: stations/quay
    quantity: QUANTITY_PRESSURE
    range: {least: 0, greatest: 1200}
    resolution: 10
    max_permissible_error: 16
routines:
  - name: routines/shift
    title: shift check
    triggers: [TRIGGER_SHIFT]
    items: [TYR-010]
vehicles:
  - name: vehicles/wn11
    call_sign: WN11
    title: pump
    station: stations/quay
    category: VEHICLE_CATEGORY_N3
    gross_mass_kg: 18000
    dimensions: {length_m: 8, width_m: 2.5, height_m: 3.2, front_overhang_m: 1.4}
    power_train: POWER_TRAIN_DIESEL
    braking_system: BRAKING_SYSTEM_AIR
    driver_side: SIDE_OFFSIDE
    axles:
      - x_m: 0
        wheels_per_side: 1
        track_m: 2
        permitted_mass_kg: 7100
        tyre: {size: 295/80 R22.5, load_index_single: 154, load_index_twin: 149, speed_symbol: M, cold_pressure_kpa: 850}
        fixing: {count: 10}
      - x_m: -4.2
        wheels_per_side: 2
        track_m: 1.8
        permitted_mass_kg: 11500
        tyre: {size: 295/80 R22.5, load_index_single: 152, load_index_twin: 148, speed_symbol: M, cold_pressure_kpa: 800}
        fixing: {count: 10}
    seats:
      - {place: {id: seat-driver, title: driver, at: {x_m: 0.5}}, kind: SEAT_KIND_DRIVER}
    fittings:
      - {place: {id: tank-1, title: air tank 1, at: {x_m: -2}}, kind: FITTING_KIND_AIR_TANK}
    places:
      - {id: engine-flap, title: engine flap, at: {x_m: 1}}
    features: [pump, twin_rear]
    rule_packs: [packs/a]
    required_routines: [routines/shift]
`

// withPump lets one item fit the feature pump.
func withPump(t *testing.T) string {
	t.Helper()
	return changed(t, soundCatalogue, "fits_any: [powered]", "fits_any: [powered, pump]")
}

// checked loads and checks a vehicle file beside the sound catalogue and pack.
func checked(t *testing.T, content string) []string {
	t.Helper()
	loaded, err := Load([]File{
		{Name: "catalogue.yaml", Content: []byte(withPump(t))},
		{Name: "pack.yaml", Content: []byte(soundPack)},
		{Name: "v.yaml", Content: []byte(content)},
	})
	if err != nil {
		t.Fatalf("refused before the check:\n%v", err)
	}
	return lines(t, loaded.Check(library(loaded, nil)).asError())
}

func TestCheck_SoundVehicleIsTaken(t *testing.T) {
	if got := checked(t, soundVehicle); got != nil {
		t.Errorf("problems: %v", got)
	}
}

func TestCheck_Vehicles(t *testing.T) {
	for _, tc := range []struct {
		name    string
		changes []string
		want    []string
	}{
		{"station", []string{"title: pump\n    station: stations/quay", "title: pump\n    station: stations/quai"}, []string{
			`v.yaml:26:14: WN11 refers to "stations/quai", which does not exist; did you mean stations/quay?`,
		}},
		{"pack", []string{"[packs/a]", "[packs/a, packs/somewhere-else]"}, []string{
			`v.yaml:53:27: WN11 refers to "packs/somewhere-else", which does not exist; there is packs/a`,
		}},
		{"routine", []string{"[routines/shift]", "[routines/shfit]"}, []string{
			`v.yaml:54:25: WN11 refers to "routines/shfit", which does not exist; did you mean routines/shift?`,
		}},
		{"first axle", []string{"x_m: 0\n", "x_m: -1\n"}, []string{
			`v.yaml:34:14: axle 1 of WN11 lies at -1 m; the first axle lies at 0: everything is measured from it`,
		}},
		{"order of axles", []string{"x_m: -4.2", "x_m: 0"}, []string{
			`v.yaml:40:14: axle 2 of WN11 lies at 0 m, not behind axle 1 at 0 m; list the axles from front to rear; behind is negative`,
		}},
		// UN R54 Annex 4, load index 149: 3250 kg (tyre-load-index.csv).
		{"front tyres too weak", []string{"load_index_single: 154", "load_index_single: 149"}, []string{
			`v.yaml:38:55: axle 1 of WN11 may carry 7100 kg, but its 2 tyres of load index 149 carry 3250 kg each, 6500 kg together; read load index and axle mass again; tyres must carry what the axle may`,
		}},
		// UN R54 Annex 4, load index 143: 2725 kg; four of them 10900 kg.
		{"twin tyres too weak", []string{"load_index_twin: 148", "load_index_twin: 143"}, []string{
			`v.yaml:44:77: axle 2 of WN11 may carry 11500 kg, but its 4 tyres of load index 143 carry 2725 kg each, 10900 kg together; read load index and axle mass again; tyres must carry what the axle may`,
		}},
		{"no twin index", []string{", load_index_twin: 148", ""}, []string{
			`v.yaml:44:9: axle 2 of WN11 has twin wheels but its tyre has no load index for twins; add load_index_twin, the second number on the tyre`,
		}},
		{"axles carry less than the whole", []string{"gross_mass_kg: 18000", "gross_mass_kg: 18700"}, []string{
			`v.yaml:28:20: WN11 may weigh 18700 kg but its axles may carry only 18600 kg together; read both off the vehicle's plate`,
		}},
		{"no air tank", []string{"FITTING_KIND_AIR_TANK", "FITTING_KIND_WIPER"}, []string{
			`v.yaml:31:21: WN11 has air brakes and lists no air tank; list every tank under fittings with FITTING_KIND_AIR_TANK: each is drained by itself`,
		}},
		{"no driver's seat", []string{"SEAT_KIND_DRIVER", "SEAT_KIND_CREW"}, []string{
			`v.yaml:46:5: WN11 has no driver's seat; list it under seats with SEAT_KIND_DRIVER`,
		}},
		{"no side for the driver", []string{"    driver_side: SIDE_OFFSIDE\n", ""}, []string{
			`v.yaml:23:5: WN11 does not say on which side the driver sits; add driver_side, such as SIDE_OFFSIDE`,
		}},
		{"a lorry that nothing moves", []string{"POWER_TRAIN_DIESEL", "POWER_TRAIN_NONE"}, []string{
			`v.yaml:30:18: WN11 is of category VEHICLE_CATEGORY_N3 but has POWER_TRAIN_NONE; only a trailer (category O1 to O4) has POWER_TRAIN_NONE, and every trailer has it`,
		}},
		{"overrun brake unseen", []string{"POWER_TRAIN_DIESEL", "POWER_TRAIN_NONE", "CATEGORY_N3", "CATEGORY_O4", "BRAKING_SYSTEM_AIR", "BRAKING_SYSTEM_OVERRUN"}, []string{
			`v.yaml:31:21: WN11 has an overrun brake that nobody would be asked to check; add braked_trailer to features`,
		}},
		{"two places of one name", []string{"id: engine-flap", "id: tank-1"}, []string{
			`v.yaml:51:14: two places of WN11 are called tank-1, the first at v.yaml:49; give each place its own id`,
		}},
		{"unknown feature", []string{"[pump,", "[pupm,"}, []string{
			`v.yaml:52:16: WN11 has the feature "pupm", which no item of the catalogue fits; did you mean pump?`,
		}},
		{"feature that does not follow", []string{"[pump, twin_rear]", "[pump, electric]"}, []string{
			`v.yaml:52:22: WN11 has the feature electric, but the rest of its configuration says otherwise; take it away: this word follows from the other fields`,
		}},
		{"gauge's station", []string{"title: G1\n    station: stations/quay", "title: G1\n    station: stations/x"}, []string{
			`v.yaml:12:14: gauge gauges/g1 refers to "stations/x", which does not exist; there is stations/quay`,
		}},
		{"routine's item", []string{"[TYR-010]", "[TYR-011]"}, []string{
			`v.yaml:21:13: routines/shift lists item TYR-011, which the catalogue does not have; did you mean TYR-010?`,
		}},
		{"routine without items", []string{"triggers: [TRIGGER_SHIFT]\n    items: [TYR-010]", "triggers: [TRIGGER_WINTER]"}, []string{
			`v.yaml:20:5: routines/shift selects no item of the catalogue; give it a trigger that items have, or list items`,
		}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if diff := cmp.Diff(tc.want, checked(t, changed(t, soundVehicle, tc.changes...))); diff != "" {
				t.Errorf("problems (-want +got):\n%s", diff)
			}
		})
	}
}

func TestCheck_Packs(t *testing.T) {
	for _, tc := range []struct{ name, old, new, want string }{
		{"fault", "[LMP-010-01]", "[LMP-010-07]", `p.yaml:7:53: rule "r1" of packs/a is set off by fault LMP-010-07, which the catalogue does not have; did you mean LMP-010-01?`},
		{"item", "faults: [LMP", "items: [LMP-011], faults: [LMP", `p.yaml:7:52: rule "r1" of packs/a looks at item LMP-011, which the catalogue does not have; did you mean LMP-010?`},
		{
			"cold item", "    rules:", "    cold_rules:\n      - {items: [TYR-012], stood: 3h, source: {title: t, status: SOURCE_STATUS_SERVICE_POLICY}}\n    rules:",
			`p.yaml:7:18: packs/a says when item TYR-012 is cold, which the catalogue does not have; did you mean TYR-010?`,
		},
		{"named fault", "faults: [LMP-010-01]", "items: [LMP-010], when: o.has_value, names_fault: LMP-010-08", `p.yaml:7:94: rule "r1" of packs/a stands for fault LMP-010-08, which the catalogue does not have; did you mean LMP-010-01?`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			loaded, err := Load([]File{{Name: "c.yaml", Content: []byte(soundCatalogue)}, {Name: "p.yaml", Content: []byte(changed(t, soundPack, tc.old, tc.new))}})
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff([]string{tc.want}, lines(t, loaded.Check(library(loaded, nil)).asError())); diff != "" {
				t.Errorf("problems (-want +got):\n%s", diff)
			}
		})
	}
}

func TestCheck_CatalogueThatTakesAwayWhatIsInForce(t *testing.T) {
	before, err := Load([]File{{Name: "c.yaml", Content: []byte(withPump(t))}, {Name: "p.yaml", Content: []byte(soundPack)}, {Name: "v.yaml", Content: []byte(soundVehicle)}})
	if err != nil {
		t.Fatal(err)
	}
	now, err := Load([]File{{Name: "new.yaml", Content: []byte(changed(t, soundCatalogue, "id: LMP-010\n", "id: LMP-020\n",
		"fault: LMP-010-01", "fault: LMP-020-01", "fault: LMP-010-02", "fault: LMP-020-02", "{id: LMP-010-01", "{id: LMP-020-01", "{id: LMP-010-02", "{id: LMP-020-02", "id: TYR-010", "id: TYR-020"))}})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		`new.yaml:2:3: routines/shift lists item TYR-010, which the catalogue does not have; did you mean TYR-020?`,
		`new.yaml:2:3: rule "r1" of packs/a is set off by fault LMP-010-01, which the catalogue does not have; did you mean LMP-020-01?`,
	}
	if diff := cmp.Diff(want, lines(t, now.Check(library(now, library(before, nil))).asError())); diff != "" {
		t.Errorf("problems (-want +got):\n%s", diff)
	}
	// A vehicle alone is not blamed for what was in force before it.
	alone, err := Load([]File{{Name: "v.yaml", Content: []byte(soundVehicle)}})
	if err != nil {
		t.Fatal(err)
	}
	after := library(alone, library(before, nil))
	after.Packs["packs/old"] = &pb.RulePack{Name: "packs/old", Rules: []*pb.Rule{{Id: "x", Items: []string{"ZZZ-010"}}}}
	if got := alone.Check(after); len(got) != 0 {
		t.Errorf("problems: %v", got)
	}
}

// An unknown speed symbol cannot come through Load, whose pattern is stricter
// than the table of UN R54; Check guards what reaches it some other way.
func TestCheck_SpeedSymbol(t *testing.T) {
	loaded, err := Load([]File{{Name: "c.yaml", Content: []byte(withPump(t))}, {Name: "p.yaml", Content: []byte(soundPack)}, {Name: "v.yaml", Content: []byte(soundVehicle)}})
	if err != nil {
		t.Fatal(err)
	}
	loaded.Vehicles[0].GetAxles()[0].GetTyre().SpeedSymbol = "O"
	want := []string{`v.yaml:38:96: the tyres on axle 1 of WN11 have the speed symbol "O", which stands for no speed; read it off the tyre, after the load index`}
	if diff := cmp.Diff(want, lines(t, loaded.Check(library(loaded, nil)).asError())); diff != "" {
		t.Errorf("problems (-want +got):\n%s", diff)
	}
}

// yamlFiles reads the YAML files under a folder of this repository.
func yamlFiles(t testing.TB, folder string) []File {
	t.Helper()
	var files []File
	err := filepath.WalkDir(folder, func(name string, entry os.DirEntry, err error) error {
		if err != nil || entry.IsDir() || filepath.Ext(name) != ".yaml" {
			return err
		}
		content, err := os.ReadFile(name)
		files = append(files, File{Name: filepath.ToSlash(name), Content: content})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// demo is the invented county's files: stations, people, gauges and vehicles.
func demo(t testing.TB) []File {
	t.Helper()
	files := yamlFiles(t, "../../testdata/demo/vehicles")
	for _, name := range []string{"stations", "people", "gauges"} {
		content, err := os.ReadFile(fmt.Sprintf("../../testdata/demo/%s.yaml", name))
		if errors.Is(err, os.ErrNotExist) {
			t.Fatalf("the demo's %s are missing: %v", name, err)
		}
		files = append(files, File{Name: name + ".yaml", Content: content})
	}
	return files
}

func TestCheck_DemoCountyIsSound(t *testing.T) {
	loaded, err := Load(append(Defaults(), demo(t)...))
	if err != nil {
		t.Fatalf("refused:\n%v", err)
	}
	if len(loaded.Vehicles) < 10 || len(loaded.Stations) != 3 {
		t.Errorf("%d vehicles at %d stations, want ten or more at three (job-map.md, part E)", len(loaded.Vehicles), len(loaded.Stations))
	}
	if problems := loaded.Check(library(loaded, nil)); len(problems) != 0 {
		t.Errorf("problems:\n%v", problems)
	}
}

func TestCheck_ChangesNothing(t *testing.T) {
	loaded, err := Load(append(Defaults(), demo(t)...))
	if err != nil {
		t.Fatal(err)
	}
	before := proto.CloneOf(loaded.Catalogue)
	vehicle := proto.CloneOf(loaded.Vehicles[0])
	loaded.Check(library(loaded, nil))
	if !proto.Equal(before, loaded.Catalogue) || !proto.Equal(vehicle, loaded.Vehicles[0]) {
		t.Error("Check changed what it looked at")
	}
}
