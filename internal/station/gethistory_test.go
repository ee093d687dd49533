package station_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// limited adds to the house rules a limit of 700 kPa that pressures must keep,
// and what else is given of a pack.
func limited(k *stationtest.Kit, more string) { k.ApplyAltered(aLimit(more)...) }

func aLimit(more string) (oldNew []string) {
	return []string{"      - id: twins-differ", `      - id: pressure-limit
        scope: RULE_SCOPE_RESULT
        items: [TYR-010]
        limit: {number: o.value, side: LIMIT_SIDE_AT_LEAST, bound: "700.0", unit: kPa, decision: DECISION_RULE_SIMPLE, why: house rule}
        names_fault: TYR-010-01
        grade: GRADE_MAJOR
        effect: EFFECT_RESPONDING_WITHOUT_LIMIT
        restrictions: [{kind: RESTRICTION_KIND_SPEED, text: "80 km/h", speed_kmh: 80}]
        text: "The pressure is {round(o.value, 0)} kPa."
        source: {title: House rules, status: SOURCE_STATUS_SERVICE_POLICY}
      - id: twins-differ`, "    authority: Quay\n", "    authority: Quay\n" + more}
}

// weeks reads a tyre once a week; it begins at 850 kPa and loses so much a week,
// with a digit of noise.
func weeks(k *stationtest.Kit, n int, kpaPerWeek float64) {
	round := k.OpenRound(p1, shift)
	for i := range n {
		k.Record(round, stationtest.Read(tyre, "pressure", 850-kpaPerWeek*float64(i)+float64(i%3), "kPa"))
		k.Clock.Advance(7 * 24 * time.Hour)
	}
}

func historyOf(t *testing.T, k *stationtest.Kit, step string) *pb.GetHistoryResponse {
	t.Helper()
	resp, err := k.GetHistory(ctx, &pb.GetHistoryRequest{Vehicle: p1, StepId: step})
	if err != nil {
		t.Fatal(err)
	}
	return resp
}

// More is told than a verdict rests on, in order, from when it is asked for; also
// what came late.
func TestGetHistory_TellsEverything(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	began := k.Clock.Now()
	for i := range 100 {
		k.Clock.Advance(time.Minute)
		r := stationtest.Read(tyre, "pressure", 800+float64(i), "kPa")
		if i == 99 {
			r = lookedAt(k, r, -95*time.Minute-30*time.Second)
		}
		k.Record(round, r)
	}
	for _, when := range []string{"at once", "after a restart"} {
		all := historyOf(t, k, tyre).GetPoints()
		if len(all) != 100 || all[4].GetValue() != 899 || all[5].GetValue() != 804 || all[99].GetValue() != 898 {
			t.Fatalf("%s: %d points, the fifth, sixth and last of which are %v, %v and %v", when, len(all), all[4], all[5], all[len(all)-1])
		}
		k.Reopen()
	}
	resp, err := k.GetHistory(ctx, &pb.GetHistoryRequest{Vehicle: p1, StepId: tyre, Since: timestamppb.New(began.Add(90 * time.Minute))})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(resp.GetPoints()); n != 10 || len(resp.GetNormalised()) != 10 {
		t.Errorf("since the 90th: %d points and %d normalised, want 10", n, len(resp.GetNormalised()))
	}
}

// A twin tells what it took over and what was recorded there since, each once; what
// was recorded there and never came to the station is gone with the next taking over.
func TestGetHistory_OfATwinTellsEachPointOnce(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	read := func(at *stationtest.Kit, kpa float64) *pb.RecordResultRequest {
		k.Clock.Advance(time.Minute)
		req := at.Request(round, stationtest.Read(tyre, "pressure", kpa, "kPa"))
		if _, err := at.RecordResult(ctx, req); err != nil {
			t.Fatal(err)
		}
		return req
	}
	for i := range 90 {
		read(k, 800+float64(i)/2)
	}
	twin := adopted(k)
	told := func(when string, want int) {
		t.Helper()
		for range 2 {
			if got := historyOf(t, twin, tyre).GetPoints(); len(got) != want || !slices.IsSortedFunc(got, func(a, b *pb.SeriesPoint) int { return a.GetLookedAt().AsTime().Compare(b.GetLookedAt().AsTime()) }) {
				t.Errorf("%s: %d points, want %d in order", when, len(got), want)
			}
			twin.Reopen()
		}
	}
	told("at once", len(pointsOf(k, tyre)))
	for i := range 10 { // so many that older ones are thinned
		req := read(twin, 850+float64(i)/2)
		k.Clock.Advance(time.Second)
		if _, err := k.RecordResult(ctx, req); err != nil {
			t.Fatal(err)
		}
	}
	told("with those recorded since", len(pointsOf(twin, tyre)))
	read(twin, 790)
	k.Clock.Advance(time.Second)
	twin.AdoptStanding(k, p1)
	told("without the one that the station does not know", len(pointsOf(k, tyre)))
	if all := historyOf(t, k, tyre).GetPoints(); len(all) != 100 {
		t.Errorf("the station tells %d points, want all 100", len(all))
	}
}

// A tyre that loses 5 kPa a week from 850 is at 700 after 30 weeks; the trend says
// so from 20 weeks of readings, and the forecast names the days.
func TestGetHistory_SaysWhereItIsHeading(t *testing.T) {
	k := stationtest.Open(t)
	limited(k, "")
	began := k.Clock.Now()
	weeks(k, 20, 5)
	h := historyOf(t, k, tyre)
	if h.GetTitle() != "Tyre pressure, front axle, nearside" || h.GetQuantity() != pb.Quantity_QUANTITY_PRESSURE || h.GetUnit() != "bar" || h.GetTarget() != 850 {
		t.Errorf("of %q in %s (%v), target %v", h.GetTitle(), h.GetUnit(), h.GetQuantity(), h.GetTarget())
	}
	if tr := h.GetTrend(); !tr.GetHasSlope() || math.Abs(tr.GetSlopePerWeek()+5) > 0.5 {
		t.Errorf("the trend is %v, want 5 kPa lost a week", tr)
	}
	if len(h.GetLimits()) != 1 || h.GetLimits()[0].GetBound() != 700 || h.GetLimits()[0].GetRule() != "pressure-limit" {
		t.Fatalf("limits %v, want that of 700 kPa", h.GetLimits())
	}
	reached := began.Add(30 * 7 * 24 * time.Hour)
	f := h.GetForecast()
	if off := f.GetLikely().AsTime().Sub(reached).Abs(); off > 14*24*time.Hour || f.GetEarliest().AsTime().After(f.GetLikely().AsTime()) {
		t.Errorf("the forecast is %v, want 700 kPa about %v", f, reached)
	}
	if !strings.HasPrefix(f.GetText(), "reaches 7 bar between ") || !strings.HasSuffix(f.GetText(), "2026") {
		t.Errorf("in words %q", f.GetText())
	}
	steady := "TYR-010/axle-1-offside"
	if h := historyOf(t, k, steady); h.GetForecast() != nil || h.GetTrend() != nil || len(h.GetPoints()) != 0 {
		t.Errorf("where nothing was measured: %v", h)
	}
}

// Pressures are told as they were read and as they would be at 15 °C: 800 kPa read
// at 5 °C is 832 kPa, by absolute pressures at constant volume (901.3 kPa × 288.15 K / 278.15 K
// less the air's 101.3 kPa).
func TestGetHistory_NormalisesWhereTheAirIsKnown(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	if _, err := k.ResumeRound(ctx, &pb.ResumeRoundRequest{RequestId: k.ID(), Round: round, Conditions: &pb.RoundConditions{AmbientCelsius: proto.Float64(5)}}); err != nil {
		t.Fatal(err)
	}
	k.Record(round, stationtest.Read(tyre, "pressure", 800, "kPa"))
	h := historyOf(t, k, tyre)
	if p := h.GetPoints(); len(p) != 1 || p[0].GetValue() != 800 || math.Abs(h.GetNormalised()[0]-832.4) > 0.1 {
		t.Errorf("points %v, normalised %v, want 800 and about 832.4", p, h.GetNormalised())
	}
}

func TestGetHistory_Refuses(t *testing.T) {
	k := stationtest.Open(t)
	for _, tc := range []struct {
		req  *pb.GetHistoryRequest
		want refusal
	}{
		{&pb.GetHistoryRequest{Vehicle: "vehicles/none", StepId: tyre}, refusal{fault.NotFound, "VEHICLE_UNKNOWN"}},
		{&pb.GetHistoryRequest{Vehicle: p1, StepId: "TYR-010/spare"}, refusal{fault.NotFound, "STEP_UNKNOWN"}},
		{&pb.GetHistoryRequest{Vehicle: p1, StepId: tyre, Since: &timestamppb.Timestamp{Nanos: -1}}, refusal{fault.Invalid, "SINCE_WRONG"}},
	} {
		_, err := k.GetHistory(ctx, tc.req)
		tc.want.check(t, err)
	}
}

// What will be reached first comes first, page by page, and only of the station
// that was asked for.
func TestListForecasts_SoonestFirst(t *testing.T) {
	k := stationtest.Open(t)
	limited(k, "")
	round := k.OpenRound(p1, shift)
	tyres := []string{"TYR-010/axle-1-nearside", "TYR-010/axle-1-offside", "TYR-010/axle-2-nearside-inner", "TYR-010/axle-2-nearside-outer"}
	for week := range 20 {
		for i, step := range tyres { // the later in the list, the faster it loses; the first not at all
			k.Record(round, stationtest.Read(step, "pressure", 850-2*float64(i*week)+float64(week%3), "kPa"))
		}
		k.Clock.Advance(7 * 24 * time.Hour)
	}
	var got []string
	for token := ""; ; {
		resp, err := k.ListForecasts(ctx, &pb.ListForecastsRequest{PageSize: 2, PageToken: token, Station: "stations/quay"})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range resp.GetForecasts() {
			got = append(got, f.GetStepId())
		}
		if token = resp.GetNextPageToken(); token == "" {
			break
		}
	}
	if want := fmt.Sprint([]string{tyres[3], tyres[2], tyres[1]}); fmt.Sprint(got) != want {
		t.Errorf("forecasts of %v, want %v", got, want)
	}
	none, err := k.ListForecasts(ctx, &pb.ListForecastsRequest{Station: "stations/elsewhere"})
	if err != nil || len(none.GetForecasts()) != 0 {
		t.Errorf("of another station: %v, %v", none, err)
	}
}

func TestExplain_TellsOfAFindingOfNow(t *testing.T) {
	k := stationtest.Open(t)
	limited(k, "")
	k.Clock.Advance(60 * 24 * time.Hour) // into summer: 07:30 UTC on 1 May is 08:30 in London
	round := k.OpenRound(p1, shift)
	k.Record(round, stationtest.Read(tyre, "pressure", 6.5, "bar"))
	id := ""
	for _, d := range k.Readiness(p1).GetOpenDefects() {
		for _, f := range d.GetFindings() {
			if f.GetRule() == "pressure-limit" {
				id = f.GetFindingId()
			}
		}
	}
	resp, err := k.Explain(ctx, &pb.ExplainRequest{Vehicle: p1, FindingId: id})
	if err != nil {
		t.Fatal(err)
	}
	parts := map[pb.ExplanationPart]string{}
	for _, line := range resp.GetExplanation().GetLines() {
		parts[line.GetPart()] += line.GetText() + "\n"
	}
	for part, words := range map[pb.ExplanationPart]string{
		pb.ExplanationPart_EXPLANATION_PART_READ:  "6.5 bar, by Driver, 1 May 2026 08:30 BST",
		pb.ExplanationPart_EXPLANATION_PART_LIMIT: "7 bar",
	} {
		if !strings.Contains(parts[part], words) {
			t.Errorf("%v says %q, want %q in it", part, parts[part], words)
		}
	}
	_, err = k.Explain(ctx, &pb.ExplainRequest{Vehicle: p1, FindingId: "no such finding"})
	refusal{fault.NotFound, "FINDING_UNKNOWN"}.check(t, err)
	_, err = k.Explain(ctx, &pb.ExplainRequest{Vehicle: "vehicles/none", FindingId: id})
	refusal{fault.NotFound, "VEHICLE_UNKNOWN"}.check(t, err)
}
