package station

import (
	"cmp"
	"maps"
	"slices"

	"bayround/internal/catalogue"
	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// catalogueName is what stands for the catalogue where others have a resource name.
const catalogueName = "catalogue"

// library is everything that is in force at one time, and what follows from
// it. It never changes; any number of goroutines may use it.
type library struct {
	set    *catalogue.Library
	refs   map[string]ref    // where each thing came from, by name
	engine *rules.Engine     // nil when the packs do not compile
	broken error             // why they do not
	models map[string]*model // by vehicle

	fingerprint *fingerprint // of the set; shared by copies
}

// ref says which event put a thing in force, and from which default files it
// came ("" when a person applied it). Of a person it says what stands apart, too.
type ref struct {
	sequence int64
	defaults string
	apart    string // the digests, 32 bytes each, of all that stands apart and was not erased
	open     bool   // some event holds who it is openly
	erased   int64  // when who it is was erased, in nanoseconds since 1970; 0 when it was not
}

// emptyLibrary is what is in force before anything was applied.
func emptyLibrary() *library {
	return &library{
		set: &catalogue.Library{
			Routines: map[string]*pb.Routine{}, Packs: map[string]*pb.RulePack{},
			Stations: map[string]*pb.Station{}, Vehicles: map[string]*pb.VehicleConfiguration{},
			Gauges: map[string]*pb.Gauge{}, People: map[string]*pb.Person{},
		},
		refs: map[string]ref{}, models: map[string]*model{}, fingerprint: &fingerprint{},
	}
}

// draft is a library in the making.
type draft struct {
	set  *catalogue.Library
	refs map[string]ref
}

// draft begins with what is in force.
func (l *library) draft() *draft {
	return &draft{
		set: &catalogue.Library{
			Catalogue: l.set.Catalogue,
			Routines:  maps.Clone(l.set.Routines), Packs: maps.Clone(l.set.Packs),
			Stations: maps.Clone(l.set.Stations), Vehicles: maps.Clone(l.set.Vehicles),
			Gauges: maps.Clone(l.set.Gauges), People: maps.Clone(l.set.People),
		},
		refs: maps.Clone(l.refs),
	}
}

// put takes the thing an event put in force and returns its name; "" when the
// event is about something else.
func (d *draft) put(ev *pb.JournalEvent) string {
	name, defaults := "", defaultsOf(ev.GetCommandId())
	var who ref
	switch e := ev.GetEvent().(type) {
	case *pb.JournalEvent_StationApplied:
		name = e.StationApplied.GetName()
		d.set.Stations[name] = e.StationApplied
	case *pb.JournalEvent_VehicleApplied:
		name = e.VehicleApplied.GetName()
		d.set.Vehicles[name] = e.VehicleApplied
	case *pb.JournalEvent_GaugeApplied:
		name = e.GaugeApplied.GetName()
		if d.refs[name].defaults != "" && isCheck(d.set.Gauges[name], e.GaugeApplied) {
			defaults = newestDefaults(d.refs) // its file still says what it is
		}
		d.set.Gauges[name] = e.GaugeApplied
	case *pb.JournalEvent_PersonApplied:
		name = e.PersonApplied.GetName()
		d.set.People[name] = whole(e.PersonApplied)
		who = d.refs[name].with(e.PersonApplied)
	case *pb.JournalEvent_PersonErased:
		name = e.PersonErased.GetPerson()
		d.set.People[name] = erasedPerson(name)
		who.erased = ev.GetStationTime().AsTime().UnixNano()
	case *pb.JournalEvent_CatalogueApplied:
		name = catalogueName
		d.set.Catalogue = e.CatalogueApplied
	case *pb.JournalEvent_RoutineApplied:
		name = e.RoutineApplied.GetName()
		d.set.Routines[name] = e.RoutineApplied
	case *pb.JournalEvent_RulePackApplied:
		name = e.RulePackApplied.GetName()
		d.set.Packs[name] = e.RulePackApplied
	default:
		return ""
	}
	who.sequence, who.defaults = ev.GetSequence(), defaults
	d.refs[name] = who
	return name
}

// finish works out what follows from the draft. What did not change is taken
// over from before: engine and models are dear.
func (d *draft) finish(before *library) *library {
	l := &library{set: d.set, refs: d.refs, models: make(map[string]*model, len(d.set.Vehicles)), fingerprint: &fingerprint{}}
	if before.engine != nil && sameJudgement(before.set, d.set) {
		l.engine = before.engine
	} else if d.set.Catalogue != nil {
		l.engine, l.broken = rules.Compile(sortedValues(d.set.Packs), d.set.Catalogue)
	}
	for name, v := range d.set.Vehicles {
		m := before.models[name]
		if m == nil || m.engine != l.engine || !m.follows(d.set) {
			m = newModel(v, l)
		}
		l.models[name] = m.reading(d.set.Gauges)
	}
	return l
}

// sameJudgement tells whether packs and catalogue are the same messages.
func sameJudgement(a, b *catalogue.Library) bool {
	return a.Catalogue == b.Catalogue && maps.Equal(a.Packs, b.Packs)
}

// sortedKeys gives the keys of a map in order.
func sortedKeys[K cmp.Ordered, V any](m map[K]V) []K {
	return slices.Sorted(maps.Keys(m))
}

// sortedValues gives the values of a map in the order of its keys.
func sortedValues[V any](m map[string]V) []V {
	values := make([]V, 0, len(m))
	for _, k := range sortedKeys(m) {
		values = append(values, m[k])
	}
	return values
}
