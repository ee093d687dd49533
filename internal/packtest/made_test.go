package packtest

import (
	"maps"
	"slices"
	"strings"
	"sync"
	"testing"

	"google.golang.org/protobuf/proto"

	"bayround/internal/catalogue"
	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

const (
	policyPack = "packs/wendmoor-policy"
	annexPack  = "packs/eu-roadworthiness"
	gbPack     = "packs/gb-use"
	usPack     = "packs/us-49cfr"

	// spot is the place of every made step.
	spot = "spot"
)

// defaults is everything that comes with Bayround, loaded and compiled once.
type defaults struct {
	loaded *catalogue.Loaded
	engine *rules.Engine
	items  map[string]*pb.Item
	packs  map[string]*pb.RulePack
}

// load gives the defaults; the tests only read them.
var load = sync.OnceValues(func() (*defaults, error) {
	loaded, err := catalogue.Load(catalogue.Defaults())
	if err != nil {
		return nil, err
	}
	engine, err := rules.Compile(loaded.RulePacks, loaded.Catalogue)
	if err != nil {
		return nil, err
	}
	d := &defaults{loaded: loaded, engine: engine, items: map[string]*pb.Item{}, packs: map[string]*pb.RulePack{}}
	for _, item := range loaded.Catalogue.GetItems() {
		d.items[item.GetId()] = item
	}
	for _, p := range loaded.RulePacks {
		d.packs[p.GetName()] = p
	}
	return d, nil
})

func ours(t testing.TB) *defaults {
	t.Helper()
	d, err := load()
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// rule gives a rule of a pack by id.
func (d *defaults) rule(t testing.TB, pack, id string) *pb.Rule {
	t.Helper()
	for _, r := range d.packs[pack].GetRules() {
		if r.GetId() == id {
			return r
		}
	}
	t.Fatalf("%s has no rule %s", pack, id)
	return nil
}

// judge prepares a vehicle's judge.
func (d *defaults) judge(t testing.TB, v *pb.VehicleConfiguration, packs ...string) *rules.Judge {
	t.Helper()
	v = proto.CloneOf(v)
	v.RulePacks = packs
	j, err := d.engine.For(v)
	if err != nil {
		t.Fatal(err)
	}
	return j
}

// answerable tells which faults some condition of the catalogue stands for.
func (d *defaults) answerable() map[string]bool {
	seen := map[string]bool{}
	for _, item := range d.items {
		for _, c := range item.GetConditions() {
			if c.GetFault() != "" {
				seen[c.GetFault()] = true
			}
		}
	}
	return seen
}

// fault gives a fault of the catalogue by id.
func (d *defaults) fault(t testing.TB, id string) *pb.Fault {
	t.Helper()
	for _, f := range d.items[itemOf(id)].GetFaults() {
		if f.GetId() == id {
			return f
		}
	}
	t.Fatalf("no item has the fault %s", id)
	return nil
}

// itemIDs gives the items of the catalogue in order.
func (d *defaults) itemIDs() []string { return slices.Sorted(maps.Keys(d.items)) }

// itemOf is the item a fault belongs to: the fault without its last number.
func itemOf(fault string) string { return fault[:strings.LastIndex(fault, "-")] }

// heavy is an air-braked pump of 18 t whose lamps have diodes.
func heavy() *pb.VehicleConfiguration {
	return &pb.VehicleConfiguration{
		Name: "vehicles/heavy", Category: pb.VehicleCategory_VEHICLE_CATEGORY_N3, GrossMassKg: 18000,
		PowerTrain: pb.PowerTrain_POWER_TRAIN_DIESEL, BrakingSystem: pb.BrakingSystem_BRAKING_SYSTEM_AIR, SystemVoltageV: 24,
		Axles: []*pb.Axle{
			{Steers: true, WheelsPerSide: 1, Fixing: &pb.WheelFixing{Count: 10}},
			{Driven: true, WheelsPerSide: 2, Fixing: &pb.WheelFixing{Count: 10}},
		},
		Lamps: []*pb.Lamp{{Place: &pb.Place{Id: spot}, Technology: pb.LampTechnology_LAMP_TECHNOLOGY_LED, LightSources: 24}},
		Fittings: []*pb.Fitting{
			{Kind: pb.FittingKind_FITTING_KIND_MIRROR, Side: pb.Side_SIDE_NEARSIDE},
			{Kind: pb.FittingKind_FITTING_KIND_MIRROR, Side: pb.Side_SIDE_OFFSIDE},
		},
		Seats:    []*pb.Seat{{}, {}, {}, {}, {}, {}},
		Features: []string{"pump", "hydraulic_steering"},
	}
}

// light is a carrier of 3.2 t with hydraulic brakes, electric steering help and bulbs.
func light() *pb.VehicleConfiguration {
	v := heavy()
	v.Name, v.Category, v.GrossMassKg = "vehicles/light", pb.VehicleCategory_VEHICLE_CATEGORY_N1, 3200
	v.BrakingSystem, v.SystemVoltageV, v.Features = pb.BrakingSystem_BRAKING_SYSTEM_HYDRAULIC, 12, nil
	v.Lamps[0].Technology, v.Lamps[0].LightSources = pb.LampTechnology_LAMP_TECHNOLOGY_FILAMENT, 2
	for _, axle := range v.GetAxles() {
		axle.Fixing.Count = 6
	}
	return v
}

// step is one item of the catalogue at the made spot.
func step(item *pb.Item, change ...func(*pb.CheckStep)) *pb.CheckStep {
	s := &pb.CheckStep{
		StepId: item.GetId() + "/" + spot, Item: item.GetId(), Place: &pb.Place{Id: spot}, AnswerKind: item.GetAnswerKind(),
		Parts: item.GetParts(), Conditions: item.GetConditions(), Axle: 1, Side: item.GetSide(), Alike: 1,
	}
	if functions := item.GetLampFunctions(); len(functions) > 0 {
		s.LampFunction = functions[0]
	}
	for _, c := range change {
		c(s)
	}
	return s
}

// at puts a made step somewhere.
func at(place string, axle int32, side pb.Side) func(*pb.CheckStep) {
	return func(s *pb.CheckStep) {
		s.StepId, s.Place = s.GetItem()+"/"+place, &pb.Place{Id: place}
		s.Axle, s.Side = axle, side
	}
}

// asked is the made step of an item, with the target that a tyre pressure is
// judged against.
func asked(item *pb.Item, change ...func(*pb.CheckStep)) *pb.CheckStep {
	if isTyrePressure(item) {
		change = append(change, aimedAt(800))
	}
	return step(item, change...)
}

// aimedAt gives a made step its target.
func aimedAt(target float64) func(*pb.CheckStep) {
	return func(s *pb.CheckStep) { s.Target = &target }
}

// seen observes conditions at a step; a nil count is none given.
func seen(s *pb.CheckStep, count *pb.Count, conditions ...string) *pb.Observation {
	answer := &pb.ConditionsSeen{Conditions: counted(count, conditions)}
	return observe(s, &pb.Result{StepId: s.GetStepId(), Answer: &pb.Result_Seen{Seen: answer}})
}

// beside observes conditions seen beside the value of an observation.
func beside(o *pb.Observation, count *pb.Count, conditions ...string) *pb.Observation {
	r := proto.CloneOf(o.GetResult())
	r.AlsoSeen = counted(count, conditions)
	return observe(o.GetStep(), r)
}

func counted(count *pb.Count, conditions []string) (all []*pb.ConditionSeen) {
	for _, c := range conditions {
		all = append(all, &pb.ConditionSeen{Condition: c, Count: count})
	}
	return all
}

// showing observes a condition at a step, by itself or, where the step asks for a
// value, beside one that sets nothing off.
func showing(t testing.TB, j *rules.Judge, s *pb.CheckStep, count *pb.Count, condition string) *pb.Observation {
	t.Helper()
	if s.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_CONDITION {
		return seen(s, count, condition)
	}
	value := soundAnswer(j, s)
	if value == nil {
		t.Fatalf("no value of %s is sound", s.GetItem())
	}
	return beside(value, count, condition)
}

// read observes values at a step, in the order of its parts and in their units.
func read(s *pb.CheckStep, values ...float64) *pb.Observation {
	answer := &pb.Reading{}
	for i, v := range values {
		answer.Values = append(answer.Values, &pb.Value{Part: s.GetParts()[i].GetId(), Si: v})
	}
	return observe(s, &pb.Result{StepId: s.GetStepId(), Answer: &pb.Result_Reading{Reading: answer}})
}

// depths observes a tread profile of evenly spaced points, outer shoulder first.
func depths(s *pb.CheckStep, millimetres ...float64) *pb.Observation {
	section := &pb.TreadSection{}
	for i, mm := range millimetres {
		section.Points = append(section.Points, &pb.TreadPoint{Across: float64(i) / float64(len(millimetres)-1), DepthMm: mm})
	}
	profile := &pb.TreadProfile{Sections: []*pb.TreadSection{section}}
	return observe(s, &pb.Result{StepId: s.GetStepId(), Answer: &pb.Result_Profile{Profile: profile}})
}

// levelled observes a level: below 0 under the lower mark, above 1 over the upper one.
func levelled(s *pb.CheckStep, fraction float64) *pb.Observation {
	level := &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_BETWEEN, Fraction: fraction}
	switch {
	case fraction < 0:
		level = &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_BELOW}
	case fraction > 1:
		level = &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_ABOVE}
	}
	return observe(s, &pb.Result{StepId: s.GetStepId(), Answer: &pb.Result_Level{Level: level}})
}

// ruleIDs lists which rules say that something is wrong.
func ruleIDs(findings []*pb.Finding) []string {
	ids := make([]string, 0, len(findings))
	for _, f := range findings {
		if !undecided(f) {
			ids = append(ids, f.GetRule())
		}
	}
	return ids
}

// by gives the finding of one rule that says that something is wrong, or nil.
func by(findings []*pb.Finding, rule string) *pb.Finding {
	for _, f := range findings {
		if f.GetRule() == rule && !undecided(f) {
			return f
		}
	}
	return nil
}

// undecided tells that a finding says only that nobody can tell.
func undecided(f *pb.Finding) bool {
	return f.GetLimit().GetOutcome() == pb.LimitOutcome_LIMIT_OUTCOME_CANNOT_TELL
}
