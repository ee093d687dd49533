package round

import (
	"context"
	"math"
	"slices"
	"strings"

	"github.com/google/uuid"

	"bayround/internal/fault"
	"bayround/internal/stock"
	pb "bayround/proto/bayround/v1"
)

// toDelivery opens the page of what came.
func (d *Desk) toDelivery(context.Context, Act) error { return d.toStock(TaleDelivery) }

// toCount opens the page of what was counted.
func (d *Desk) toCount(context.Context, Act) error { return d.toStock(TaleCount) }

func (d *Desk) toStock(of Tale) error {
	if len(d.materials()) == 0 {
		return fault.New(fault.Precondition, "NOTHING_STOCKED", "no station here keeps account of anything; name it under stocked in the station's file")
	}
	s := d.session
	s.leaveRound()
	s.Phase, s.Telling, d.stale = PhaseTell, &telling{Of: of}, true
	return nil
}

// materials are what this tablet's station keeps account of, or what every one does where
// the tablet was told none; each with what there was of it, as it was told last.
func (d *Desk) materials() (all []TellChoice) {
	told, _ := d.stockView()
	for name, home := range d.scene.stations {
		if d.station != "" && d.station != name {
			continue
		}
		for _, m := range home.GetStocked() {
			one := TellChoice{ID: name + "/" + m.GetId(), Text: m.GetTitle(), Material: m}
			if d.station == "" {
				one.Text = home.GetTitle() + ", " + one.Text
			}
			i := slices.IndexFunc(told, func(s *pb.Stock) bool { return s.GetStation() == name && s.GetMaterial().GetId() == m.GetId() })
			if i >= 0 {
				one.Says = strings.TrimPrefix(told[i].GetText(), m.GetTitle()+": ")
			}
			all = append(all, one)
		}
	}
	slices.SortFunc(all, func(x, y TellChoice) int { return strings.Compare(x.ID, y.ID) })
	return all
}

// chosenMaterial is the one that is told of; nil while none is.
func (d *Desk) chosenMaterial() *TellChoice {
	for _, one := range d.materials() {
		if t := d.session.Telling; t != nil && slices.Contains(t.What, one.ID) {
			return &one
		}
	}
	return nil
}

// tellStock records that some of a material came, or was counted.
func (d *Desk) tellStock(ctx context.Context, person, note, text string) error {
	t, m := d.session.Telling, d.chosenMaterial()
	if m == nil {
		return fault.New(fault.Precondition, "WHAT_NOT_SAID", "nothing is recorded yet: touch what it was")
	}
	amount, ok := wholeUnits(text, m.Material.GetUnit())
	if !ok || amount == 0 && t.Of == TaleDelivery {
		words := map[bool]string{true: "litres, for instance 20 or 0.5", false: "pieces, a whole number"}[m.InLitres()]
		return fault.New(fault.Invalid, "AMOUNT_WRONG", "nothing is recorded yet: say how much in %s", words)
	}
	home := strings.TrimSuffix(m.ID, "/"+m.Material.GetId())
	if t.Of == TaleCount {
		return d.command(ctx, &pending{Kind: commandCount}, &pb.CountStockRequest{
			RequestId: uuid.NewString(), Station: home, Material: m.Material.GetId(), Person: person, AmountMlOrPieces: amount,
			Happened: timestamp(t.When), Note: note, Device: d.device, DeviceTime: d.deviceTime(),
		})
	}
	return d.command(ctx, &pending{Kind: commandDelivery}, &pb.RecordDeliveryRequest{
		RequestId: uuid.NewString(), Station: home, Material: m.Material.GetId(), Person: person, AmountMlOrPieces: amount,
		Happened: timestamp(t.When), Note: note, Device: d.device, DeviceTime: d.deviceTime(),
	})
}

// wholeUnits reads an amount in litres, to the millilitre, or in pieces.
func wholeUnits(text string, unit pb.StockUnit) (int64, bool) {
	per := 1.0
	if unit == pb.StockUnit_STOCK_UNIT_ML {
		per = 1000
	}
	x, ok := number(strings.TrimSpace(text))
	units := math.Round(x * per)
	exact := math.Abs(x*per-units) < 1e-6 // 0.001 l is 1 ml; more digits are none that can be measured
	return int64(units), ok && exact && x >= 0 && units <= stock.Most
}

func (d *Desk) toldOfDelivery(_ context.Context, req *pb.RecordDeliveryRequest, resp *pb.RecordDeliveryResponse) error {
	return d.taleTold(TaleDelivery, "", d.stockTold(req.GetStation(), resp.GetStock().GetMaterial(), req.GetAmountMlOrPieces()))
}

func (d *Desk) toldOfCount(_ context.Context, req *pb.CountStockRequest, resp *pb.CountStockResponse) error {
	return d.taleTold(TaleCount, "", d.stockTold(req.GetStation(), resp.GetStock().GetMaterial(), req.GetAmountMlOrPieces()))
}

// stockTold is what was recorded, in the words in which it was chosen: on a tablet of no
// station they name the station. What there is then only the station of record knows.
func (d *Desk) stockTold(station string, m *pb.StockedMaterial, amount int64) string {
	title := m.GetTitle()
	if c := d.chosenMaterial(); c != nil && c.ID == station+"/"+m.GetId() {
		title = c.Text
	}
	return title + ": " + stock.Amount(amount, m.GetUnit() == pb.StockUnit_STOCK_UNIT_ML)
}
