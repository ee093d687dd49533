package station

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/admit"
	"bayround/internal/fault"
	"bayround/internal/stock"
	pb "bayround/proto/bayround/v1"
)

// accounts are the ledgers of all materials, by station and material. They are replaced,
// never changed, so that readers share them. No verdict rests on them.
type accounts map[string]stock.Ledger

// accountKey is a material's place among the accounts, and the end of its rows' keys.
func accountKey(station, material string) string { return station + "/" + material }

// materialOf finds a material that a station keeps account of; nil when it does not.
func materialOf(home *pb.Station, id string) *pb.StockedMaterial {
	for _, m := range home.GetStocked() {
		if m.GetId() == id {
			return m
		}
	}
	return nil
}

// usedUp is the movement of what a result has put right something with; nil when it used
// nothing that the vehicle's station keeps account of. A correction of an answer is about
// the answer: it takes nothing out a second time.
func usedUp(m *model, res *pb.Result) *pb.StockMoved {
	cure := res.GetCure()
	step := m.steps[res.GetStepId()]
	if cure == nil || cure.GetAmount() <= 0 || res.GetCorrection() || step == nil {
		return nil
	}
	for _, material := range m.station.GetStocked() {
		if !slices.Contains(material.GetItems(), step.GetItem()) {
			continue
		}
		per, ok := perUnit(material.GetUnit(), cure.GetUnit())
		amount, whole := stock.Units(cure.GetAmount(), per)
		if !ok || !whole {
			return nil // what the unit does not say is kept with the result, as it was typed
		}
		return &pb.StockMoved{
			Station: m.station.GetName(), Material: material.GetId(), Kind: pb.StockMovementKind_STOCK_MOVEMENT_KIND_USED,
			AmountMlOrPieces: amount, Happened: lookedOr(res), ResultId: res.GetResultId(), Note: cure.GetDone(),
		}
	}
	return nil
}

// lookedOr is when a result was given, as far as is known.
func lookedOr(res *pb.Result) *timestamppb.Timestamp {
	if at := res.GetLookedAt(); at != nil {
		return at
	}
	return res.GetStationTime()
}

// perUnit is how many units of a material an amount of one in a unit that people write
// has; false when it is none of them.
func perUnit(unit pb.StockUnit, written string) (float64, bool) {
	written = strings.ToLower(strings.TrimSpace(written))
	if unit == pb.StockUnit_STOCK_UNIT_PIECES {
		return 1, slices.Contains([]string{"", "pcs", "pc", "piece", "pieces"}, written)
	}
	per, ok := map[string]float64{"l": 1000, "litre": 1000, "litres": 1000, "dl": 100, "cl": 10, "ml": 1}[written]
	return per, ok && unit == pb.StockUnit_STOCK_UNIT_ML
}

// stockMoved takes a movement into its account.
func (st *state) stockMoved(e *pb.StockMoved, rows *rowSet) {
	key := accountKey(e.GetStation(), e.GetMaterial())
	m := stock.Movement{Sequence: st.sequence, Kind: stock.Kind(e.GetKind()), At: e.GetHappened().AsTime(), Amount: e.GetAmountMlOrPieces()}
	st.stock = maps.Clone(st.stock)
	if st.stock == nil {
		st.stock = accounts{}
	}
	st.stock[key] = st.stock[key].With(m)
	rows.put(fmt.Sprintf("%s%s/%016d", stockRows, key, m.Sequence), record{}.number(1, int64(m.Kind)).instant(2, m.At).number(3, m.Amount))
}

// accounts reads all movements.
func (l *loader) accounts(ctx context.Context) (accounts, error) {
	all := accounts{}
	err := l.eachRecord(ctx, stockRows, func(key string, f fields) error {
		at := strings.LastIndexByte(key, '/')
		sequence, err := strconv.ParseInt(key[at+1:], 10, 64)
		if err != nil {
			return unreadable("row "+stockRows+key, err)
		}
		all[key[:at]] = all[key[:at]].With(stock.Movement{Sequence: sequence, Kind: stock.Kind(f.number(1)), At: f.instant(2), Amount: f.number(3)})
		return nil
	})
	return all, err
}

// RecordDelivery records that some of a material came.
func (s *Station) RecordDelivery(ctx context.Context, req *pb.RecordDeliveryRequest) (*pb.RecordDeliveryResponse, error) {
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.RecordDeliveryResponse, error) {
		line, left, err := c.move(req, pb.StockMovementKind_STOCK_MOVEMENT_KIND_DELIVERED, admit.Deliver)
		return &pb.RecordDeliveryResponse{Sequence: line.Sequence, Stock: left}, err
	})
	return resp, err
}

// CountStock records how much of a material somebody has counted.
func (s *Station) CountStock(ctx context.Context, req *pb.CountStockRequest) (*pb.CountStockResponse, error) {
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.CountStockResponse, error) {
		line, left, err := c.move(req, pb.StockMovementKind_STOCK_MOVEMENT_KIND_COUNTED, admit.Count)
		return &pb.CountStockResponse{
			Sequence: line.Sequence, Stock: left, CorrectionMlOrPieces: line.Change, CorrectionText: correctionWords(line, left.GetMaterial()),
		}, err
	})
	return resp, err
}

// stockRequest is what tells of a movement.
type stockRequest interface {
	timed
	GetStation() string
	GetMaterial() string
	GetPerson() string
	GetAmountMlOrPieces() int64
	GetHappened() *timestamppb.Timestamp
	GetNote() string
	GetDevice() string
}

// move lets a movement happen that somebody tells of.
func (c *command) move(req stockRequest, kind pb.StockMovementKind, deed admit.Deed) (line stock.Line, left *pb.Stock, err error) {
	if err := checkDeviceTime(req); err != nil {
		return line, nil, err
	}
	home := c.state.lib.set.Stations[req.GetStation()]
	if home == nil {
		return line, nil, c.state.lib.unknownStation(req.GetStation())
	}
	material := materialOf(home, req.GetMaterial())
	if material == nil {
		return line, nil, unaccounted(home, req.GetMaterial())
	}
	if err := c.state.lib.active(req.GetPerson(), deviceTimeOf(req)); err != nil {
		return line, nil, err
	}
	if err := c.mayOnce(req.GetPerson(), deed, req.GetDeviceTime()); err != nil {
		return line, nil, err
	}
	happened, err := c.happened(req.GetHappened(), req.GetDeviceTime(), invalid("HAPPENED_LATER", "happened", "it lies in the future; record it when it has happened"))
	if err != nil {
		return line, nil, err
	}
	ev := &pb.JournalEvent{
		Person: req.GetPerson(), Device: req.GetDevice(), DeviceTime: req.GetDeviceTime(),
		Event: &pb.JournalEvent_StockMoved{StockMoved: &pb.StockMoved{
			Station: home.GetName(), Material: material.GetId(), Kind: kind, AmountMlOrPieces: req.GetAmountMlOrPieces(),
			Happened: timestamppb.New(happened), Note: req.GetNote(),
		}},
	}
	if err := c.happen(ev, nil); err != nil {
		return line, nil, err
	}
	line = c.state.stock[accountKey(home.GetName(), material.GetId())].Line(ev.GetSequence())
	return line, c.state.stock.of(home, material), nil
}

func unaccounted(home *pb.Station, material string) error {
	return fault.New(fault.NotFound, "MATERIAL_UNKNOWN", "%s keeps no account of %q; name it under stocked in the station's file and apply that", home.GetTitle(), material).
		At("material", "not among what the station keeps account of")
}

// of says what a station has of a material.
func (a accounts) of(home *pb.Station, m *pb.StockedMaterial) *pb.Stock {
	ledger := a[accountKey(home.GetName(), m.GetId())]
	s := &pb.Stock{Station: home.GetName(), StationTitle: home.GetTitle(), Material: m, BalanceMlOrPieces: ledger.Balance()}
	s.Low = s.BalanceMlOrPieces < m.GetLowBelowMlOrPieces()
	if counted, ok := ledger.LastCount(); ok {
		s.Counted = timestamppb.New(counted.At)
	}
	if at := ledger.Newest(); !at.IsZero() {
		s.Moved = timestamppb.New(at)
	}
	s.Text = stockWords(s)
	return s
}

// stockWords say what there is.
func stockWords(s *pb.Stock) string {
	title, left := s.GetMaterial().GetTitle(), stock.Amount(s.GetBalanceMlOrPieces(), s.GetMaterial().GetUnit() == pb.StockUnit_STOCK_UNIT_ML)
	switch {
	case s.GetMoved() == nil:
		return title + ": nobody has counted it"
	case s.GetBalanceMlOrPieces() < 0:
		return title + ": more was used than was booked, count it"
	case s.GetLow():
		return title + ": " + left + " left, low"
	}
	return title + ": " + left + " left"
}

// correctionWords say what a count made of what was written down; the first one of all
// corrects nothing.
func correctionWords(counted stock.Line, m *pb.StockedMaterial) string {
	millilitres := m.GetUnit() == pb.StockUnit_STOCK_UNIT_ML
	switch {
	case counted.First:
		return "counted for the first time"
	case counted.Change < 0:
		return stock.Amount(-counted.Change, millilitres) + " less than was booked"
	case counted.Change > 0:
		return stock.Amount(counted.Change, millilitres) + " more than was booked"
	}
	return "as booked"
}

// ListStock returns what stations have.
func (s *Station) ListStock(_ context.Context, req *pb.ListStockRequest) (*pb.ListStockResponse, error) {
	p := s.current.Load()
	if req.GetStation() != "" && p.lib.set.Stations[req.GetStation()] == nil {
		return nil, p.lib.unknownStation(req.GetStation())
	}
	all := map[string]*pb.Stock{}
	for name, home := range p.lib.set.Stations {
		if req.GetStation() != "" && req.GetStation() != name {
			continue
		}
		for _, m := range home.GetStocked() {
			all[name+" "+m.GetId()] = p.stock.of(home, m) // a space sorts before what names have in them
		}
	}
	stocks, next, err := page(all, req, func(s *pb.Stock) bool { return s.GetLow() || !req.GetLowOnly() })
	return &pb.ListStockResponse{Stocks: stocks, NextPageToken: next}, err
}

// ListStockMovements returns the account of one material, the newest line first.
func (s *Station) ListStockMovements(_ context.Context, req *pb.ListStockMovementsRequest) (*pb.ListStockMovementsResponse, error) {
	p := s.current.Load()
	home := p.lib.set.Stations[req.GetStation()]
	if home == nil {
		return nil, p.lib.unknownStation(req.GetStation())
	}
	ledger, known := p.stock[accountKey(home.GetName(), req.GetMaterial())]
	if !known && materialOf(home, req.GetMaterial()) == nil {
		return nil, unaccounted(home, req.GetMaterial())
	}
	after, err := readPageToken(req)
	if err != nil {
		return nil, err
	}
	resp, l := &pb.ListStockMovementsResponse{}, loader{journal: s.journal}
	for _, line := range slices.Backward(ledger.Lines()) {
		key := lineKey(line.Movement)
		if after != "" && key >= after {
			continue
		}
		if len(resp.GetMovements()) == pageSize(req) {
			resp.NextPageToken = pageToken(req, after)
			break
		}
		ev, err := l.event(line.Sequence)
		if err != nil {
			return nil, err
		}
		resp.Movements = append(resp.Movements, &pb.StockMovement{
			Sequence: line.Sequence, Moved: ev.GetStockMoved(), ChangeMlOrPieces: line.Change, BalanceMlOrPieces: line.Balance,
			Person: ev.GetPerson(), Vehicle: ev.GetVehicle(),
		})
		after = key
	}
	return resp, nil
}

// lineKey puts lines in the order of their accounts.
func lineKey(m stock.Movement) string {
	return m.At.UTC().Format("2006-01-02T15:04:05.000000000Z") + fmt.Sprintf(" %016d", m.Sequence)
}
