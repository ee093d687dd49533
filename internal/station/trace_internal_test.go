package station

import (
	"errors"
	"math"
	"testing"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

func partOfKind(q pb.Quantity, how pb.ReadingHow, least float64) *pb.ReadingPart {
	wide := &pb.Range{Least: least, Greatest: 2000}
	return &pb.ReadingPart{Id: "part", Title: "the value", Quantity: q, How: how, Plausible: wide, Possible: wide}
}

// beat is so many instants at one distance.
func beat(taps int, every float64) []float64 {
	at := make([]float64, taps)
	for i := range at {
		at[i] = float64(i) * every
	}
	return at
}

// The values follow from the definitions of mean, rate and frequency (SI Brochure:
// 1 bar is 100 kPa, 1 min is 60 s).
func TestSettleValue(t *testing.T) {
	const (
		tapped  = pb.ReadingHow_READING_HOW_TAPPED
		timed   = pb.ReadingHow_READING_HOW_TIMED
		watched = pb.ReadingHow_READING_HOW_WATCHED
	)
	pressure := partOfKind(pb.Quantity_QUANTITY_PRESSURE, 0, 0)
	flashes := partOfKind(pb.Quantity_QUANTITY_FREQUENCY, tapped, 0)
	seconds := partOfKind(pb.Quantity_QUANTITY_DURATION, timed, 0)
	loss := partOfKind(pb.Quantity_QUANTITY_PRESSURE_RATE, watched, 0)
	change := partOfKind(pb.Quantity_QUANTITY_PRESSURE_RATE, watched, -2000)
	falling := &pb.Trace{AtS: []float64{0, 120}, AsTyped: []float64{8.2, 8.0}, Unit: "bar"}
	rising := &pb.Trace{AtS: []float64{0, 60}, AsTyped: []float64{6, 6.5}, Unit: "bar"}
	for name, tc := range map[string]struct {
		part   *pb.ReadingPart
		value  *pb.Value
		want   float64
		reason string
	}{
		"read once":                     {pressure, &pb.Value{AsTyped: 8.2, Unit: "bar"}, 820, ""},
		"read again: the mean":          {pressure, &pb.Value{AsTyped: 8.2, Again: []float64{8.3, 8.3, 8.2}, Unit: "bar"}, 825, ""},
		"one of them impossible":        {pressure, &pb.Value{AsTyped: 8.2, Again: []float64{82}, Unit: "bar"}, 0, "VALUE_IMPOSSIBLE"},
		"a trace where one reads":       {pressure, &pb.Value{AsTyped: 8.2, Unit: "bar", Trace: falling}, 0, "TRACE_UNFIT"},
		"tapped: 90 a minute":           {flashes, &pb.Value{AsTyped: 1, Unit: "Hz", Trace: &pb.Trace{AtS: beat(9, 60.0/90)}}, 90, ""},
		"tapped by an instrument":       {flashes, &pb.Value{AsTyped: 1.5, Unit: "Hz"}, 90, ""},
		"seven taps":                    {flashes, &pb.Value{AsTyped: 90, Unit: "1/min", Trace: &pb.Trace{AtS: beat(7, 0.7)}}, 0, "TRACE_UNCLEAR"},
		"taps in another unit":          {flashes, &pb.Value{AsTyped: 90, Unit: "bar", Trace: &pb.Trace{AtS: beat(9, 0.7)}}, 0, "UNIT_WRONG"},
		"taps with pressures":           {flashes, &pb.Value{AsTyped: 90, Unit: "1/min", Trace: &pb.Trace{AtS: beat(9, 0.7), AsTyped: beat(9, 1)}}, 0, "TRACE_UNFIT"},
		"taps that do not rise":         {flashes, &pb.Value{AsTyped: 90, Unit: "1/min", Trace: &pb.Trace{AtS: append(beat(9, 0.7), 5.6)}}, 0, "INSTANTS_NOT_RISING"},
		"taps that do not begin with 0": {flashes, &pb.Value{AsTyped: 90, Unit: "1/min", Trace: &pb.Trace{AtS: beat(10, 0.7)[1:]}}, 0, "INSTANTS_NOT_RISING"},
		"a tap at no time":              {flashes, &pb.Value{AsTyped: 90, Unit: "1/min", Trace: &pb.Trace{AtS: append(beat(9, 0.7), math.NaN())}}, 0, "INSTANTS_NOT_RISING"},
		"taps and again":                {flashes, &pb.Value{AsTyped: 90, Unit: "1/min", Again: []float64{91}, Trace: &pb.Trace{AtS: beat(9, 0.7)}}, 0, "AGAIN_WITH_TRACE"},
		"timed":                         {seconds, &pb.Value{AsTyped: 12, Unit: "s", Trace: &pb.Trace{AtS: []float64{0, 12.5}}}, 12.5, ""},
		"timed without a stop":          {seconds, &pb.Value{AsTyped: 12, Unit: "s", Trace: &pb.Trace{AtS: []float64{0}}}, 0, "TRACE_UNFIT"},
		"timed with a lap":              {seconds, &pb.Value{AsTyped: 12, Unit: "s", Trace: &pb.Trace{AtS: []float64{0, 5, 12}}}, 0, "TRACE_UNFIT"},
		"watched: 0.1 bar a minute":     {loss, &pb.Value{AsTyped: 0.1, Unit: "bar/min", Trace: falling}, 10, ""},
		"a fall, with its sign":         {change, &pb.Value{AsTyped: -0.1, Unit: "bar/min", Trace: falling}, -10, ""},
		"a rise is no fall":             {loss, &pb.Value{AsTyped: 0, Unit: "bar/min", Trace: rising}, 0, ""},
		"a rise":                        {change, &pb.Value{AsTyped: 0.5, Unit: "bar/min", Trace: rising}, 50, ""},
		"watched without pressures":     {loss, &pb.Value{AsTyped: 0, Unit: "bar/min", Trace: &pb.Trace{AtS: []float64{0, 60}}}, 0, "TRACE_UNFIT"},
		"watched in volts":              {loss, &pb.Value{AsTyped: 0, Unit: "bar/min", Trace: &pb.Trace{AtS: []float64{0, 60}, AsTyped: []float64{8, 8}, Unit: "V"}}, 0, "UNIT_WRONG"},
		"watched, and impossible":       {loss, &pb.Value{AsTyped: 0, Unit: "bar/min", Trace: &pb.Trace{AtS: []float64{0, 1}, AsTyped: []float64{8, 0}, Unit: "bar"}}, 0, "VALUE_IMPOSSIBLE"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := settleValue(tc.part, tc.value, "v")
			var f *fault.Fault
			switch {
			case tc.reason == "" && (err != nil || math.Abs(tc.value.GetSi()-tc.want) > 1e-9):
				t.Errorf("%v (%v), want %v", tc.value.GetSi(), err, tc.want)
			case tc.reason != "" && (!errors.As(err, &f) || f.Reason != tc.reason || f.Kind != fault.Invalid):
				t.Errorf("not refused with %s: %v", tc.reason, err)
			}
		})
	}
}
