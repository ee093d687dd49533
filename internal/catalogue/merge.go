package catalogue

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"
)

// merger puts the files of a set together.
type merger struct {
	loaded   *Loaded
	problems Problems
	packs    map[string]*pb.RulePack
}

// merge puts the documents together, in the order given.
func merge(documents []*document) (*Loaded, Problems) {
	m := &merger{loaded: &Loaded{places: map[string]*layout{}}, packs: map[string]*pb.RulePack{}}
	for _, d := range documents {
		m.add(d)
	}
	l := m.loaded
	if c := l.Catalogue; c != nil {
		m.orderStops(c)
		m.orderItems(c)
		m.orderCircuits(c)
	}
	byName(l.Stations)
	byName(l.Vehicles)
	byName(l.Gauges)
	byName(l.People)
	byName(l.Routines)
	byName(l.RulePacks)
	return l, m.problems
}

// named is a message with a resource name.
type named interface {
	proto.Message
	GetName() string
}

// byName sorts resources by name.
func byName[T named](list []T) {
	slices.SortStableFunc(list, func(a, b T) int { return cmp.Compare(a.GetName(), b.GetName()) })
}

// add takes over what one file says.
func (m *merger) add(d *document) {
	l := m.loaded
	l.Stations = append(l.Stations, fresh(m, d, "stations", d.message.GetStations())...)
	l.Vehicles = append(l.Vehicles, fresh(m, d, "vehicles", d.message.GetVehicles())...)
	l.Gauges = append(l.Gauges, fresh(m, d, "gauges", d.message.GetGauges())...)
	l.People = append(l.People, fresh(m, d, "people", d.message.GetPeople())...)
	l.Routines = append(l.Routines, fresh(m, d, "routines", d.message.GetRoutines())...)
	if c := d.message.GetCatalogue(); c != nil {
		m.addCatalogue(spot{d.file, child(d.root, "catalogue")}, c)
	}
	for i, pack := range d.message.GetRulePacks() {
		m.addPack(spot{d.file, child(d.root, "rule_packs").Content[i]}, pack)
	}
}

// fresh takes the resources of one list that have no namesake yet, and
// complains about the others. The field of the list is named like the collection.
func fresh[T named](m *merger, d *document, collection string, list []T) []T {
	taken := make([]T, 0, len(list))
	for i, resource := range list {
		here := spot{d.file, child(d.root, collection).Content[i]}
		name := resource.GetName()
		if !strings.HasPrefix(name, collection+"/") {
			continue // the rules of the proto have said so
		}
		if first := m.loaded.places[name]; first != nil {
			m.twice(here, name, name, first.fragments[0])
			continue
		}
		m.loaded.places[name] = &layout{fragments: []spot{here}}
		taken = append(taken, resource)
	}
	return taken
}

// twice complains about a second thing of one name, and says where the first is.
func (m *merger) twice(here spot, path, name string, first spot) {
	m.wrong(here, path, fmt.Sprintf("%s is given twice, first at %s:%d", name, first.file, first.node.Line), "keep one of them, or give one another name")
}

func (m *merger) wrong(here spot, path, wrong, right string) {
	m.problems = append(m.problems, Problem{
		File: here.file, Line: here.node.Line, Column: here.node.Column, Path: path, Wrong: wrong, Right: right,
	})
}

// addCatalogue takes over a fragment of the catalogue.
func (m *merger) addCatalogue(here spot, fragment *pb.Catalogue) {
	l := m.loaded
	place := l.places[catalogueName]
	if place == nil {
		l.Catalogue = &pb.Catalogue{Version: fragment.GetVersion()}
		place = &layout{lists: map[string][]spot{}}
		l.places[catalogueName] = place
	}
	m.agree(here, place, "catalogue", claim{"version", l.Catalogue.GetVersion(), fragment.GetVersion()})
	m.oneWalkTimes(here, place, fragment)
	place.fragments = append(place.fragments, here)
	l.Catalogue.Stops = append(l.Catalogue.Stops, fragment.GetStops()...)
	l.Catalogue.Items = append(l.Catalogue.Items, fragment.GetItems()...)
	l.Catalogue.Circuits = append(l.Catalogue.Circuits, fragment.GetCircuits()...)
	place.list("stops", here)
	place.list("items", here)
	place.list("circuits", here)
}

// oneWalkTimes takes over the walk times of a fragment, and complains when an
// earlier one has given some: half of one and half of another suit no crew.
func (m *merger) oneWalkTimes(here spot, place *layout, fragment *pb.Catalogue) {
	if fragment.GetWalkTimes() == nil {
		return
	}
	if m.loaded.Catalogue.GetWalkTimes() == nil {
		m.loaded.Catalogue.WalkTimes = fragment.GetWalkTimes()
		return
	}
	first, _ := place.start([]string{"walk_times"})
	before, _ := lookup(first.node, "walk_times")
	now, _ := lookup(here.node, "walk_times")
	m.wrong(spot{here.file, now}, catalogueName+".walk_times",
		fmt.Sprintf("walk_times are given twice, first at %s:%d", first.file, before.Line), "keep one of them: they belong together")
}

// addPack takes over a pack or a fragment of one.
func (m *merger) addPack(here spot, fragment *pb.RulePack) {
	l, name := m.loaded, fragment.GetName()
	if !strings.HasPrefix(name, "packs/") {
		return // the rules of the proto have said so
	}
	place, pack := l.places[name], m.packs[name]
	if pack == nil {
		pack = &pb.RulePack{Name: name, Version: fragment.GetVersion(), Title: fragment.GetTitle(), Authority: fragment.GetAuthority()}
		place = &layout{lists: map[string][]spot{}}
		l.places[name], m.packs[name] = place, pack
		l.RulePacks = append(l.RulePacks, pack)
	}
	m.agree(here, place, name, claim{"version", pack.GetVersion(), fragment.GetVersion()})
	m.agree(here, place, name, claim{"title", pack.GetTitle(), fragment.GetTitle()})
	m.agree(here, place, name, claim{"authority", pack.GetAuthority(), fragment.GetAuthority()})
	place.fragments = append(place.fragments, here)
	m.uniqueRules(here, place, pack, fragment)
	m.oneDeferral(here, place, pack, fragment)
	pack.Rules = append(pack.Rules, fragment.GetRules()...)
	pack.ColdRules = append(pack.ColdRules, fragment.GetColdRules()...)
	place.list("rules", here)
	place.list("cold_rules", here)
}

// oneDeferral takes over what a fragment says of what may wait, and complains when an
// earlier one has said it: half of one and half of another suit no service.
func (m *merger) oneDeferral(here spot, place *layout, pack, fragment *pb.RulePack) {
	if fragment.GetDeferral() == nil {
		return
	}
	if pack.GetDeferral() == nil {
		pack.Deferral = fragment.GetDeferral()
		return
	}
	first, _ := place.start([]string{"deferral"})
	before, _ := lookup(first.node, "deferral")
	now, _ := lookup(here.node, "deferral")
	m.wrong(spot{here.file, now}, pack.GetName()+".deferral",
		fmt.Sprintf("deferral is given twice, first at %s:%d", first.file, before.Line), "keep one of them: what it says belongs together")
}

// claim is what the first fragment and a later one say of one field.
type claim struct{ field, first, now string }

// agree complains when a fragment says something else than the first one.
func (m *merger) agree(here spot, place *layout, name string, c claim) {
	field, first, now := c.field, c.first, c.now
	if first == now || now == "" {
		return
	}
	before := place.fragments[0]
	_, value := lookup(here.node, field)
	if value == nil {
		value = here.node
	}
	m.wrong(spot{here.file, value}, name+"."+field,
		fmt.Sprintf("%s has %s %s here and %s at %s:%d", name, field, shown(now), shown(first), before.file, before.node.Line),
		"all files of one set that hold parts of "+name+" must agree")
}

// uniqueRules complains about rules whose id the pack has already.
func (m *merger) uniqueRules(here spot, place *layout, pack, fragment *pb.RulePack) {
	first := map[string]spot{}
	for i, rule := range pack.GetRules() {
		first[rule.GetId()] = place.lists["rules"][i]
	}
	for i, rule := range fragment.GetRules() {
		at := spot{here.file, child(here.node, "rules").Content[i]}
		if before, known := first[rule.GetId()]; known && rule.GetId() != "" {
			m.twice(at, pack.GetName(), "rule "+shown(rule.GetId())+" of "+pack.GetName(), before)
			continue
		}
		first[rule.GetId()] = at
	}
}

// list appends a fragment's entries of a list to the layout.
func (l *layout) list(field string, fragment spot) {
	for _, entry := range child(fragment.node, field).Content {
		l.lists[field] = append(l.lists[field], spot{fragment.file, entry})
	}
}

// orderStops sorts the stops, and their places with them, in walking order.
func (m *merger) orderStops(c *pb.Catalogue) {
	place := m.loaded.places[catalogueName]
	c.Stops, place.lists["stops"] = sortTogether(c.GetStops(), place.lists["stops"], func(a, b *pb.Stop) int {
		return cmp.Compare(a.GetOrder(), b.GetOrder())
	})
}

// orderItems sorts the items, and their places with them, by their stops.
func (m *merger) orderItems(c *pb.Catalogue) {
	order := map[string]int32{}
	for _, stop := range c.GetStops() {
		order[stop.GetId()] = stop.GetOrder()
	}
	place := m.loaded.places[catalogueName]
	c.Items, place.lists["items"] = sortTogether(c.GetItems(), place.lists["items"], func(a, b *pb.Item) int {
		return cmp.Compare(order[a.GetStop()], order[b.GetStop()])
	})
}

// orderCircuits sorts the circuits, and their places with them, by their ids.
func (m *merger) orderCircuits(c *pb.Catalogue) {
	place := m.loaded.places[catalogueName]
	c.Circuits, place.lists["circuits"] = sortTogether(c.GetCircuits(), place.lists["circuits"], func(a, b *pb.Circuit) int {
		return cmp.Compare(a.GetId(), b.GetId())
	})
}

// sortTogether sorts a list and the places of its entries alike; equals keep
// their order.
func sortTogether[T any](list []T, spots []spot, compare func(a, b T) int) ([]T, []spot) {
	turn := make([]int, len(list))
	for i := range turn {
		turn[i] = i
	}
	slices.SortStableFunc(turn, func(a, b int) int { return compare(list[a], list[b]) })
	sorted, places := make([]T, len(list)), make([]spot, len(list))
	for to, from := range turn {
		sorted[to], places[to] = list[from], spots[from]
	}
	return sorted, places
}
