package rules

import (
	pb "bayround/proto/bayround/v1"
)

// quantity is how the numbers of a quantity are written.
type quantity struct {
	suffix string // ends the names of numbers
	unit   string // they are kept in, as package measure spells it
	gauged bool   // a gauge of the register measures it
}

// quantities are those of the contract; never changed.
var quantities = map[pb.Quantity]quantity{
	pb.Quantity_QUANTITY_PRESSURE:               {"_kpa", "kPa", true},
	pb.Quantity_QUANTITY_PRESSURE_RATE:          {"_kpa_per_min", "kPa/min", false},
	pb.Quantity_QUANTITY_LENGTH:                 {"_mm", "mm", true},
	pb.Quantity_QUANTITY_VOLTAGE:                {"_v", "V", true},
	pb.Quantity_QUANTITY_TEMPERATURE:            {"_celsius", "degC", true},
	pb.Quantity_QUANTITY_TEMPERATURE_DIFFERENCE: {"_k", "K", false},
	pb.Quantity_QUANTITY_DURATION:               {"_s", "s", false},
	pb.Quantity_QUANTITY_FRACTION:               {"_share", "1", false},
	pb.Quantity_QUANTITY_DISTANCE:               {"_km", "km", false},
	pb.Quantity_QUANTITY_RUNNING_TIME:           {"_h", "h", false},
	pb.Quantity_QUANTITY_DAYS:                   {"_d", "d", false},
	pb.Quantity_QUANTITY_AGE:                    {"_a", "a", false},
	pb.Quantity_QUANTITY_MASS:                   {"_kg", "kg", false},
	pb.Quantity_QUANTITY_VOLUME:                 {"_l", "L", false},
	pb.Quantity_QUANTITY_COUNT:                  {"", "1", false},
	pb.Quantity_QUANTITY_FLOW:                   {"_l_per_min", "L/min", false},
	pb.Quantity_QUANTITY_ANGLE:                  {"_deg", "deg", false},
	pb.Quantity_QUANTITY_CURRENT:                {"_amp", "A", false},
	pb.Quantity_QUANTITY_FREQUENCY:              {"_per_min", "1/min", false},
}

func quantityOf(p *pb.ReadingPart) quantity { return quantities[p.GetQuantity()] }

func gaugedPart(p *pb.ReadingPart) bool { return quantityOf(p).gauged }

// numbers gives the numbers of what was looked at, by name with unit: those of
// one observation, or the extremes of those that several share, and how many
// there are.
func numbers(looked []*pb.Observation) map[string]float64 {
	if len(looked) == 1 {
		return numbersOf(looked[0])
	}
	count := map[string]int{}
	found := map[string]float64{"observations": float64(len(looked))}
	for _, o := range looked {
		for name, x := range numbersOf(o) {
			low, high := "least_"+name, "greatest_"+name
			if count[name] == 0 {
				found[low], found[high] = x, x
			}
			found[low], found[high] = min(found[low], x), max(found[high], x)
			count[name]++
		}
	}
	for name, n := range count {
		if n < len(looked) {
			delete(found, "least_"+name)
			delete(found, "greatest_"+name)
		}
	}
	return found
}

// numbersOf gives the numbers of one observation that apply.
func numbersOf(o *pb.Observation) map[string]float64 {
	found := map[string]float64{}
	parts := o.GetStep().GetParts()
	if o.GetHasValue() {
		for _, p := range parts {
			if x, ok := o.GetValues()[p.GetId()]; ok {
				found[p.GetId()+quantityOf(p).suffix] = x
			}
			if u, ok := o.GetUncertainties()[p.GetId()]; ok {
				found[p.GetId()+"_uncertainty"+quantityOf(p).suffix] = u
			}
		}
	}
	if o.GetHasTarget() && len(parts) > 0 {
		found["target"+quantityOf(parts[0]).suffix] = o.GetTarget()
		if o.GetHasValue() && o.GetTarget() != 0 {
			found["share_of_target"] = o.GetShareOfTarget()
		}
	}
	if o.GetHasTread() {
		found["tread_band_mm"], found["tread_central_mm"] = o.GetTreadBandMm(), o.GetTreadCentralMm()
		found["tread_least_mm"] = o.GetTreadLeastMm()
	}
	if o.GetHasLevel() {
		found["level"] = o.GetLevel()
	}
	if o.GetResult().GetSeen() != nil || len(o.GetFaults()) > 0 {
		found["affected"], found["of"] = float64(o.GetAffected()), float64(o.GetOf())
	}
	moreNumbers(found, o, firstUnit(o))
	return found
}

// firstUnit is the suffix of what the series of a step follows.
func firstUnit(o *pb.Observation) string {
	if parts := o.GetStep().GetParts(); len(parts) > 0 {
		return quantityOf(parts[0]).suffix
	}
	return ""
}

// moreNumbers adds what a reading is worth, what was made of it and what its
// history says, where that is known.
func moreNumbers(found map[string]float64, o *pb.Observation, unit string) {
	t, p := o.GetTrend(), o.GetPeers()
	for _, n := range []struct {
		applies bool
		name    string
		is      float64
	}{
		{o.GetNormalised(), "as_read" + unit, o.GetAsRead()},
		{o.GetNormalised(), "air_celsius", o.GetResult().GetAirCelsius()},
		{o.GetTreadUncertaintyMm() > 0, "tread_uncertainty_mm", o.GetTreadUncertaintyMm()},
		{o.GetMayReadHighBy() != 0, "may_read_high_by" + unit, o.GetMayReadHighBy()},
		{o.GetLitresToAdd() > 0, "to_add_l", o.GetLitresToAdd()},
		{t.GetPoints() > 1, "trend_points", float64(t.GetPoints())},
		{t.GetPoints() > 1, "trend_days", t.GetDays()},
		{t.GetHasSlope(), "trend_slope" + unit + "_per_week", t.GetSlopePerWeek()},
		{t.GetHasSlope(), "trend_slope_low" + unit + "_per_week", t.GetSlopeLowPerWeek()},
		{t.GetHasSlope(), "trend_slope_high" + unit + "_per_week", t.GetSlopeHighPerWeek()},
		{t.GetHasSlope(), "p_no_trend", t.GetPNoTrend()},
		{t.GetTimesFaster() > 0, "times_faster", t.GetTimesFaster()},
		{t.GetSameInARow() > 1, "same_in_a_row", float64(t.GetSameInARow())},
		{t.GetSameInARow() > 1, "p_same", t.GetPSame()},
		{t.GetUsedLPer_1000Km() > 0, "used_l_per_1000_km", t.GetUsedLPer_1000Km()},
		{t.GetUsedLPer_100H() > 0, "used_l_per_100_h", t.GetUsedLPer_100H()},
		{p != nil, "days_together", float64(p.GetDaysTogether())},
		{p.GetHasLoss(), "loss_kpa_per_week", p.GetLossKpaPerWeek()},
		{p.GetHasLoss(), "loss_low_kpa_per_week", p.GetLossLowKpaPerWeek()},
		{p.GetHasLoss(), "loss_high_kpa_per_week", p.GetLossHighKpaPerWeek()},
		{p.GetHasLoss(), "p_no_loss", p.GetPNoLoss()},
	} {
		if n.applies && isFinite(n.is) {
			found[n.name] = n.is
		}
	}
}
