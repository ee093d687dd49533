package measure

import "math"

// Shape is how a tyre has worn: where across it, or round it, rubber is missing
// that is there elsewhere. It is a hint at a cause and never a verdict.
type Shape int

// The shapes. ShapeUnknown says that too little was measured to tell.
const (
	ShapeUnknown  Shape = 0
	Even          Shape = 1
	WornCentre    Shape = 2
	WornShoulders Shape = 3 // both
	WornOuter     Shape = 4 // the outer shoulder alone, or more than the rest
	WornInner     Shape = 5
	WornPatches   Shape = 6 // places round the circumference differ
)

// shapeWords are what people read: the shape, and what the trade suspects
// behind it. All causes are common practice: a hint where to look first.
var shapeWords = map[Shape][2]string{
	Even:          {"even", ""},
	WornCentre:    {"worn in the centre", "run over-inflated, or with little load at full pressure"},
	WornShoulders: {"worn on both shoulders", "run under-inflated or overloaded; look for a slow leak"},
	WornOuter:     {"worn on the outer shoulder", "camber or toe-in out of true, a worn bearing or kingpin, or hard cornering"},
	WornInner:     {"worn on the inner shoulder", "camber or toe-out out of true, a worn bearing or kingpin, or a bent axle"},
	WornPatches:   {"worn in patches round the tyre", "a wheel that locked, is out of balance or runs out of true, a weak damper, or a loose bearing"},
}

// String returns the shape in words.
func (s Shape) String() string {
	if words, known := shapeWords[s]; known {
		return words[0]
	}
	return "not told by what was measured"
}

// Cause returns what the trade would look for first (common practice); empty
// when the wear is even or its shape unknown.
func (s Shape) Cause() string { return shapeWords[s][1] }

// What counts as a shape. Two depths differ when the step between them is at
// least shapeSteps of the gauge and at least shapeShare of the deepest zone.
const (
	// shapeShare of the deepest zone (common practice: about 1.5 mm on a tyre of
	// 8 mm; on a worn one less, because it is the same loss of a smaller rest).
	shapeShare = 0.2
	// shapeSteps: rounding can set two equal depths one step apart, and the hand
	// that sets the probe one more; two steps are noise, three are not.
	shapeSteps = 3
	// shoulderBreadth is the share of the breadth that is a shoulder, on each
	// side; what lies between is the centre. A point on the border is shoulder.
	shoulderBreadth = 0.25
)

// zones are the mean depths of the outer shoulder, the centre and the inner
// shoulder of one section; not a number where no depth was taken.
type zones [3]float64

const (
	outerZone  = 0
	centreZone = 1
	innerZone  = 2
)

// Shape returns how the tyre has worn, by a gauge of that resolution. It is the
// shape with the greatest step in depth. One shoulder can be told from the
// other without the centre; nothing else can be told with a zone missing, and
// nothing at all of a profile that fails Check or when the resolution is not a
// positive number.
func (p TreadProfile) Shape(resolutionMM float64) Shape {
	if p.Check() != nil || !(resolutionMM > 0) {
		return ShapeUnknown
	}
	sections := make([]zones, len(p))
	for i, s := range p {
		sections[i] = s.zones()
	}
	mean, deepest := middle(sections)
	least, rounding := max(shapeSteps*resolutionMM, shapeShare*deepest), shapeRounding*deepest
	shape, step := mean.across(rounding)
	if round := unlike(sections); round >= step-rounding {
		shape, step = WornPatches, round
	}
	switch {
	case math.IsInf(least, 1):
		return ShapeUnknown
	case step >= least-rounding:
		return shape
	case mean.missing():
		return ShapeUnknown
	}
	return Even
}

// shapeRounding is the share of the deepest zone by which steps that are equal
// in the decimals people read may differ in binary.
const shapeRounding = 1e-12

// zones returns the mean depth of the points in each zone.
func (s TreadSection) zones() zones {
	var mean zones
	var taken [3]float64
	for _, point := range s {
		zone := centreZone
		switch {
		case point.Across <= shoulderBreadth:
			zone = outerZone
		case point.Across >= 1-shoulderBreadth:
			zone = innerZone
		}
		taken[zone]++
		mean[zone] += (point.DepthMM - mean[zone]) / taken[zone]
	}
	for zone, points := range taken {
		if points == 0 {
			mean[zone] = math.NaN()
		}
	}
	return mean
}

// missing says that no depth was taken in one of the zones.
func (z zones) missing() bool {
	return math.IsNaN(z[outerZone] + z[centreZone] + z[innerZone])
}

// middle returns the mean of each zone over the sections that have it, and the
// deepest zone of all.
func middle(sections []zones) (mean zones, deepest float64) {
	for zone := range mean {
		taken := 0.0
		for _, s := range sections {
			if math.IsNaN(s[zone]) {
				continue
			}
			taken++
			mean[zone] += (s[zone] - mean[zone]) / taken
			deepest = max(deepest, s[zone])
		}
		if taken == 0 {
			mean[zone] = math.NaN()
		}
	}
	return mean, deepest
}

// across returns the shape of the greatest step across the tyre. One shoulder
// goes before both where the steps are equal: it points at parts that can
// break, not at air that is missing.
func (z zones) across(rounding float64) (Shape, float64) {
	outer, centre, inner := z[outerZone], z[centreZone], z[innerZone]
	shape, step := Even, 0.0
	for _, candidate := range []struct {
		shape Shape
		step  float64
	}{
		{WornOuter, inner - outer},
		{WornInner, outer - inner},
		{WornShoulders, centre - max(outer, inner)},
		{WornCentre, min(outer, inner) - centre},
	} {
		if candidate.step > step+rounding { // never where a zone is missing
			shape, step = candidate.shape, candidate.step
		}
	}
	return shape, step
}

// unlike returns the greatest difference between two sections in one zone.
func unlike(sections []zones) float64 {
	greatest := 0.0
	for zone := range (zones{}) {
		for _, a := range sections {
			for _, b := range sections {
				if step := a[zone] - b[zone]; step > greatest {
					greatest = step
				}
			}
		}
	}
	return greatest
}
