package rules

import (
	"math"
	"slices"
	"time"

	"google.golang.org/protobuf/reflect/protoreflect"

	"bayround/internal/measure"
	"bayround/internal/trend"
	pb "bayround/proto/bayround/v1"
)

// History is what was measured at the step of an observation, its own reading
// last, as package trend takes it. Cold pressures are brought to the station's
// reference temperature where half of them or more were read with the
// temperature of the air; the others are then no measurement. Nil when nothing
// was measured.
func (c Circumstances) History(o *pb.Observation) trend.Series {
	points := o.GetSeries().GetPoints()
	value, measured := pointValue(o)
	if measured {
		own := pointOf(o.GetResult(), value)
		own.Added, own.Reset_ = PutIn(o, points)
		points = append(points[:len(points):len(points)], own)
	}
	if len(points) == 0 {
		return nil
	}
	normal := c.Station != nil && coldPressure(o.GetStep()) && mostlyWithAir(points)
	between := 1.0
	if o.GetStep().GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_LEVEL {
		between = o.GetStep().GetVolumeBetweenMarksL()
	}
	series := make(trend.Series, len(points))
	for i, p := range points {
		t := trend.Point{
			At: p.GetLookedAt().AsTime(), Value: p.GetValue(), Added: p.GetAdded(), Reset: p.GetReset_(),
			Km: p.GetOdometerKm(), Hours: p.GetEngineHours(),
		}
		if normal {
			t.AsRead, t.Value = p.GetValue(), c.normalPoint(p)
		}
		switch {
		case t.Added == 0:
		case between > 0:
			t.Added /= between // litres, of values that are shares of what lies between the marks
		default:
			t.Added, t.Reset = 0, true // nobody knows how far that raised it
		}
		series[i] = t
	}
	return series
}

func mostlyWithAir(points []*pb.SeriesPoint) bool {
	with := 0
	for _, p := range points {
		if p.AirCelsius != nil {
			with++
		}
	}
	return 2*with >= len(points)
}

// normalPoint is a pressure at the reference temperature; NaN, which package
// trend leaves out, when the temperature of the air was not read.
func (c Circumstances) normalPoint(p *pb.SeriesPoint) float64 {
	if p.AirCelsius == nil {
		return math.NaN()
	}
	cold, done := c.atReference(p.GetValue(), 0, p.GetAirCelsius())
	if !done {
		return math.NaN()
	}
	return cold.Value
}

// sameVisit is how far apart finding and reading again after a cure may lie.
const sameVisit = 12 * time.Hour

// PutIn is what the cure of an observation's own result put in: litres of a fluid,
// kPa of a pressure. Where a cure does not say how much, the two readings of a
// pressure do; of a fluid nobody knows, and its history begins anew.
func PutIn(o *pb.Observation, before []*pb.SeriesPoint) (added float64, anew bool) {
	cure := o.GetResult().GetCure()
	if cure == nil {
		return 0, false
	}
	level := o.GetStep().GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_LEVEL
	parts := o.GetStep().GetParts()
	if !level && (len(parts) == 0 || parts[0].GetQuantity() != pb.Quantity_QUANTITY_PRESSURE) {
		return 0, false
	}
	unit := "kPa"
	if level {
		unit = "L"
	}
	if amount, err := measure.Convert(cure.GetAmount(), cure.GetUnit(), unit); err == nil && isFinite(amount) && amount > 0 {
		return amount, false
	}
	if level || len(before) == 0 {
		return 0, level
	}
	last := before[len(before)-1]
	if instantOf(o.GetResult()).Sub(last.GetLookedAt().AsTime()) > sameVisit {
		return 0, false
	}
	return max(0, o.GetAsRead()-last.GetValue()), false
}

// Trend is what the history of an observation says; nil when nothing was measured.
func (c Circumstances) Trend(o *pb.Observation) *pb.Trend {
	history := c.History(o)
	if history == nil {
		return nil
	}
	options := trend.Options{}
	if o.GetStep().GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_LEVEL {
		options.LitresPerUnit = o.GetStep().GetVolumeBetweenMarksL()
	}
	s := trend.Summarise(history, options)
	return &pb.Trend{
		Points: int32(s.Points), Days: s.Days, Ignored: int32(s.Ignored),
		HasSlope: s.HasSlope, SlopePerWeek: s.SlopePerWeek, SlopeLowPerWeek: s.SlopeLow, SlopeHighPerWeek: s.SlopeHigh,
		PNoTrend: s.PNoTrend, Level: s.Level, Falling: s.Falling, Rising: s.Rising, ShiftedDaysAgo: s.ShiftedDaysAgo,
		TimesFaster: s.TimesFaster, SameInARow: int32(s.Repeats.InARow), PSame: s.Repeats.P,
		UsedLPer_1000Km: s.Use.PerThousandKm, UsedLPer_100H: s.Use.PerHundredHours, UseRisen: s.Use.Risen,
	}
}

// Peers says how each wheel among observations changes against the others, over the
// time that a slope looks back.
// The answer is in the order of the observations; nil for what is no tyre read cold.
// Pressures are taken as they were read: the weather is common to all wheels.
func Peers(os []*pb.Observation) []*pb.PeerTrend {
	found := make([]*pb.PeerTrend, len(os))
	series := make([]trend.Series, len(os))
	for i, o := range os {
		if o.GetStep().GetAxle() > 0 && coldPressure(o.GetStep()) {
			series[i] = ofLate(Circumstances{}.History(o))
		}
	}
	others := make([]trend.Series, 0, len(os))
	for i := range os {
		if series[i] == nil {
			continue
		}
		others = others[:0]
		for n, s := range series {
			if n != i && s != nil {
				others = append(others, s)
			}
		}
		l := trend.PeerLoss(series[i], others, 0)
		found[i] = &pb.PeerTrend{
			DaysTogether: int32(l.DaysTogether), HasLoss: l.HasLoss, LossKpaPerWeek: l.PerWeek,
			LossLowKpaPerWeek: l.Low, LossHighKpaPerWeek: l.High, PNoLoss: l.PNoLoss, TopUps: int32(l.TopUps),
		}
	}
	return found
}

// ofLate is the newest part of a history.
func ofLate(s trend.Series) trend.Series {
	if len(s) == 0 {
		return s
	}
	newest := slices.MaxFunc(s, func(a, b trend.Point) int { return a.At.Compare(b.At) }).At
	return slices.DeleteFunc(s, func(p trend.Point) bool { return newest.Sub(p.At) > trend.LookBack })
}

// In gives the judge of a vehicle that stands at a station with its gauges: by its
// height and reference temperature the history of pressures is brought together,
// by its gauges an explanation says what a reading is worth. Circumstances.Series
// is not looked at. Without them history is taken as it was read.
func (j *Judge) In(c Circumstances) *Judge {
	in := *j
	in.circumstances = Circumstances{Station: c.Station, Gauges: c.Gauges}
	return &in
}

// withTrend is an observation that tells its trend, where it has one. That costs
// more than all rules together, so it is made only where a rule in force asks for it.
func (j *Judge) withTrend(o *pb.Observation) *pb.Observation {
	return telling(o, j.circumstances.Trend)
}

// withRepeats is an observation whose trend tells of repeated readings alone.
func (j *Judge) withRepeats(o *pb.Observation) *pb.Observation {
	return telling(o, j.circumstances.repeats)
}

// repeats is a trend that tells of repeated readings alone; nil when nothing was measured.
func (c Circumstances) repeats(o *pb.Observation) *pb.Trend {
	history := c.History(o)
	if history == nil {
		return nil
	}
	r := trend.RepeatsOf(history, 0)
	return &pb.Trend{SameInARow: int32(r.InARow), PSame: r.P}
}

// telling is an observation that tells a trend, where it has one to tell.
func telling(o *pb.Observation, trendOf func(*pb.Observation) *pb.Trend) *pb.Observation {
	if o.GetTrend() != nil {
		return o
	}
	t := trendOf(o)
	if t == nil {
		return o
	}
	told := sharing(o)
	told.Trend = t
	return told
}

// sharing is another observation that shares all parts with o.
func sharing(o *pb.Observation) *pb.Observation {
	other := &pb.Observation{}
	to := other.ProtoReflect()
	o.ProtoReflect().Range(func(field protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		to.Set(field, v)
		return true
	})
	return other
}
