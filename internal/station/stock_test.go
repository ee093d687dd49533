package station_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

const (
	home    = "stations/quay"
	sealing = "sealing-oil"
)

// stocking is the small station, which keeps account of what leaking valves take.
func stocking(t *testing.T) *stationtest.Kit {
	t.Helper()
	k := stationtest.Open(t)
	k.Clock.Advance(time.Minute)
	k.ApplyAltered("    time_zone: Europe/London\n", `    time_zone: Europe/London
    stocked:
      - {id: sealing-oil, title: sealing oil, unit: STOCK_UNIT_ML, low_below_ml_or_pieces: 2000, items: [TYR-010]}
      - {id: valve-caps, title: valve caps, unit: STOCK_UNIT_PIECES}
`)
	return k
}

func (s stocked) deliver(amount int64) *pb.Stock {
	s.t.Helper()
	resp, err := s.RecordDelivery(ctx, &pb.RecordDeliveryRequest{RequestId: s.ID(), Station: home, Material: sealing, Person: "people/driver", AmountMlOrPieces: amount})
	if err != nil {
		s.t.Fatal(err)
	}
	return resp.GetStock()
}

// stocked is the station with a hand on its shelves.
type stocked struct {
	*stationtest.Kit
	t *testing.T
}

// topUp finds a valve leaking and puts it right with so much of a unit, at an instant by
// the tablet's clock.
func (s stocked) topUp(round string, amount float64, unit string, at time.Time, correction bool) *pb.RecordResultRequest {
	s.t.Helper()
	found := s.Record(round, leaking(valve))
	s.Clock.Advance(time.Second)
	cured := stationtest.Read(valve, "pressure", 8, "bar")
	cured.Cure, cured.Correction = &pb.Cure{FoundResultId: found.GetResultId(), Done: "topped up", Amount: amount, Unit: unit}, correction
	cured.DeviceTime = timestamppb.New(at)
	req := s.Request(round, cured)
	if _, err := s.RecordResult(ctx, req); err != nil {
		s.t.Fatal(err)
	}
	return req
}

func (s stocked) left() *pb.Stock {
	s.t.Helper()
	resp, err := s.ListStock(ctx, &pb.ListStockRequest{Station: home})
	if err != nil || len(resp.GetStocks()) != 2 || resp.GetStocks()[0].GetMaterial().GetId() != sealing {
		s.t.Fatalf("%v (%v)", resp, err)
	}
	return resp.GetStocks()[0]
}

// lines are the account's, read page by page; their changes make the balance.
func (s stocked) lines() (all []*pb.StockMovement) {
	s.t.Helper()
	sum, token := int64(0), ""
	for {
		resp, err := s.ListStockMovements(ctx, &pb.ListStockMovementsRequest{Station: home, Material: sealing, PageSize: 2, PageToken: token})
		if err != nil {
			s.t.Fatal(err)
		}
		all = append(all, resp.GetMovements()...)
		if token = resp.GetNextPageToken(); token == "" {
			break
		}
	}
	for _, line := range all {
		sum += line.GetChangeMlOrPieces()
	}
	if balance := s.left().GetBalanceMlOrPieces(); sum != balance {
		s.t.Errorf("the changes make %d, the balance is %d", sum, balance)
	}
	return all
}

// What is delivered, counted and used makes the balance, in whole millilitres; what was
// used before a count and is told after it changes the correction, not the balance; no
// balance stands in the way of a top-up. Source: conservation, as in any stock account.
func TestStock_BalanceIsTheSumOfWhatHappened(t *testing.T) {
	s := stocked{stocking(t), t}
	if left := s.left(); left.GetText() != "sealing oil: nobody has counted it" || left.GetMoved() != nil || !left.GetLow() {
		t.Errorf("untouched: %v", left)
	}
	if left := s.deliver(20_000); left.GetBalanceMlOrPieces() != 20_000 || left.GetText() != "sealing oil: 20 l left" || left.GetLow() {
		t.Errorf("delivered: %v", left)
	}
	round := s.OpenRound(p1, shift)
	s.Clock.Advance(time.Hour)
	early := s.Clock.Now().Add(-30 * time.Minute)
	before := s.Readiness(p1).GetSequence()
	repeated := s.topUp(round, 0.5, "L", s.Clock.Now(), false)
	if _, err := s.RecordResult(ctx, repeated); err != nil { // sent again
		t.Fatal(err)
	}
	if s.Readiness(p1).GetSequence() <= before || s.left().GetBalanceMlOrPieces() != 19_500 {
		t.Fatalf("topped up: %v", s.left())
	}
	s.Clock.Advance(time.Minute)
	count := &pb.CountStockRequest{RequestId: s.ID(), Station: home, Material: sealing, Person: "people/driver", AmountMlOrPieces: 17_000, Note: "a can was gone"}
	first, err := s.CountStock(ctx, count)
	if err != nil || first.GetStock().GetBalanceMlOrPieces() != 17_000 || first.GetCorrectionMlOrPieces() != -2_500 || first.GetCorrectionText() != "2.5 l less than was booked" {
		t.Fatalf("counted: %v (%v)", first, err)
	}
	s.Clock.Advance(time.Minute)
	s.topUp(round, 700, "ml", early, false) // of before the count, told late
	if s.left().GetBalanceMlOrPieces() != 17_000 {
		t.Errorf("told late: %v", s.left())
	}
	s.topUp(round, 16.2, "litres", s.Clock.Now().Add(time.Second), false)
	if left := s.left(); left.GetBalanceMlOrPieces() != 800 || !left.GetLow() || left.GetText() != "sealing oil: 0.8 l left, low" {
		t.Errorf("low: %v", left)
	}
	s.Clock.Advance(time.Minute)
	s.topUp(round, 1, "l", s.Clock.Now(), false)
	s.topUp(round, 3, "l", s.Clock.Now(), true)     // an answer corrected: it took nothing again
	s.topUp(round, 2, "cans", s.Clock.Now(), false) // nobody knows how much that is
	if left := s.left(); left.GetBalanceMlOrPieces() != -200 || left.GetText() != "sealing oil: more was used than was booked, count it" {
		t.Errorf("more used than booked: %v", left)
	}
	lines := s.lines()
	if again, err := s.CountStock(ctx, count); err != nil || !proto.Equal(again, first) {
		t.Errorf("counted again under the same id: %v (%v)", again, err)
	}
	s.Reopen() // from the rows
	after := s.lines()
	if len(lines) != 6 || len(after) != 6 || after[0].GetVehicle() != p1 || after[0].GetMoved().GetResultId() == "" || after[5].GetChangeMlOrPieces() != 20_000 {
		t.Errorf("lines %d, after a start %v", len(lines), after)
	}
	for i := range lines {
		if !proto.Equal(lines[i], after[i]) {
			t.Errorf("line %d: %v, after a start %v", i, lines[i], after[i])
		}
	}
}

func TestStock_Refusals(t *testing.T) {
	k := stocking(t)
	req := func(change func(*pb.RecordDeliveryRequest)) error {
		r := &pb.RecordDeliveryRequest{RequestId: k.ID(), Station: home, Material: sealing, Person: "people/driver", AmountMlOrPieces: 1}
		change(r)
		_, err := k.RecordDelivery(ctx, r)
		return err
	}
	for _, row := range []struct {
		kind   fault.Kind
		reason string
		err    error
	}{
		{fault.NotFound, "MATERIAL_UNKNOWN", req(func(r *pb.RecordDeliveryRequest) { r.Material = "foam" })},
		{fault.NotFound, "STATION_UNKNOWN", req(func(r *pb.RecordDeliveryRequest) { r.Station = "stations/none" })},
		{fault.NotFound, "PERSON_UNKNOWN", req(func(r *pb.RecordDeliveryRequest) { r.Person = "people/none" })},
		{fault.Invalid, "HAPPENED_LATER", req(func(r *pb.RecordDeliveryRequest) { r.Happened = timestamppb.New(k.Clock.Now().Add(time.Hour)) })},
		{fault.Invalid, "DEVICE_TIME_WRONG", req(func(r *pb.RecordDeliveryRequest) { r.DeviceTime = &timestamppb.Timestamp{Nanos: -1} })},
	} {
		refusal{row.kind, row.reason}.check(t, row.err)
	}
	ahead := timestamppb.New(k.Clock.Now().Add(time.Hour)) // of a tablet whose clock is ahead: it was now
	if err := req(func(r *pb.RecordDeliveryRequest) { r.Happened, r.DeviceTime = ahead, ahead }); err != nil {
		t.Fatal(err)
	}
	resp, err := k.ListStockMovements(ctx, &pb.ListStockMovementsRequest{Station: home, Material: sealing})
	if err != nil || len(resp.GetMovements()) != 1 || !resp.GetMovements()[0].GetMoved().GetHappened().AsTime().Before(ahead.AsTime()) {
		t.Errorf("by a clock that is ahead: %v (%v)", resp, err)
	}
}
