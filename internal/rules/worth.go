package rules

import (
	"math"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// coarsestStepMM is the step of the depth gauge when nobody knows which one was
// used: 1/32 inch, the coarsest in use (common practice).
const coarsestStepMM = 25.4 / 32

// observeWorth says what the numbers are worth: the standard uncertainty of each,
// where it can be known.
func (c Circumstances) observeWorth(o *pb.Observation) {
	g := c.Gauges[o.GetResult().GetGauge()]
	parts := o.GetStep().GetParts()
	for i, p := range parts {
		v := valueOf(o, p.GetId())
		if v == nil {
			continue
		}
		u, known := readingWorth(g, p, v)
		if !known {
			continue
		}
		if o.Uncertainties == nil {
			o.Uncertainties = make(map[string]float64, len(parts))
		}
		o.Uncertainties[p.GetId()] = u
		if i == 0 {
			o.HasUncertainty, o.StandardUncertainty = true, u
		}
		if p.GetId() == treadPart {
			o.TreadUncertaintyMm = u
		}
	}
	if o.GetResult().GetProfile() != nil && o.GetHasTread() && g.GetQuantity() == pb.Quantity_QUANTITY_LENGTH {
		if u := gaugeWorth(g, o.GetTreadLeastMm(), nil); isFinite(u) {
			o.TreadUncertaintyMm = u
		}
	}
}

// valueOf gives the value of a part that counts as given; nil when there is none.
func valueOf(o *pb.Observation, part string) *pb.Value {
	if _, given := o.GetValues()[part]; !given {
		return nil
	}
	for _, v := range o.GetResult().GetReading().GetValues() {
		if v.GetPart() == part {
			return v
		}
	}
	return nil
}

// readingWorth gives the standard uncertainty of one value, in the unit of its
// quantity; false when nobody knows it.
func readingWorth(g *pb.Gauge, p *pb.ReadingPart, v *pb.Value) (float64, bool) {
	if u, known := tracedWorth(g, p, v.GetTrace()); known {
		return u, isFinite(u)
	}
	if g == nil || g.GetQuantity() != p.GetQuantity() {
		return 0, false
	}
	u := gaugeWorth(g, v.GetSi(), readings(v, quantityOf(p).unit))
	return u, isFinite(u)
}

// gaugeWorth is what a gauge's number is worth: its permissible error, the step
// it shows, and how its readings scatter, by the register or by these readings,
// whichever is more.
func gaugeWorth(g *pb.Gauge, value float64, readings []float64) float64 {
	scatter := max(g.GetRepeatability(), standardDeviation(readings))
	return measure.MeanUncertainty(max(len(readings), 1), PermissibleError(g, value), g.GetResolution(), scatter)
}

// PermissibleError is how far a gauge may be off at a value, plus or minus, in the
// unit of its quantity: what its class permits, where that is more than what the
// register says.
func PermissibleError(g *pb.Gauge, value float64) float64 {
	mpe := g.GetMaxPermissibleError()
	if g.GetErrorClass() == pb.GaugeErrorClass_GAUGE_ERROR_CLASS_EN_12645 {
		mpe = max(mpe, float64(measure.TyreGaugeMPE(measure.Kilopascals(value))))
	}
	return mpe
}

// readings gives all readings of a value in a unit; only the first where one
// cannot be converted.
func readings(v *pb.Value, unit string) []float64 {
	all := make([]float64, 0, 1+len(v.GetAgain()))
	for _, typed := range append([]float64{v.GetAsTyped()}, v.GetAgain()...) {
		x, err := measure.Convert(typed, v.GetUnit(), unit)
		if err != nil {
			return []float64{v.GetSi()}
		}
		all = append(all, x)
	}
	return all
}

// standardDeviation of a sample (GUM 4.2.2); 0 for fewer than two.
func standardDeviation(sample []float64) float64 {
	if len(sample) < 2 {
		return 0
	}
	mean, sum := 0.0, 0.0
	for _, x := range sample {
		mean += x / float64(len(sample))
	}
	for _, x := range sample {
		sum += (x - mean) * (x - mean)
	}
	return math.Sqrt(sum / float64(len(sample)-1))
}

// shapes are those of package measure in the contract; never changed.
var shapes = map[measure.Shape]pb.TreadShape{
	measure.Even:          pb.TreadShape_TREAD_SHAPE_EVEN,
	measure.WornCentre:    pb.TreadShape_TREAD_SHAPE_CENTRE,
	measure.WornShoulders: pb.TreadShape_TREAD_SHAPE_BOTH_SHOULDERS,
	measure.WornOuter:     pb.TreadShape_TREAD_SHAPE_OUTER_SHOULDER,
	measure.WornInner:     pb.TreadShape_TREAD_SHAPE_INNER_SHOULDER,
	measure.WornPatches:   pb.TreadShape_TREAD_SHAPE_PATCHES,
}

// observeShape says how a tyre has worn, as finely as its gauge can tell.
func (c Circumstances) observeShape(o *pb.Observation) {
	profile := o.GetResult().GetProfile()
	if profile == nil || !o.GetHasTread() {
		return
	}
	step := coarsestStepMM
	if g := c.Gauges[o.GetResult().GetGauge()]; g.GetQuantity() == pb.Quantity_QUANTITY_LENGTH {
		step = g.GetResolution()
	}
	o.TreadShape = shapes[treadProfile(profile).Shape(step)]
}

// observeLitres says how much brings a level to its upper mark. Below the lower
// mark it is at least what lies between the marks, and to add that is never too much.
func observeLitres(o *pb.Observation) {
	between := o.GetStep().GetVolumeBetweenMarksL()
	if !o.GetHasLevel() || !isFinite(between) || between <= 0 {
		return
	}
	o.LitresToAdd = between * (1 - min(max(o.GetLevel(), 0), 1))
}
