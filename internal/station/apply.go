package station

import (
	"cmp"
	"context"
	"slices"

	"google.golang.org/protobuf/proto"

	"bayround/internal/catalogue"
	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// Apply puts configuration files in force, all of them or none.
func (s *Station) Apply(ctx context.Context, req *pb.ApplyRequest) (*pb.ApplyResponse, error) {
	loaded, err := loadFiles(req.GetFiles())
	if err != nil {
		return nil, err
	}
	if req.GetValidateOnly() {
		a, err := prepare(loaded, s.current.Load().lib)
		if err != nil {
			return nil, err
		}
		return &pb.ApplyResponse{Changes: a.changes}, nil
	}
	return s.apply(ctx, req.GetRequestId(), req, loaded)
}

// loadFiles reads configuration files as they are sent.
func loadFiles(sent []*pb.NamedFile) (*catalogue.Loaded, error) {
	files := make([]catalogue.File, len(sent))
	for i, f := range sent {
		files[i] = catalogue.File{Name: f.GetFileName(), Content: f.GetContent()}
	}
	loaded, err := catalogue.Load(files)
	if err != nil {
		return nil, refusedFiles(err)
	}
	return loaded, nil
}

// apply puts in force what was loaded.
func (s *Station) apply(ctx context.Context, id string, req proto.Message, loaded *catalogue.Loaded) (*pb.ApplyResponse, error) {
	return s.putInForce(ctx, id, req, func(base *library) (*application, error) { return prepare(loaded, base) })
}

// putInForce carries out a command that puts something in force; prepare works
// out what it would do to a library.
func (s *Station) putInForce(ctx context.Context, id string, req proto.Message, prepare func(base *library) (*application, error)) (*pb.ApplyResponse, error) {
	// Compiling and planning take a while, so they are done beside the
	// committer, on what is in force now; it is done again in the rare case
	// that this has changed by then.
	early, earlyErr := prepare(s.current.Load().lib)
	resp, _, err := run(ctx, s, id, req, func(c *command) (*pb.ApplyResponse, error) {
		a, err := early, earlyErr
		if a.base != c.state.lib {
			a, err = prepare(c.state.lib)
		}
		if err != nil {
			return nil, err
		}
		return c.apply(a)
	})
	return resp, err
}

// application is what applying would do to a library.
type application struct {
	base    *library
	after   *library // without refs, which only the events will give
	changes []*pb.Change
	names   []string           // of what differs
	events  []*pb.JournalEvent // of what differs, not yet completed
}

// apply lets what was prepared happen.
func (c *command) apply(a *application) (*pb.ApplyResponse, error) {
	c.state.prepared = a.after
	resp := &pb.ApplyResponse{Changes: a.changes}
	for i, ev := range a.events {
		if err := c.put(c.event(ev), nil, i == len(a.events)-1); err != nil {
			return nil, err
		}
		resp.Sequence = ev.GetSequence()
	}
	c.state.prepared = nil
	return resp, nil
}

// prepare works out what applying would do. It refuses with everything that is
// wrong; the application then tells only what library it was held against.
func prepare(loaded *catalogue.Loaded, base *library) (*application, error) {
	a := &application{base: base}
	d := base.draft()
	for _, t := range things(loaded) {
		if err := a.take(t, d); err != nil {
			return a, err
		}
	}
	slices.SortFunc(a.changes, func(x, y *pb.Change) int { return cmp.Compare(x.GetName(), y.GetName()) })
	if problems := loaded.Check(d.set); len(problems) > 0 {
		return a, refusedFiles(withRules(problems, loaded, d.set))
	}
	a.keepOrders(d)
	a.after = d.finish(base)
	if problems := unusable(loaded, a.after); len(problems) > 0 {
		return a, refusedFiles(problems)
	}
	if problems := unscheduled(loaded, a.after); len(problems) > 0 {
		return a, refusedFiles(problems)
	}
	return a, a.fits()
}

// thing is one thing that files say.
type thing struct {
	name    string
	message proto.Message
	event   *pb.JournalEvent
}

// things lists what was loaded in the order in which it is put in force: what
// is referred to comes first.
func things(l *catalogue.Loaded) []thing {
	var all []thing
	add := func(name string, m proto.Message, ev *pb.JournalEvent) { all = append(all, thing{name, m, ev}) }
	for _, m := range l.Stations {
		add(m.GetName(), m, &pb.JournalEvent{Event: &pb.JournalEvent_StationApplied{StationApplied: m}})
	}
	for _, m := range l.People {
		add(m.GetName(), m, personEvent(m))
	}
	for _, m := range l.Gauges {
		m = proto.CloneOf(m) // the station keeps its checks
		add(m.GetName(), m, &pb.JournalEvent{Event: &pb.JournalEvent_GaugeApplied{GaugeApplied: m}})
	}
	if l.Catalogue != nil {
		add(catalogueName, l.Catalogue, &pb.JournalEvent{Event: &pb.JournalEvent_CatalogueApplied{CatalogueApplied: l.Catalogue}})
	}
	for _, m := range l.Routines {
		add(m.GetName(), m, &pb.JournalEvent{Event: &pb.JournalEvent_RoutineApplied{RoutineApplied: m}})
	}
	for _, m := range l.RulePacks {
		add(m.GetName(), m, &pb.JournalEvent{Event: &pb.JournalEvent_RulePackApplied{RulePackApplied: m}})
	}
	for _, m := range l.Vehicles {
		m = proto.CloneOf(m) // the station numbers its revision and keeps its orders
		add(m.GetName(), m, &pb.JournalEvent{Vehicle: m.GetName(), Event: &pb.JournalEvent_VehicleApplied{VehicleApplied: m}})
	}
	return all
}

// take compares a thing with what is in force and puts it into the draft when
// it differs.
func (a *application) take(t thing, d *draft) error {
	before := a.base.get(t.name)
	if v, ok := t.message.(*pb.VehicleConfiguration); ok {
		known, _ := before.(*pb.VehicleConfiguration)
		if v.GetRevision() != 0 && v.GetRevision() != known.GetRevision() {
			return fault.New(fault.Stale, "REVISION_STALE", "%s is meant to follow revision %d, but revision %d is in force; read it again and repeat your change, or leave the revision away",
				t.name, v.GetRevision(), known.GetRevision())
		}
		v.Revision, v.KeptOrders = known.GetRevision(), known.GetKeptOrders() // so that only real differences count
	}
	if g, ok := t.message.(*pb.Gauge); ok {
		known, _ := before.(*pb.Gauge)
		g.Checks = known.GetChecks()
	}
	if a.base.refs[t.name].erased != 0 {
		return fault.New(fault.Precondition, "PERSON_ERASED", "%s was erased, and the id stays what it is in the record; take it out of the files, and give a new person a new id", t.name)
	}
	change := &pb.Change{Name: t.name, Kind: pb.ChangeKind_CHANGE_KIND_ADDED}
	a.changes = append(a.changes, change)
	switch {
	case before == nil:
	case proto.Equal(before, t.message):
		change.Kind = pb.ChangeKind_CHANGE_KIND_SAME
		return nil
	default:
		change.Kind, change.Details = pb.ChangeKind_CHANGE_KIND_CHANGED, differences(before, t.message)
	}
	if v, ok := t.message.(*pb.VehicleConfiguration); ok {
		v.Revision++
	}
	d.put(t.event)
	a.names, a.events = append(a.names, t.name), append(a.events, t.event)
	return nil
}

// get returns what is in force under a name; nil when nothing is.
func (l *library) get(name string) proto.Message {
	if _, known := l.refs[name]; !known {
		return nil
	}
	switch e := l.applied(name, l.refs[name]).GetEvent().(type) {
	case *pb.JournalEvent_StationApplied:
		return e.StationApplied
	case *pb.JournalEvent_VehicleApplied:
		return e.VehicleApplied
	case *pb.JournalEvent_GaugeApplied:
		return e.GaugeApplied
	case *pb.JournalEvent_PersonApplied:
		return e.PersonApplied
	case *pb.JournalEvent_CatalogueApplied:
		return e.CatalogueApplied
	case *pb.JournalEvent_RoutineApplied:
		return e.RoutineApplied
	case *pb.JournalEvent_RulePackApplied:
		return e.RulePackApplied
	}
	return nil
}

// The journal stores at most so much of one thing, and of one command; a
// little is left for what is stored beside it.
const (
	maxThingBytes    = 500_000
	maxCommandBytes  = 850_000
	maxCommandThings = 1_500
	besideThingBytes = 400 // who, when and under which id, its hashes and its rows; measured: under 200
)

// fits refuses what the journal could not store.
func (a *application) fits() error {
	total := 0
	for i, ev := range a.events {
		size := proto.Size(ev)
		if total += size + besideThingBytes; size > maxThingBytes {
			return fault.New(fault.Invalid, "THING_TOO_LARGE", "%s has %d bytes as it would be recorded, at most %d can be; make it shorter", a.names[i], size, maxThingBytes)
		}
	}
	if total > maxCommandBytes || len(a.events) > maxCommandThings {
		return fault.New(fault.Invalid, "APPLY_TOO_LARGE", "these files have %d bytes and %d things as they would be recorded, at most %d and %d can be put in force at once; apply fewer files, in the order catalogue, routines, packs, vehicles",
			total, len(a.events), maxCommandBytes, maxCommandThings)
	}
	return nil
}
