package rules_test

import (
	"math"
	"testing"

	"google.golang.org/protobuf/types/known/durationpb"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// coldWheel is a step whose pressure is judged cold, aimed at 850 kPa.
func coldWheel(axle int32, side pb.Side, twin pb.TwinPosition) *pb.CheckStep {
	s := wheel("TYR-010", axle, side, twin)
	s.ColdAfter, s.Units = durationpb.New(3*3600*1e9), []string{"bar"}
	return s
}

// readIn is a pressure of a cold tyre read in air of a temperature.
func readIn(s *pb.CheckStep, on int, kpa, celsius float64) *pb.Result {
	r := result(s, 1, func(r *pb.Result) {
		r.LookedAt, r.Gauge, r.AirCelsius = day(on), "gauges/g-03", &celsius
		r.Answer = &pb.Result_Reading{Reading: &pb.Reading{Values: []*pb.Value{{Part: "pressure", AsTyped: kpa / 100, Unit: "bar", Si: kpa}}}}
	})
	return r
}

// TestObserve_Normalised: readings of tyre-pressure-temperature.csv that stay at
// one height, brought to the second temperature.
func TestObserve_Normalised(t *testing.T) {
	held := 0
	for _, row := range table(t, "tyre-pressure-temperature.csv", 9) {
		if row["altitude_m_1"] != row["altitude_m_2"] {
			continue // the station does not move
		}
		held++
		t.Run(row["case"], func(t *testing.T) {
			s := coldWheel(1, nearside, 0)
			c := rules.Circumstances{Station: &pb.Station{AltitudeM: figure(t, row, "altitude_m_1"), ReferenceCelsius: figure(t, row, "celsius_2")}}
			read := figure(t, row, "gauge_kpa_1")
			o := c.Observe(s, readIn(s, 50, read, figure(t, row, "celsius_1")))
			want := figure(t, row, "gauge_kpa_2")
			if !o.GetNormalised() || math.Abs(o.GetValue()-want) > 1e-3 || o.GetAsRead() != read || math.Abs(o.GetValues()["pressure"]-want) > 1e-3 {
				t.Errorf("%v kPa of %v as read, want %v of %v", o.GetValue(), o.GetAsRead(), want, read)
			}
			if math.Abs(o.GetShareOfTarget()-want/850) > 1e-5 {
				t.Errorf("share %v", o.GetShareOfTarget())
			}
		})
	}
	if held < 7 {
		t.Errorf("only %d rows were held", held)
	}
}

// TestObserve_NormalisedWorth: gauge and thermometer together. By hand, for 850 kPa
// read at 0 °C and brought to 20 °C at sea level: the gauge's u grows by
// 293.15/273.15, and a kelvin of the thermometer is 951.325·293.15/273.15² kPa.
func TestObserve_NormalisedWorth(t *testing.T) {
	s := coldWheel(1, nearside, 0)
	c := rules.Circumstances{Station: &pb.Station{ReferenceCelsius: 20}, Gauges: tyreGauge(func(g *pb.Gauge) { g.Checks = []*pb.GaugeCheck{checked(60, 28, false)} })}
	o := c.Observe(s, readIn(s, 50, 850, 0))
	gauge := math.Hypot(16/math.Sqrt(3), 10/math.Sqrt(12)) * 293.15 / 273.15
	air := 951.325 * 293.15 / (273.15 * 273.15) * 2 / math.Sqrt(3)
	if want := math.Hypot(gauge, air); math.Abs(o.GetStandardUncertainty()-want) > 1e-9 || o.GetUncertainties()["pressure"] != o.GetStandardUncertainty() {
		t.Errorf("u = %v, want %v", o.GetStandardUncertainty(), want)
	}
	if want := 28 * 293.15 / 273.15; math.Abs(o.GetMayReadHighBy()-want) > 1e-9 {
		t.Errorf("may read high by %v, want %v", o.GetMayReadHighBy(), want)
	}
}

// TestObserve_NotNormalised: what stands as it was read.
func TestObserve_NotNormalised(t *testing.T) {
	cold, warm := coldWheel(1, nearside, 0), wheel("TYR-010", 1, nearside, 0)
	station := rules.Circumstances{Station: &pb.Station{ReferenceCelsius: 20}}
	unread := readIn(cold, 50, 800, 0)
	unread.AirCelsius = nil
	for name, o := range map[string]*pb.Observation{
		"nobody knows where":        rules.Circumstances{}.Observe(cold, readIn(cold, 50, 800, 0)),
		"no temperature":            station.Observe(cold, unread),
		"need not be cold":          station.Observe(warm, readIn(warm, 50, 800, 0)),
		"temperature that is none":  station.Observe(cold, readIn(cold, 50, 800, math.NaN())),
		"temperature below nothing": station.Observe(cold, readIn(cold, 50, 800, -300)),
	} {
		if o.GetNormalised() || o.GetValue() != 800 || o.GetAsRead() != 800 {
			t.Errorf("%s: %v kPa, normalised %v", name, o.GetValue(), o.GetNormalised())
		}
	}
}

// TestObserve_TracedWorth: what is tapped, timed or watched says itself what it is worth.
func TestObserve_TracedWorth(t *testing.T) {
	observe := func(how pb.ReadingHow, q pb.Quantity, v *pb.Value) *pb.Observation {
		s := step("AIR-010", "a")
		s.Parts = []*pb.ReadingPart{{Id: "leak", Quantity: q, How: how}}
		v.Part = "leak"
		return rules.Observe(s, result(s, 1, func(r *pb.Result) { r.Answer = &pb.Result_Reading{Reading: &pb.Reading{Values: []*pb.Value{v}}} }))
	}
	const tapped, timed, watched = pb.ReadingHow_READING_HOW_TAPPED, pb.ReadingHow_READING_HOW_TIMED, pb.ReadingHow_READING_HOW_WATCHED
	even := &pb.Trace{AtS: []float64{0, 0.7, 1.4, 2.1, 2.8, 3.5, 4.2, 4.9, 5.6}}
	uneven := &pb.Trace{AtS: []float64{0, 0.75, 1.4, 2.1, 2.75, 3.5, 4.25, 4.9, 5.6}}
	steady := observe(tapped, pb.Quantity_QUANTITY_FREQUENCY, &pb.Value{Si: 85.7, Trace: even})
	shaky := observe(tapped, pb.Quantity_QUANTITY_FREQUENCY, &pb.Value{Si: 85.7, Trace: uneven})
	if !steady.GetHasUncertainty() || steady.GetStandardUncertainty() > 1e-6 || !(shaky.GetStandardUncertainty() > 0.1) {
		t.Errorf("steady taps u = %v, uneven ones u = %v", steady.GetStandardUncertainty(), shaky.GetStandardUncertainty())
	}
	few := observe(tapped, pb.Quantity_QUANTITY_FREQUENCY, &pb.Value{Si: 85.7, Trace: &pb.Trace{AtS: []float64{0, 0.7}}})
	if few.GetHasUncertainty() {
		t.Error("two taps are worth something")
	}
	// Start and stop, each off by 0.2 s at most: √2·0.2/√3 (GUM 4.3.7).
	timer := observe(timed, pb.Quantity_QUANTITY_DURATION, &pb.Value{Si: 45, Trace: &pb.Trace{AtS: []float64{0, 45}}})
	if want := math.Sqrt2 * 0.2 / math.Sqrt(3); math.Abs(timer.GetStandardUncertainty()-want) > 1e-12 {
		t.Errorf("timer u = %v, want %v", timer.GetStandardUncertainty(), want)
	}
	// Two readings to 0.1 bar, two minutes apart: √2·10/√12/2 kPa a minute (GUM F.2.2.1).
	two := observe(watched, pb.Quantity_QUANTITY_PRESSURE_RATE, &pb.Value{Si: 5, Trace: &pb.Trace{AtS: []float64{0, 120}, AsTyped: []float64{8, 7.9}, Unit: "bar"}})
	if want := math.Sqrt2 * 10 / math.Sqrt(12) / 2; math.Abs(two.GetStandardUncertainty()-want) > 1e-12 {
		t.Errorf("watched u = %v, want %v", two.GetStandardUncertainty(), want)
	}
	wild := observe(watched, pb.Quantity_QUANTITY_PRESSURE_RATE, &pb.Value{Si: 5, Trace: &pb.Trace{AtS: []float64{0, 60, 120, 180}, AsTyped: []float64{8, 7, 8, 7}, Unit: "bar"}})
	if !(wild.GetStandardUncertainty() > two.GetStandardUncertainty()) {
		t.Errorf("pressures that jump: u = %v", wild.GetStandardUncertainty())
	}
	for name, trace := range map[string]*pb.Trace{
		"no pressures": {AtS: []float64{0, 60}}, "no time": {AtS: []float64{0, 0}, AsTyped: []float64{8, 7}, Unit: "bar"},
		"no such unit": {AtS: []float64{0, 60}, AsTyped: []float64{8, 7}, Unit: "parsec"}, "none": nil,
	} {
		if o := observe(watched, pb.Quantity_QUANTITY_PRESSURE_RATE, &pb.Value{Si: 5, Trace: trace}); o.GetHasUncertainty() {
			t.Errorf("%s: u = %v", name, o.GetStandardUncertainty())
		}
	}
}
