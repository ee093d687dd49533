package round_test

import (
	"testing"
	"time"

	"bayround/internal/round"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// oilText is what is said of the engine oil among stocks.
func oilText(all []*pb.Stock) string {
	for _, one := range all {
		if one.GetMaterial().GetId() == "engine-oil" {
			return one.GetText()
		}
	}
	return ""
}

func oilAt(t *testing.T, record *stationtest.Kit) string {
	t.Helper()
	resp, err := record.ListStock(ctx, &pb.ListStockRequest{Station: "stations/skarholm-quay"})
	if err != nil {
		t.Fatal(err)
	}
	return oilText(resp.GetStocks())
}

// What the station has stands where a top-up is told; a top-up that is told while the
// network is away comes out of the account once, when it is there again. Source:
// conservation: 20 l counted and 1.5 l used are 18.5 l.
func TestDesk_ATopUpComesOutOfTheStock(t *testing.T) {
	t.Parallel()
	tab, record, w := openLinked(t)
	tab.await(func(v *round.View) bool { return settled(v) && len(v.Vehicles) == 10 })
	_, err := record.CountStock(ctx, &pb.CountStockRequest{
		RequestId: record.ID(), Station: "stations/skarholm-quay", Material: "engine-oil", Person: "people/arkwith", AmountMlOrPieces: 20_000,
	})
	if err != nil {
		t.Fatal(err)
	}
	tab.begin(wn11, shift, "people/quellmere")
	tab.await(func(v *round.View) bool { return oilText(v.Stock) == "engine oil: 20 l left" })
	w.Cut()
	tab.clock.Advance(time.Minute)
	tab.goTo(atOilLevel)
	tab.act("level", "mark", "below")
	tab.look()
	tab.record()
	tab.act("cure", "done", "topped up", "amount", "1.5", "unit", "L")
	tab.act("level", "mark", "between", "fraction", "0.9")
	tab.look()
	v := tab.record()
	if oilText(v.Stock) != "engine oil: 20 l left" || v.StockTold.IsZero() || oilAt(t, record) != "engine oil: 20 l left" {
		t.Errorf("cut off: %q told %v, at the station %q", oilText(v.Stock), v.StockTold, oilAt(t, record))
	}
	w.Heal()
	tab.await(func(v *round.View) bool { return settled(v) && oilText(v.Stock) == "engine oil: 18.5 l left" })
}
