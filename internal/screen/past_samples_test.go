package screen

import (
	"context"
	"math"
	"strings"
	"testing"
	"time"

	"bayround/internal/fault"
	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// keptArchive answers from what a test gave it.
type keptArchive struct {
	from      round.Source
	pasts     map[string][]round.Past // by vehicle
	forecasts *pb.ListForecastsResponse
	told      map[string]*pb.Explanation // by finding
	defects   map[string]*pb.Defect      // by the last part of their names, all of WN11
	broken    error
}

func (a *keptArchive) History(_ context.Context, vehicle, step string) (round.Past, round.Source, error) {
	for _, p := range a.pasts[vehicle] {
		if p.Step.GetStepId() == step {
			return p, a.from, a.broken
		}
	}
	return round.Past{}, a.from, fault.New(fault.NotFound, "STEP_UNKNOWN", "there is no step %q", step)
}

func (a *keptArchive) Measured(_ context.Context, vehicle string) ([]round.Past, round.Source, error) {
	return a.pasts[vehicle], a.from, a.broken
}

func (a *keptArchive) Forecasts(_ context.Context, token string) (*pb.ListForecastsResponse, round.Source, error) {
	if token != "" {
		return &pb.ListForecastsResponse{}, a.from, a.broken
	}
	return a.forecasts, a.from, a.broken
}

func (a *keptArchive) Explain(_ context.Context, _, finding string) (*pb.Explanation, round.Source, error) {
	if told := a.told[finding]; told != nil {
		return told, a.from, a.broken
	}
	return nil, a.from, fault.New(fault.NotFound, "FINDING_UNKNOWN", "there is no finding %q now", finding)
}

// measuredEvery is a series of n points, so many days apart, the newest an hour old.
func measuredEvery(n int, days float64, value func(i int) float64) []*pb.SeriesPoint {
	points := make([]*pb.SeriesPoint, n)
	for i := range points {
		back := time.Duration(float64(n-1-i) * days * 24 * float64(time.Hour))
		points[i] = &pb.SeriesPoint{LookedAt: timestamppb.New(sampleNow.Add(-time.Hour - back)), Value: value(i), Gauge: "gauges/g-07"}
	}
	return points
}

// wobble is a small disturbance that looks like none.
func wobble(i int) float64 { return math.Sin(float64(i)*12.9898) * 0.5 }

// tyrePast is a tyre that loses air, is topped up twice and was once changed.
func tyrePast(step *pb.CheckStep) round.Past {
	p := &pb.GetHistoryResponse{Title: step.GetTitle(), Quantity: pb.Quantity_QUANTITY_PRESSURE, Unit: "bar", Target: proto.Float64(800)}
	value := 800.0
	p.Points = measuredEvery(58, 7, func(i int) float64 {
		value -= 4
		if i == 14 {
			value = 805
		}
		if i == 30 || i == 46 {
			value += 60
		}
		return math.Round(value + 6*wobble(i) - 8*math.Cos(float64(i)/9))
	})
	for i, point := range p.Points {
		point.Reset_ = i == 14
		if i == 30 || i == 46 {
			point.Added = 60
		}
		point.AirCelsius = proto.Float64(15 - 12*math.Cos(float64(i)/9))
		p.Normalised = append(p.Normalised, point.GetValue()+8*math.Cos(float64(i)/9))
	}
	line := func(bound float64, effect pb.Effect, text string) *pb.LimitLine {
		return &pb.LimitLine{Pack: "packs/x", Bound: bound, Side: pb.LimitSide_LIMIT_SIDE_AT_LEAST, Effect: effect, Text: text}
	}
	p.Limits = []*pb.LimitLine{
		line(640, pb.Effect_EFFECT_MOVING, "Below 80 % of its pressure a tyre counts as run flat."),
		line(720, pb.Effect_EFFECT_RESPONDING, "More than a tenth low."),
		line(760, pb.Effect_EFFECT_NOTHING, "A little low: top it up."),
		{Pack: "packs/x", Bound: 900, Side: pb.LimitSide_LIMIT_SIDE_AT_MOST, Effect: pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT, Text: "Over-inflated."},
	}
	p.Trend = &pb.Trend{
		Points: 44, Days: 301, HasSlope: true, SlopePerWeek: -4.1, SlopeLowPerWeek: -4.4, SlopeHighPerWeek: -3.7, PNoTrend: 1e-9,
		Level: p.Normalised[57], Falling: true, TimesFaster: 2.1, SameInARow: 1,
	}
	p.Peers = &pb.PeerTrend{DaysTogether: 44, HasLoss: true, LossKpaPerWeek: 3.9, LossLowKpaPerWeek: 3.1, LossHighKpaPerWeek: 4.6}
	p.Forecast = &pb.Forecast{
		Limit: p.Limits[1], Earliest: timestamppb.New(sampleNow.AddDate(0, 0, 22)), Likely: timestamppb.New(sampleNow.AddDate(0, 0, 31)),
		Latest: timestamppb.New(sampleNow.AddDate(0, 0, 50)), Text: "reaches 7.2 bar between 17 December 2026 and 14 January 2027",
	}
	return round.Past{Step: step, History: p}
}

// treadPast is a tread that wears slowly.
func treadPast(step *pb.CheckStep) round.Past {
	p := &pb.GetHistoryResponse{Title: step.GetTitle(), Quantity: pb.Quantity_QUANTITY_LENGTH, Unit: "mm"}
	p.Points = measuredEvery(60, 7, func(i int) float64 { return math.Round((9-0.06*float64(i)+0.2*wobble(i))*10) / 10 })
	p.Limits = []*pb.LimitLine{
		{Bound: 1.6, Side: pb.LimitSide_LIMIT_SIDE_AT_LEAST, Effect: pb.Effect_EFFECT_MOVING, Text: "Least tread."},
		{Bound: 3, Side: pb.LimitSide_LIMIT_SIDE_AT_LEAST, Effect: pb.Effect_EFFECT_NOTHING, Text: "Order the tyre."},
	}
	p.Trend = &pb.Trend{Points: 60, Days: 413, HasSlope: true, SlopePerWeek: -0.06, SlopeLowPerWeek: -0.061, SlopeHighPerWeek: -0.059, Level: 5.46}
	p.Forecast = &pb.Forecast{
		Limit: p.Limits[1], Earliest: timestamppb.New(sampleNow.AddDate(0, 9, 0)), Likely: timestamppb.New(sampleNow.AddDate(0, 9, 20)),
		Latest: timestamppb.New(sampleNow.AddDate(0, 10, 20)), Text: "reaches 3 mm between 25 August and 15 October 2027",
	}
	return round.Past{Step: step, History: p}
}

// oilPast is a level, in per cent of what lies between its marks.
func oilPast(step *pb.CheckStep) round.Past {
	p := &pb.GetHistoryResponse{Title: step.GetTitle(), Quantity: pb.Quantity_QUANTITY_FRACTION, Unit: "%"}
	p.Points = measuredEvery(40, 1, func(i int) float64 { return 0.75 - 0.01*float64(i%25) })
	p.Points[25].Added = 2
	p.Trend = &pb.Trend{Points: 40, Days: 39, HasSlope: true, SlopePerWeek: -0.07, SlopeLowPerWeek: -0.1, SlopeHighPerWeek: 0.02, Level: 0.6, UsedLPer_1000Km: 0.34, UseRisen: true}
	return round.Past{Step: step, History: p}
}

// barePast is a step where nothing was measured.
func barePast(step *pb.CheckStep) round.Past {
	return round.Past{Step: step, History: &pb.GetHistoryResponse{Title: step.GetTitle(), Unit: "V", Quantity: pb.Quantity_QUANTITY_VOLTAGE}}
}

// aFinding is what the sample explanation is about.
const aFinding = "0123456789abcdef0123456789abcdef"

func sampleTold() *pb.Explanation {
	told := &pb.Explanation{Finding: &pb.Finding{
		FindingId: aFinding, Text: "Cannot tell: 6.69 bar ± 0.21 bar against at least 6.8 bar (P 0.16): read it again, or with another gauge.",
		DriverDoes: "Read it again with another gauge. Do not inflate it before somebody has looked at it.",
	}}
	for _, line := range strings.Split(`READ|Tyre pressure, axle-1-nearside: 6.4 and 6.4 and 6.4 bar, by K. Vey, 20 Apr 2026 09:00 BST, with G-03.
MADE|Mean of 3 readings: 6.4 bar; they scatter by 0 bar.
MADE|Brought from 4 to 15 °C at 4 m: (6.4 + 1.013) × 288.15 K / 277.15 K − 1.013 = 6.694 bar.
MADE|That is 78.76 % of the 8.5 bar aimed at.
UNCERTAINTY|Greatest error ±0.16 bar / √3 = 0.092 bar; step 0.1 bar / √12 = 0.029 bar; thermometer ±2 K / √3 = 0.032 bar; u = 0.11 bar, U = 2u = 0.21 bar.
LIMIT|Rule soft: share of target must be at least 80 % [where o.step.axle > 0 && o.has_target].
WHY|Run flat below that; it is for vehicles where vehicle.gross_mass_kg > 3500.0 (test).
CONFIDENCE|Kept only when that is sure, and not kept only when that is sure; sure is P 0.975; P that it is kept is 0.16; so nobody can tell: it lies too near the bound for what it was read with.
HISTORY|4 readings in 71 days: too little to speak of a slope.
MEANING|Proves nothing: the vehicle is unproven until this is looked at again. Below 80 % of its pressure a tyre counts as run flat: its walls have bent and heated, and it can burst. Do not inflate it before it was taken off and examined by someone trained for it (common practice; local rules come first).
SOURCE|tyre trade, 80 % rule; common practice, no published text. test 1.`, "\n") {
		part, text, _ := strings.Cut(line, "|")
		told.Lines = append(told.Lines, &pb.ExplanationLine{
			Part: pb.ExplanationPart(pb.ExplanationPart_value["EXPLANATION_PART_"+part]), Text: text, StepId: "TYR-010/axle-1-nearside", Number: proto.Float64(1),
		})
	}
	return told
}

// sampleArchive knows WN11 as if it had been looked at for more than a year.
func sampleArchive(t testing.TB) *keptArchive {
	t.Helper()
	a := &keptArchive{from: round.SourceStation, pasts: map[string][]round.Past{}, defects: sampleDefects(t), told: map[string]*pb.Explanation{aFinding: sampleTold(), beltFinding.GetFindingId(): {Finding: beltFinding}, tyreFinding.GetFindingId(): {Finding: tyreFinding}, brakeFinding.GetFindingId(): {Finding: brakeFinding}, pumpFinding.GetFindingId(): {Finding: pumpFinding}}}
	for _, s := range steps(t, "WN11", "weekly") {
		switch {
		case s.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_PROFILE:
			a.add("vehicles/wn11", treadPast(s))
		case s.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_LEVEL:
			a.add("vehicles/wn11", oilPast(s))
		case s.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_READING && s.GetParts()[0].GetQuantity() == pb.Quantity_QUANTITY_PRESSURE && s.GetAxle() > 0:
			a.add("vehicles/wn11", tyrePast(s))
		case s.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_READING:
			a.add("vehicles/wn11", barePast(s))
		}
	}
	a.forecasts = &pb.ListForecastsResponse{NextPageToken: "more"}
	for _, p := range a.pasts["vehicles/wn11"] {
		if f := p.History.GetForecast(); f != nil {
			a.forecasts.Forecasts = append(a.forecasts.Forecasts, &pb.StepForecast{
				Vehicle: "vehicles/wn11", CallSign: "WN11", StepId: p.Step.GetStepId(), Title: p.History.GetTitle(), Forecast: f,
			})
		}
	}
	return a
}

func (a *keptArchive) add(vehicle string, p round.Past) {
	a.pasts[vehicle] = append(a.pasts[vehicle], p)
}

// stepOf finds the first step of the sample whose past a test wants.
func (a *keptArchive) stepOf(t testing.TB, wanted func(round.Past) bool) string {
	t.Helper()
	for _, p := range a.pasts["vehicles/wn11"] {
		if wanted(p) {
			return p.Step.GetStepId()
		}
	}
	t.Fatal("the sample has no such step")
	return ""
}

// ofUnit finds a step that is shown in a unit.
func ofUnit(unit string) func(round.Past) bool {
	return func(p round.Past) bool { return p.History.GetUnit() == unit }
}

// servePast serves the pages of the past on a desk with a round in progress.
func servePast(t testing.TB, a *keptArchive, view *round.View, theme string) *kit {
	t.Helper()
	desk := newDesk(wholeBay(t))
	desk.view = view
	return serveWith(t, desk, func(c *Config) { c.Archive, c.Display.TabletTheme = a, theme })
}

// inRound is a view with a round in progress, and all vehicles known.
func inRound(t testing.TB) *round.View {
	t.Helper()
	v := walkView(t, "WN11", "weekly", "BRA-140/driver-seat")
	v.Vehicles = []round.Vehicle{*sampleVehicle(t, "WN11"), *sampleVehicle(t, "WN21"), *sampleVehicle(t, "T1")}
	return v
}
