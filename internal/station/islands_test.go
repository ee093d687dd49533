package station

import (
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/catalogue"
	"bayround/internal/countytest"
	pb "bayround/proto/bayround/v1"
)

// demoLibrary is the default files with the demo county's stations and vehicles.
func demoLibrary(t testing.TB) *library {
	t.Helper()
	lib, err := compileDemo()
	if err != nil {
		t.Fatal(err)
	}
	if len(lib.models) < 5 {
		t.Fatalf("the demo county has %d vehicles", len(lib.models))
	}
	return lib
}

// compileDemo works it out once: a library never changes, and compiling is dear.
var compileDemo = sync.OnceValues(func() (*library, error) {
	loaded, err := countytest.Load()
	if err != nil {
		return nil, err
	}
	a, err := prepare(loaded, emptyLibrary())
	if err != nil {
		return nil, err
	}
	return a.after, nil
})

// What the rules say of all results together is what they say of each island
// by itself: nothing is lost by judging only the island of a new result.
func TestIslands_JudgedAloneSayTheSame(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(1, 2)) //nolint:gosec // a repeatable test
	lib := demoLibrary(t)
	found := 0
	for _, name := range sortedKeys(lib.models) {
		m := lib.models[name]
		for range 10 {
			var all []*pb.Observation
			islands := map[int][]*pb.Observation{}
			for _, id := range sortedKeys(m.steps) {
				o := m.observe(m.steps[id], anyAnswer(random, m.steps[id]), nil)
				if o == nil || random.IntN(4) == 0 {
					continue
				}
				all = append(all, o)
				if island := m.steps[id].island; island != noIsland {
					islands[island] = append(islands[island], o)
				}
			}
			var parts []*pb.Finding
			for _, os := range islands {
				parts = append(parts, m.group(os)...)
			}
			whole := m.judge.Groups(all)
			found += len(whole)
			byID := func(a, b *pb.Finding) int { return slices.Compare([]byte(a.GetFindingId()), []byte(b.GetFindingId())) }
			slices.SortFunc(parts, byID)
			slices.SortFunc(whole, byID)
			if d := cmp.Diff(whole, parts, protocmp.Transform()); d != "" {
				t.Fatalf("%s (all together: -, by islands: +)\n%s", name, d)
			}
		}
	}
	if found == 0 {
		t.Error("no rule on groups has found anything; the test shows nothing")
	}
	t.Logf("%d findings about groups compared", found)
}

// anyAnswer makes up an answer, sound or not.
func anyAnswer(random *rand.Rand, s *step) *pb.Result {
	r := &pb.Result{
		ResultId: s.GetStepId(), StepId: s.GetStepId(), Round: []string{"rounds/a", "rounds/b"}[random.IntN(2)],
		StationTime: &timestamppb.Timestamp{Seconds: int64(random.IntN(100))},
	}
	switch s.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_READING:
		reading := &pb.Reading{}
		for _, p := range s.GetParts() {
			least, greatest := p.GetPossible().GetLeast(), p.GetPossible().GetGreatest()
			reading.Values = append(reading.Values, &pb.Value{Part: p.GetId(), Si: least + random.Float64()*(greatest-least)})
		}
		r.Answer = &pb.Result_Reading{Reading: reading}
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		section := &pb.TreadSection{}
		for _, across := range []float64{0, 0.3, 0.7, 1} {
			section.Points = append(section.Points, &pb.TreadPoint{Across: across, DepthMm: random.Float64() * 12})
		}
		r.Answer = &pb.Result_Profile{Profile: &pb.TreadProfile{Sections: []*pb.TreadSection{section}}}
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		r.Answer = &pb.Result_Level{Level: &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_BETWEEN, Fraction: random.Float64()}}
	case pb.AnswerKind_ANSWER_KIND_CONDITION:
		c := s.GetConditions()[random.IntN(len(s.GetConditions()))]
		r.Answer = &pb.Result_Seen{Seen: &pb.ConditionsSeen{Conditions: []*pb.ConditionSeen{{Condition: c.GetId()}}}}
		return r
	}
	for _, c := range s.GetConditions() {
		if random.IntN(3) == 0 {
			r.AlsoSeen = append(r.AlsoSeen, &pb.ConditionSeen{Condition: c.GetId()})
		}
	}
	return r
}

// Wheels that rules compare are peers of each other, though no rule looks at two of
// their items together.
func TestIslands_ComparedItemsShareOne(t *testing.T) {
	t.Parallel()
	alone := func(id string, items ...string) *pb.Rule {
		return &pb.Rule{Id: id, Scope: pb.RuleScope_RULE_SCOPE_GROUP, Items: items}
	}
	set := &catalogue.Library{Catalogue: &pb.Catalogue{}, Packs: map[string]*pb.RulePack{
		"packs/p": {Rules: []*pb.Rule{alone("front", "TYR-010"), alone("rear", "TYR-120"), alone("oil", "FLU-010")}},
	}}
	v := &pb.VehicleConfiguration{RulePacks: []string{"packs/p"}}
	apart := islandsOf(v, set, nil)
	if apart["TYR-010"] == apart["TYR-120"] {
		t.Errorf("nothing is compared: %v", apart)
	}
	compared := islandsOf(v, set, []string{"TYR-010", "TYR-120"})
	if compared["TYR-010"] != compared["TYR-120"] || compared["TYR-010"] == compared["FLU-010"] {
		t.Errorf("wheels are compared: %v", compared)
	}
}
