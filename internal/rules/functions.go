package rules

import (
	"math"
	"slices"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/common/types/ref"
	"cel.dev/cel-go/common/types/traits"

	"bayround/internal/feature"
	"bayround/internal/trend"
	pb "bayround/proto/bayround/v1"
)

const (
	kilopascalsPerPsi = 6.894757293168361 // exact pound, inch and standard gravity
	kilopascalsPerBar = 100
	mostDecimals      = 6
)

// usages shows how functions are written, for finding what a slip of the pen
// meant; never changed.
var usages = []struct{ name, written string }{
	{"seen", `seen(o, "LMP-010-01")`},
	{"count_seen", `count_seen(group, ["LMP-010-01"])`},
	{"feature", `feature(vehicle, "pump")`},
	{"least", "least(group.map(x, x.value))"},
	{"greatest", "greatest(group.map(x, x.value))"},
	{"spread", "spread(group.map(x, x.value))"},
	{"round", "round(o.value, 1)"},
	{"psi", "psi(o.value)"},
	{"bar", "bar(o.value)"},
	{"days_until", "days_until(o, 3.0)"},
	{"size", "size(group)"},
	{"has", "has(o.step.place)"},
	{"double", "double(o.affected)"},
	{"int", "int(o.value)"},
	{"string", "string(o.affected)"},
	{"contains", `o.result.note.contains("frost")`},
	{"startsWith", `o.step.item.startsWith("TYR-")`},
	{"endsWith", `o.step.step_id.endsWith("-inner")`},
	{"matches", `o.result.note.matches("frost|ice")`},
	{"exists", "group.exists(x, x.value < 690.0)"},
	{"exists_one", "group.exists_one(x, x.value < 690.0)"},
	{"all", "group.all(x, x.has_value)"},
	{"map", "group.map(x, x.value)"},
	{"filter", "group.filter(x, x.has_value)"},
}

// functions are the ones packs may call beside CEL's own; package doc lists them.
func functions() []cel.EnvOption {
	doubles := cel.ListType(cel.DoubleType)
	return []cel.EnvOption{
		cel.Function("seen", cel.Overload("seen_observation_string",
			[]*cel.Type{observationType, cel.StringType}, cel.BoolType, cel.BinaryBinding(seen))),
		cel.Function("count_seen", cel.Overload("count_seen_list_list",
			[]*cel.Type{cel.ListType(observationType), cel.ListType(cel.StringType)}, cel.IntType, cel.BinaryBinding(countSeen))),
		cel.Function("feature", cel.Overload("feature_vehicle_string",
			[]*cel.Type{vehicleType, cel.StringType}, cel.BoolType, cel.BinaryBinding(hasFeature))),
		cel.Function("least", cel.Overload("least_list", []*cel.Type{doubles}, cel.DoubleType, cel.UnaryBinding(least))),
		cel.Function("greatest", cel.Overload("greatest_list", []*cel.Type{doubles}, cel.DoubleType, cel.UnaryBinding(greatest))),
		cel.Function("spread", cel.Overload("spread_list", []*cel.Type{doubles}, cel.DoubleType, cel.UnaryBinding(spread))),
		cel.Function("round", cel.Overload("round_double_int",
			[]*cel.Type{cel.DoubleType, cel.IntType}, cel.DoubleType, cel.BinaryBinding(round))),
		cel.Function("psi", cel.Overload("psi_double", []*cel.Type{cel.DoubleType}, cel.DoubleType, cel.UnaryBinding(scaled(kilopascalsPerPsi)))),
		cel.Function("days_until", cel.Overload("days_until_observation_double",
			[]*cel.Type{observationType, cel.DoubleType}, cel.DoubleType, cel.BinaryBinding(daysUntil))),
		cel.Function("bar", cel.Overload("bar_double", []*cel.Type{cel.DoubleType}, cel.DoubleType, cel.UnaryBinding(scaled(kilopascalsPerBar)))),
	}
}

func seen(observation, fault ref.Val) ref.Val {
	o, ok := observation.Value().(*pb.Observation)
	id, isString := fault.(types.String)
	if !ok || !isString {
		return types.MaybeNoSuchOverloadErr(observation)
	}
	return types.Bool(slices.Contains(o.GetFaults(), string(id)))
}

func countSeen(group, faults ref.Val) ref.Val {
	ids, ok := faults.(traits.Lister)
	if !ok {
		return types.MaybeNoSuchOverloadErr(faults)
	}
	count := 0
	err := each(group, func(v ref.Val) ref.Val {
		o, ok := v.Value().(*pb.Observation)
		if !ok {
			return types.MaybeNoSuchOverloadErr(v)
		}
		if slices.ContainsFunc(o.GetFaults(), func(f string) bool { return ids.Contains(types.String(f)) == types.True }) {
			count++
		}
		return nil
	})
	if err != nil {
		return err
	}
	return types.Int(count)
}

func hasFeature(vehicle, word ref.Val) ref.Val {
	v, ok := vehicle.Value().(*pb.VehicleConfiguration)
	w, isString := word.(types.String)
	if !ok || !isString {
		return types.MaybeNoSuchOverloadErr(vehicle)
	}
	return types.Bool(feature.Has(v, string(w)))
}

func least(list ref.Val) ref.Val {
	low, _, n, err := extremes(list)
	switch {
	case err != nil:
		return err
	case n == 0:
		return types.NewErr("the least of an empty list")
	}
	return types.Double(low)
}

func greatest(list ref.Val) ref.Val {
	_, high, n, err := extremes(list)
	switch {
	case err != nil:
		return err
	case n == 0:
		return types.NewErr("the greatest of an empty list")
	}
	return types.Double(high)
}

func spread(list ref.Val) ref.Val {
	low, high, n, err := extremes(list)
	switch {
	case err != nil:
		return err
	case n < 2:
		return types.Double(0)
	}
	return types.Double(high - low)
}

// extremes gives the least and greatest of a list of numbers and how many there
// are. One that is no number spoils them all: comparing with it says nothing.
func extremes(list ref.Val) (low, high float64, n int, err ref.Val) {
	low, high = math.Inf(1), math.Inf(-1)
	err = each(list, func(v ref.Val) ref.Val {
		d, ok := v.(types.Double)
		if !ok {
			return types.MaybeNoSuchOverloadErr(v)
		}
		if math.IsNaN(float64(d)) {
			return types.NewErr("one value in the list is not a number")
		}
		low, high, n = min(low, float64(d)), max(high, float64(d)), n+1
		return nil
	})
	return low, high, n, err
}

// each calls do for every element of a list until one gives an error value.
func each(list ref.Val, do func(ref.Val) ref.Val) ref.Val {
	l, ok := list.(traits.Lister)
	if !ok {
		return types.MaybeNoSuchOverloadErr(list)
	}
	for it := l.Iterator(); it.HasNext() == types.True; {
		if err := do(it.Next()); err != nil {
			return err
		}
	}
	return nil
}

func round(x, decimals ref.Val) ref.Val {
	value, ok := x.(types.Double)
	places, isInt := decimals.(types.Int)
	if !ok || !isInt {
		return types.MaybeNoSuchOverloadErr(x)
	}
	if places < 0 || places > mostDecimals {
		return types.NewErr("round to %d decimals: 0 to %d are possible", places, mostDecimals)
	}
	scale := math.Pow10(int(places))
	return types.Double(math.Round(float64(value)*scale) / scale)
}

// scaled gives a function that divides kilopascals by the kilopascals in one unit.
func scaled(kilopascals float64) func(ref.Val) ref.Val {
	return func(v ref.Val) ref.Val {
		d, ok := v.(types.Double)
		if !ok {
			return types.MaybeNoSuchOverloadErr(v)
		}
		return types.Double(float64(d) / kilopascals)
	}
}

// daysUntil gives in how many days the trend reaches a bound at the earliest: by
// the steeper end of the slope's 95 % interval, as forecasts do. 0 when it is there
// already, trend.Never when it does not lead there.
func daysUntil(observation, bound ref.Val) ref.Val {
	o, ok := observation.Value().(*pb.Observation)
	b, isDouble := bound.(types.Double)
	switch {
	case !ok || !isDouble:
		return types.MaybeNoSuchOverloadErr(observation)
	case !o.GetTrend().GetHasSlope():
		return types.NewErr("there is too little to speak of a slope")
	case !isFinite(float64(b)):
		return types.NewErr("the bound is no number")
	}
	course := courseOf(o.GetTrend())
	limit := trend.Limit{Value: float64(b), Above: float64(b) > course.Level}
	if days := course.Until(limit).Earliest; days >= 0 {
		return types.Double(days)
	}
	return types.Double(trend.Never) // a trend with a number that is none
}

// courseOf is where a trend is heading.
func courseOf(t *pb.Trend) trend.Course {
	return trend.Course{
		Level: t.GetLevel(), PerDay: t.GetSlopePerWeek() / 7,
		Low: t.GetSlopeLowPerWeek() / 7, High: t.GetSlopeHighPerWeek() / 7, Days: t.GetDays(),
	}
}
