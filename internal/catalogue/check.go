package catalogue

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// Library is what is in force at a station, or what would be if a set of files
// were taken. Maps are by resource name.
type Library struct {
	Catalogue *pb.Catalogue
	Routines  map[string]*pb.Routine
	Packs     map[string]*pb.RulePack
	Stations  map[string]*pb.Station
	Vehicles  map[string]*pb.VehicleConfiguration
	Gauges    map[string]*pb.Gauge
	People    map[string]*pb.Person
}

// Check says what is wrong with the loaded things in the company of everything
// that would be in force after them: after holds the loaded things too. Where a
// loaded catalogue takes away what a routine or a pack already in force refers
// to, that is a problem of the catalogue.
func (l *Loaded) Check(after *Library) Problems {
	known := indexOf(after.Catalogue)
	var problems Problems
	for _, v := range l.Vehicles {
		problems = append(problems, l.checkVehicle(v, after, known)...)
	}
	for _, g := range l.Gauges {
		in := &inspector{loaded: l, name: g.GetName()}
		refer(in, "station", "gauge "+g.GetName(), g.GetStation(), after.Stations)
		problems = append(problems, in.problems...)
	}
	for _, name := range slices.Sorted(maps.Keys(after.Routines)) {
		problems = append(problems, l.checkRoutine(after.Routines[name], known)...)
	}
	for _, name := range slices.Sorted(maps.Keys(after.Packs)) {
		problems = append(problems, l.checkPack(after.Packs[name], known)...)
	}
	return problems.sorted()
}

// refer complains when a reference leads nowhere.
func refer[T any](in *inspector, path, who, name string, among map[string]T) {
	if _, known := among[name]; known || name == "" {
		return
	}
	in.wrong(path, fmt.Sprintf("%s refers to %s, which does not exist", who, shown(name)), suggestion(name, slices.Sorted(maps.Keys(among))))
}

// index is what a catalogue has, by id.
type index struct {
	version  string
	items    map[string]*pb.Item
	faults   map[string]*pb.Fault
	features map[string]bool // words that some item fits
}

// indexOf lists a catalogue; nothing when there is none yet.
func indexOf(c *pb.Catalogue) *index {
	x := &index{version: c.GetVersion(), items: map[string]*pb.Item{}, faults: map[string]*pb.Fault{}, features: map[string]bool{}}
	for _, item := range c.GetItems() {
		x.items[item.GetId()] = item
		for _, fault := range item.GetFaults() {
			x.faults[fault.GetId()] = fault
		}
		for _, word := range item.GetFitsAny() {
			x.features[word] = true
		}
	}
	return x
}

// inspect begins the inspection of something in force. What was not loaded now
// is looked at only when a catalogue was, and then at the catalogue's place; nil
// when there is nothing to look at.
func (l *Loaded) inspect(name string) (in *inspector, loaded bool) {
	if l.places[name] != nil {
		return &inspector{loaded: l, name: name}, true
	}
	if l.Catalogue == nil {
		return nil, false
	}
	return &inspector{loaded: l, name: catalogueName}, false
}

// checkRoutine checks that a routine's items exist and that it selects any.
func (l *Loaded) checkRoutine(r *pb.Routine, known *index) Problems {
	in, loaded := l.inspect(r.GetName())
	if in == nil {
		return nil
	}
	at := func(path string) string { return onlyIf(loaded, path) }
	for i, id := range r.GetItems() {
		if known.items[id] == nil {
			in.wrong(at(fmt.Sprintf("items[%d]", i)), fmt.Sprintf("%s lists item %s, which the catalogue does not have", r.GetName(), id), suggestion(id, slices.Sorted(maps.Keys(known.items))))
		}
	}
	selects := func(item *pb.Item) bool {
		return slices.Contains(r.GetItems(), item.GetId()) ||
			slices.ContainsFunc(item.GetTriggers(), func(t pb.Trigger) bool { return slices.Contains(r.GetTriggers(), t) })
	}
	for _, item := range known.items {
		if selects(item) {
			return in.problems
		}
	}
	in.wrong(at("triggers"), r.GetName()+" selects no item of the catalogue", "give it a trigger that items have, or list items")
	return in.problems
}

// checkPack checks that the items and faults a pack's rules name exist, and the
// items that it says are cold.
func (l *Loaded) checkPack(pack *pb.RulePack, known *index) Problems {
	in, loaded := l.inspect(pack.GetName())
	if in == nil {
		return nil
	}
	items, faults := slices.Sorted(maps.Keys(known.items)), slices.Sorted(maps.Keys(known.faults))
	for i, rule := range pack.GetRules() {
		at := func(path string) string { return onlyIf(loaded, fmt.Sprintf("rules[%d].%s", i, path)) }
		who := fmt.Sprintf("rule %s of %s", shown(rule.GetId()), pack.GetName())
		for j, id := range rule.GetItems() {
			if known.items[id] == nil {
				in.wrong(at(fmt.Sprintf("items[%d]", j)), fmt.Sprintf("%s looks at item %s, which the catalogue does not have", who, id), suggestion(id, items))
			}
		}
		for j, id := range rule.GetFaults() {
			if known.faults[id] == nil {
				in.wrong(at(fmt.Sprintf("faults[%d]", j)), fmt.Sprintf("%s is set off by fault %s, which the catalogue does not have", who, id), suggestion(id, faults))
			}
		}
		if id := rule.GetNamesFault(); id != "" && known.faults[id] == nil {
			in.wrong(at("names_fault"), fmt.Sprintf("%s stands for fault %s, which the catalogue does not have", who, id), suggestion(id, faults))
		}
	}
	for i, cold := range pack.GetColdRules() {
		for j, id := range cold.GetItems() {
			if known.items[id] == nil {
				in.wrong(onlyIf(loaded, fmt.Sprintf("cold_rules[%d].items[%d]", i, j)), fmt.Sprintf("%s says when item %s is cold, which the catalogue does not have", pack.GetName(), id), suggestion(id, items))
			}
		}
	}
	in.checkSystems(pack, known, func(path string) string { return onlyIf(loaded, path) })
	return in.problems
}

// checkSystems checks that the items of the systems on which deferrals are judged
// together exist, and belong to one system each.
func (in *inspector) checkSystems(pack *pb.RulePack, known *index, at func(path string) string) {
	families := map[string]bool{}
	for id := range known.items {
		family, _, _ := strings.Cut(id, "-")
		families[family] = true
	}
	choice := append(slices.Sorted(maps.Keys(known.items)), slices.Sorted(maps.Keys(families))...)
	owner := map[string]string{}
	for i, system := range pack.GetDeferral().GetSystems() {
		for j, id := range system.GetItems() {
			here := at(fmt.Sprintf("deferral.systems[%d].items[%d]", i, j))
			if known.items[id] == nil && !families[id] {
				in.wrong(here, fmt.Sprintf("system %s of %s holds %s, which the catalogue does not have", shown(system.GetId()), pack.GetName(), id), suggestion(id, choice))
			}
			family, _, _ := strings.Cut(id, "-")
			if other := cmp.Or(owner[id], owner[family]); other != "" && other != system.GetId() {
				in.wrong(here, fmt.Sprintf("%s belongs to system %s of %s already", id, shown(other), pack.GetName()), "let every item belong to one system")
			}
			owner[id] = system.GetId()
		}
	}
}

// onlyIf gives a path when it can be pointed at.
func onlyIf(loaded bool, path string) string {
	if loaded {
		return path
	}
	return ""
}
