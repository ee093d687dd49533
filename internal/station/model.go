package station

import (
	"maps"
	"slices"
	"strings"
	"sync"

	"google.golang.org/protobuf/proto"

	"bayround/internal/catalogue"
	"bayround/internal/deferral"
	"bayround/internal/plan"
	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// model is what follows from the library for one vehicle: its steps, in what
// order they are walked, and the rules it is judged by. It never changes, but
// for plans that are worked out when first asked for; any number of goroutines
// may use it.
type model struct {
	vehicle   *pb.VehicleConfiguration
	station   *pb.Station
	gauges    map[string]*pb.Gauge // the register, by name
	catalogue *pb.Catalogue
	routines  map[string]*pb.Routine // all, by name
	engine    *rules.Engine          // nil when the packs do not compile
	judge     *rules.Judge           // nil when the vehicle cannot be judged
	broken    []*pb.Finding          // says that it cannot, so that it proves nothing
	brokenBy  error                  // why it cannot
	packs     []string
	deferral  *pb.RulePack // says what may wait; nil when no pack does
	required  []*pb.CheckStep
	places    map[string]int   // of required steps in the list, by id
	steps     map[string]*step // every step of any routine, by id
	islands   map[string]int   // items that group rules look at together share a number
	plans     *plans           // shared by models that differ in their gauges alone
}

// plans are those of the routines, as far as they were asked for.
type plans struct {
	mu    sync.Mutex
	built map[string]*pb.Plan // guarded by mu: by routine, without last results
	with  map[string]*pb.Plan // guarded by mu: those with items beside their routine's

	scheduling sync.Once
	due        timetable // set within scheduling
}

// mostPlansWith is how many plans of one kind are kept for a vehicle.
const mostPlansWith = 64

// step is a check step and what the station needs to know beside it.
type step struct {
	*pb.CheckStep
	rank   int // place among all steps of the vehicle, by phase, stop and place
	island int // number of its island, noIsland when no group rule looks at it
}

// noIsland is the island of steps that no group rule looks at.
const noIsland = -1

// newModel works a vehicle's model out of a library that holds everything but
// the models.
func newModel(v *pb.VehicleConfiguration, l *library) *model {
	m := &model{
		vehicle: v, station: l.set.Stations[v.GetStation()], catalogue: l.set.Catalogue,
		routines: l.set.Routines, engine: l.engine, packs: packsOf(v, l.set.Packs),
		deferral: deferral.PackOf(rulePacksOf(v, l.set.Packs)),
		steps:    map[string]*step{}, plans: &plans{built: map[string]*pb.Plan{}, with: map[string]*pb.Plan{}},
	}
	m.prepareJudge(l.broken)
	var compared []string
	if m.judge != nil {
		compared = m.judge.Compared()
	}
	m.islands = islandsOf(v, l.set, compared)
	var required []*pb.Routine
	for _, name := range v.GetRequiredRoutines() {
		required = append(required, l.set.Routines[name])
	}
	m.required = m.list(together(required))
	m.places = make(map[string]int, len(m.required))
	for place, s := range m.required {
		m.places[s.GetStepId()] = place
	}
	for rank, s := range m.list(together(sortedValues(l.set.Routines))) {
		m.steps[s.GetStepId()] = m.newStep(s, rank)
	}
	return m
}

func (m *model) newStep(s *pb.CheckStep, rank int) *step {
	island, looked := m.islands[s.GetItem()]
	if !looked || m.judge == nil || !m.judge.GroupsOf(s) {
		island = noIsland
	}
	return &step{CheckStep: s, rank: rank, island: island}
}

// follows tells whether the model still follows from what is in force; the
// engine, which packs and catalogue decide, is compared by the caller, and its
// gauges may be others.
func (m *model) follows(set *catalogue.Library) bool {
	return set.Vehicles[m.vehicle.GetName()] == m.vehicle &&
		set.Stations[m.vehicle.GetStation()] == m.station &&
		set.Catalogue == m.catalogue && maps.Equal(set.Routines, m.routines)
}

// reading is the model with another register of gauges, the same one where
// nothing in it differs. Neither steps nor rules hang on gauges; what readings
// are worth does.
func (m *model) reading(gauges map[string]*pb.Gauge) *model {
	if maps.Equal(m.gauges, gauges) {
		return m
	}
	other := *m
	other.gauges = gauges
	if m.judge != nil {
		other.judge = m.judge.In(other.circumstances(nil))
	}
	return &other
}

// together is one routine of everything that any of the routines asks for.
func together(routines []*pb.Routine) *pb.Routine {
	all := &pb.Routine{}
	for _, r := range routines {
		all.Triggers = append(all.Triggers, r.GetTriggers()...)
		all.Items = append(all.Items, r.GetItems()...)
	}
	slices.Sort(all.Triggers)
	slices.Sort(all.Items)
	all.Triggers, all.Items = slices.Compact(all.Triggers), slices.Compact(all.Items)
	return all
}

func (m *model) build(r *pb.Routine) *pb.Plan {
	if m.catalogue == nil {
		return &pb.Plan{}
	}
	return plan.Build(m.input(r))
}

// list is the steps of a routine, sorted but not in the order of the best walk:
// that is found when a plan is asked for.
func (m *model) list(r *pb.Routine) []*pb.CheckStep {
	if m.catalogue == nil {
		return nil
	}
	return plan.List(m.input(r))
}

// input is what decides a plan of this vehicle, without last results.
func (m *model) input(r *pb.Routine) plan.Input {
	return plan.Input{Vehicle: m.vehicle, Catalogue: m.catalogue, Routine: r, Station: m.station}
}

// plan returns the plan of a routine and of items beside it, without last results; nil
// when there is no such routine.
func (m *model) plan(routine string, with []string) *pb.Plan {
	r := m.routine(routine, with)
	if r == nil {
		return nil
	}
	built, key := m.plans.built, routine
	if len(r.GetItems()) > len(m.routines[routine].GetItems()) {
		built, key = m.plans.with, routine+" "+strings.Join(r.GetItems(), " ")
	}
	m.plans.mu.Lock()
	defer m.plans.mu.Unlock()
	if p := built[key]; p != nil {
		return p
	}
	p := m.build(r)
	if len(built) >= mostPlansWith {
		clear(built) // they are worked out again when they are asked for again
	}
	built[key] = p
	return p
}

// planOf returns the plan that a round has by what is in force.
func (m *model) planOf(r *pb.Round) *pb.Plan { return m.plan(r.GetRoutine(), r.GetWithItems()) }

// routine returns a routine with items beside its own, of those that any routine asks for
// on the vehicle; nil when there is no such routine.
func (m *model) routine(name string, with []string) *pb.Routine {
	r := m.routines[name]
	if r == nil || len(with) == 0 {
		return r
	}
	asked := map[string]bool{}
	for _, step := range m.steps {
		asked[step.GetItem()] = true
	}
	r = proto.CloneOf(r)
	for _, item := range slices.Sorted(slices.Values(with)) {
		if asked[item] && !slices.Contains(r.GetItems(), item) {
			r.Items = append(r.Items, item)
		}
	}
	return r
}

// rank returns the place of a step among all of the vehicle; steps that are no longer on
// the vehicle come last.
func (m *model) rank(stepID string) int {
	if s := m.steps[stepID]; s != nil {
		return s.rank
	}
	return len(m.steps)
}

// rulePacksOf gives the packs a vehicle is judged by, in its order.
func rulePacksOf(v *pb.VehicleConfiguration, all map[string]*pb.RulePack) (packs []*pb.RulePack) {
	for _, name := range v.GetRulePacks() {
		packs = append(packs, all[name])
	}
	return packs
}

// packsOf names the packs a vehicle is judged by as name@version, in its order.
func packsOf(v *pb.VehicleConfiguration, packs map[string]*pb.RulePack) []string {
	names := make([]string, 0, len(v.GetRulePacks()))
	for _, name := range v.GetRulePacks() {
		names = append(names, name+"@"+packs[name].GetVersion())
	}
	return names
}
