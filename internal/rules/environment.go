package rules

import (
	"fmt"

	"cel.dev/cel-go/cel"

	pb "bayround/proto/bayround/v1"
)

const (
	// longestExpression is the most letters an expression may have.
	longestExpression = 2000
	// longestText is the most bytes a text may have.
	longestText = 4000
	// deepestNesting is how deep an expression may nest.
	deepestNesting = 50
	// mostNodes is the most parts an expression may have after its macros are expanded.
	mostNodes = 2000
)

// The kinds of messages that expressions and functions handle; never changed.
var (
	vehicleType     = cel.ObjectType("bayround.v1.VehicleConfiguration")
	observationType = cel.ObjectType("bayround.v1.Observation")
	faultType       = cel.ObjectType("bayround.v1.Fault")
	trendType       = cel.ObjectType("bayround.v1.Trend")
	peersType       = cel.ObjectType("bayround.v1.PeerTrend")
)

// environments are the views an expression can have of the world.
type environments struct {
	vehicle, result, group, resultText, groupText view
}

// view is what one kind of expression sees.
type view struct {
	*cel.Env
	variables []string
	known     *vocabulary
	// passed holds the expressions that passed, by source: hundreds of rules
	// hold the same few. Only the goroutine that compiles uses it.
	passed map[string]*expression
}

// newEnvironments makes them. It fails only when our own declarations
// contradict each other.
func newEnvironments(known *vocabulary) (*environments, error) {
	base, err := cel.NewEnv(append(functions(),
		cel.Container("bayround.v1"),
		cel.Types(&pb.VehicleConfiguration{}, &pb.Observation{}, &pb.Fault{}),
		cel.Variable("vehicle", vehicleType),
		cel.CrossTypeNumericComparisons(true),
		cel.ParserExpressionSizeLimit(longestExpression),
		cel.ParserRecursionLimit(deepestNesting),
		cel.ExpressionNodeLimit(mostNodes),
		cel.ASTValidators(cel.ValidateRegexLiterals(), cel.ValidateDurationLiterals(),
			cel.ValidateTimestampLiterals(), cel.ValidateHomogeneousAggregateLiterals()),
	)...)
	if err != nil {
		return nil, fmt.Errorf("declaring what rules see: %w", err)
	}
	envs := &environments{vehicle: view{Env: base, variables: []string{"vehicle"}, known: known, passed: map[string]*expression{}}}
	for _, step := range []struct {
		to   *view
		from view
		name string
		kind *cel.Type
	}{
		{&envs.result, envs.vehicle, "o", observationType},
		{&envs.group, envs.vehicle, "group", cel.ListType(observationType)},
	} {
		if *step.to, err = step.from.with(step.name, step.kind); err != nil {
			return nil, err
		}
	}
	if envs.resultText, err = envs.result.with("fault", faultType); err != nil {
		return nil, err
	}
	envs.groupText, err = envs.group.with("fault", faultType)
	return envs, err
}

// with gives a view of one variable more.
func (w view) with(name string, kind *cel.Type) (view, error) {
	env, err := w.Extend(cel.Variable(name, kind))
	if err != nil {
		return view{}, fmt.Errorf("declaring %s to rules: %w", name, err)
	}
	w.Env, w.variables, w.passed = env, append([]string{name}, w.variables...), map[string]*expression{}
	return w, nil
}

// vocabulary is what the catalogue knows; nil maps when there is no catalogue.
type vocabulary struct {
	faults map[string]*pb.Fault
	owner  map[string]string // item of a fault
	items  map[string]*pb.Item
	ids    []string // of faults and items, in the catalogue's order
}

// newVocabulary reads the catalogue.
func newVocabulary(cat *pb.Catalogue) *vocabulary {
	known := &vocabulary{faults: map[string]*pb.Fault{}, owner: map[string]string{}, items: map[string]*pb.Item{}}
	for _, item := range cat.GetItems() {
		known.items[item.GetId()] = item
		known.ids = append(known.ids, item.GetId())
		for _, fault := range item.GetFaults() {
			known.faults[fault.GetId()] = fault
			known.owner[fault.GetId()] = item.GetId()
			known.ids = append(known.ids, fault.GetId())
		}
	}
	return known
}
