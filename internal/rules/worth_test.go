package rules_test

import (
	"math"
	"strings"
	"testing"

	"bayround/internal/measure"
	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// TestObserve_GaugeWorth: standard uncertainties of instrument-uncertainty.csv,
// through a gauge of the register.
func TestObserve_GaugeWorth(t *testing.T) {
	for _, row := range table(t, "instrument-uncertainty.csv", 7) {
		t.Run(row["instrument"]+": "+row["source"], func(t *testing.T) {
			kind, unit, s := pb.Quantity_QUANTITY_PRESSURE, "kPa", wheel("TYR-010", 1, nearside, 0)
			if strings.HasPrefix(row["instrument"], "tread") {
				kind, unit, s = pb.Quantity_QUANTITY_LENGTH, "mm", wheel("TYR-030", 1, nearside, 0)
			}
			in := func(column string) float64 {
				x, err := measure.Convert(figure(t, row, column), row["unit"], unit)
				if err != nil {
					t.Fatal(err)
				}
				return x
			}
			c := rules.Circumstances{Gauges: map[string]*pb.Gauge{"gauges/g": {
				Name: "gauges/g", Quantity: kind, MaxPermissibleError: in("mpe_half_width"), Resolution: in("resolution"), Repeatability: in("repeatability_sd"), CalibrationDue: day(100),
			}}}
			o := c.Observe(s, result(s, 1, func(r *pb.Result) {
				r.Gauge, r.LookedAt = "gauges/g", day(50)
				r.Answer = &pb.Result_Reading{Reading: &pb.Reading{Values: []*pb.Value{{Part: s.GetParts()[0].GetId(), AsTyped: 5, Unit: unit, Si: 5}}}}
			}))
			want := in("standard_uncertainty")
			got := map[string]float64{"of the value": o.GetStandardUncertainty(), "of the part": o.GetUncertainties()[s.GetParts()[0].GetId()]}
			if kind == pb.Quantity_QUANTITY_LENGTH {
				got["of the tread"] = o.GetTreadUncertaintyMm()
			}
			for of, u := range got {
				if !o.GetHasUncertainty() || math.Abs(u-want) > 1e-9*want {
					t.Errorf("%s: u = %v %s, want %v", of, u, unit, want)
				}
			}
		})
	}
}

// TestObserve_ErrorClass: the permissible errors of EN 12645 by the pressure read
// (gauge-limits.csv, MEMORY; so the greater one of class and register counts).
func TestObserve_ErrorClass(t *testing.T) {
	for _, tc := range []struct{ kpa, registered, mpe float64 }{
		{400, 1, 8}, {400.1, 1, 16}, {1000, 1, 16}, {1000.1, 1, 25}, {850, 20, 20},
	} {
		gauges := tyreGauge(func(g *pb.Gauge) {
			g.ErrorClass, g.MaxPermissibleError = pb.GaugeErrorClass_GAUGE_ERROR_CLASS_EN_12645, tc.registered
		})
		o := rules.Circumstances{Gauges: gauges}.Observe(pressureOn(50, "gauges/g-03", tc.kpa))
		if want := math.Hypot(tc.mpe/math.Sqrt(3), 10/math.Sqrt(12)); math.Abs(o.GetStandardUncertainty()-want) > 1e-9 {
			t.Errorf("%v kPa: u = %v, want %v", tc.kpa, o.GetStandardUncertainty(), want)
		}
	}
}

// TestObserve_ReadAgain: the mean of n readings scatters by s/√n (GUM 4.2.3); the
// gauge's own error and, of steady readings, the rounding stay.
func TestObserve_ReadAgain(t *testing.T) {
	again := func(unit string, si float64, typed ...float64) *pb.Observation {
		s, r := pressureOn(50, "gauges/g-03", 0)
		r.Answer = &pb.Result_Reading{Reading: &pb.Reading{Values: []*pb.Value{{Part: "pressure", AsTyped: typed[0], Again: typed[1:], Unit: unit, Si: si}}}}
		return rules.Circumstances{Gauges: tyreGauge(func(*pb.Gauge) {})}.Observe(s, r)
	}
	gauge, step := 16/math.Sqrt(3), 10/math.Sqrt(12)
	for _, tc := range []struct {
		name string
		o    *pb.Observation
		want float64
	}{
		{"once", again("bar", 800, 8), math.Hypot(gauge, step)},
		{"three the same", again("bar", 800, 8, 8, 8), math.Hypot(gauge, step)},
		// 7.9, 8.0, 8.1 bar: s = 0.1 bar = 10 kPa, more than half a step.
		{"three that scatter", again("bar", 800, 7.9, 8, 8.1), math.Hypot(gauge, math.Hypot(step, 10)/math.Sqrt(3))},
		{"in a unit that is none", again("parsec", 800, 7.9, 8, 8.1), math.Hypot(gauge, step)},
	} {
		if math.Abs(tc.o.GetStandardUncertainty()-tc.want) > 1e-9 {
			t.Errorf("%s: u = %v, want %v", tc.name, tc.o.GetStandardUncertainty(), tc.want)
		}
	}
}

// TestObserve_WorthNotKnown: nothing is made up about a gauge that nobody knows.
func TestObserve_WorthNotKnown(t *testing.T) {
	other := tyreGauge(func(g *pb.Gauge) { g.Quantity = pb.Quantity_QUANTITY_LENGTH })
	broken := tyreGauge(func(g *pb.Gauge) { g.Resolution = math.NaN() })
	for name, o := range map[string]*pb.Observation{
		"none named":              rules.Circumstances{Gauges: tyreGauge(func(*pb.Gauge) {})}.Observe(pressureOn(50, "", 850)),
		"not on the register":     rules.Circumstances{Gauges: tyreGauge(func(*pb.Gauge) {})}.Observe(pressureOn(50, "gauges/x", 850)),
		"measures something else": rules.Circumstances{Gauges: other}.Observe(pressureOn(50, "gauges/g-03", 850)),
		"register out of order":   rules.Circumstances{Gauges: broken}.Observe(pressureOn(50, "gauges/g-03", 850)),
	} {
		if o.GetHasUncertainty() || o.GetStandardUncertainty() != 0 || len(o.GetUncertainties()) > 0 {
			t.Errorf("%s: u = %v", name, o.GetStandardUncertainty())
		}
	}
}

// TestObserve_ShapeAndLitres: wear as the depth gauge can tell it, and what to top up.
func TestObserve_ShapeAndLitres(t *testing.T) {
	s := wheel("TYR-030", 1, nearside, 0)
	worn := tread(s, 4.5, 5, 5, 5, 5, 5, 4.5).GetResult() // half a millimetre at both shoulders
	fine := rules.Circumstances{Gauges: map[string]*pb.Gauge{"gauges/d": {Quantity: pb.Quantity_QUANTITY_LENGTH, Resolution: 0.1, MaxPermissibleError: 0.1}}}
	worn.Gauge = "gauges/d"
	if got := fine.Observe(s, worn).GetTreadShape(); got != pb.TreadShape_TREAD_SHAPE_EVEN {
		t.Errorf("0.5 mm of 5 mm: %v", got) // a tenth is less than a fifth
	}
	deep := tread(s, 1, 2, 5, 5, 5, 5, 5)
	if got := deep.GetTreadShape(); got != pb.TreadShape_TREAD_SHAPE_OUTER_SHOULDER {
		t.Errorf("3.5 mm at the outer shoulder without a gauge: %v", got)
	}
	if o := tread(wheel("TYR-030", 1, nearside, 0), 5, 5); o.GetTreadUncertaintyMm() != 0 {
		t.Errorf("worth of a depth without a gauge: %v", o.GetTreadUncertaintyMm())
	}
	oil := step("FLU-010", "a")
	for _, tc := range []struct {
		mark                    pb.LevelMark
		fraction, between, want float64
	}{
		{pb.LevelMark_LEVEL_MARK_BETWEEN, 0.25, 4, 3},
		{pb.LevelMark_LEVEL_MARK_BETWEEN, 1, 4, 0},
		{pb.LevelMark_LEVEL_MARK_BELOW, 0, 4, 4},
		{pb.LevelMark_LEVEL_MARK_ABOVE, 0, 4, 0},
		{pb.LevelMark_LEVEL_MARK_BETWEEN, 0.25, 0, 0},
	} {
		oil.VolumeBetweenMarksL = tc.between
		if got := level(oil, tc.mark, tc.fraction).GetLitresToAdd(); got != tc.want {
			t.Errorf("%v %v of %v l: %v l, want %v", tc.mark, tc.fraction, tc.between, got, tc.want)
		}
	}
}
