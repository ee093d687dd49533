package rules

import (
	"fmt"
	"math"
	"strings"

	pb "bayround/proto/bayround/v1"
)

const worth = pb.ExplanationPart_EXPLANATION_PART_UNCERTAINTY

// tellWorth says what the reading is worth, and why.
func (a *account) tellWorth() {
	if len(a.looked) != 1 {
		a.tellWorthOfMany()
		return
	}
	o := a.looked[0]
	u, as := o.GetStandardUncertainty(), shown{factor: 1}
	if len(o.GetStep().GetParts()) > 0 {
		as = shownPart(o, 0)
	}
	if o.GetTreadUncertaintyMm() > 0 {
		u, as = o.GetTreadUncertaintyMm(), shownAs("mm", o.GetStep(), 0)
	}
	if o.GetHasUncertainty() || o.GetTreadUncertaintyMm() > 0 {
		budget := append(a.budget(o, as), fmt.Sprintf("standard uncertainty u = %s, U = 2u = %s", as.two(u), as.two(2*u)))
		arrives(a.say(worth, sentence(strings.Join(budget, "; "))), u*as.factor, as.unit)
	}
	a.say(worth, standingWords(o, as))
}

// two tells an uncertainty with two significant digits.
func (s shown) two(x float64) string {
	return s.withUnit(rounded(x*s.factor, decimalsOf(x*s.factor), false))
}

// budget are the contributions to an uncertainty that the register tells.
func (a *account) budget(o *pb.Observation, as shown) []string {
	g := a.judge.circumstances.Gauges[o.GetResult().GetGauge()]
	parts := o.GetStep().GetParts()
	if g == nil || len(parts) == 0 || parts[0].GetQuantity() != g.GetQuantity() {
		return nil
	}
	shownValue := o.GetAsRead()
	if !o.GetHasValue() {
		shownValue = o.GetTreadLeastMm()
	}
	mpe, step := PermissibleError(g, shownValue), g.GetResolution()
	told := []string{
		fmt.Sprintf("greatest error ±%s / √3 = %s", as.exact(mpe), as.two(mpe/math.Sqrt(3))),
		fmt.Sprintf("step %s / √12 = %s", as.exact(step), as.two(step/math.Sqrt(12))),
	}
	v := valueOf(o, parts[0].GetId())
	all := []float64{}
	if v != nil {
		all = readings(v, quantityOf(parts[0]).unit)
	}
	if scatter := max(g.GetRepeatability(), standardDeviation(all)); scatter > 0 {
		told = append(told, fmt.Sprintf("scatter %s, of %d readings", as.two(scatter), max(len(all), 1)))
	}
	if o.GetNormalised() {
		if cold, done := a.judge.circumstances.atReference(o.GetAsRead(), 0, o.GetResult().GetAirCelsius()); done && a.judge.circumstances.Station != nil {
			told = append(told, fmt.Sprintf("thermometer ±%d K / √3 = %s", bayThermometerK, as.two(cold.Uncertainty)))
		}
	}
	return told
}

// standingWords says what is the matter with a gauge; empty when nothing is.
func standingWords(o *pb.Observation, as shown) string {
	switch o.GetGaugeStanding() {
	case pb.GaugeStanding_GAUGE_STANDING_UNKNOWN:
		return "Nobody knows which gauge it was read with, so nobody knows what the reading is worth."
	case pb.GaugeStanding_GAUGE_STANDING_OVERDUE:
		return "The gauge's calibration had lapsed, or nobody knows when it does."
	case pb.GaugeStanding_GAUGE_STANDING_FOUND_WRONG:
		way := "high"
		if o.GetMayReadHighBy() < 0 {
			way = "low"
		}
		return fmt.Sprintf("The gauge was found wrong: it may have read up to %s too %s, and nobody knows since when.", as.about(abs(o.GetMayReadHighBy())), way)
	}
	return ""
}

func (a *account) tellWorthOfMany() {
	doubtful, greatest := 0, 0.0
	var of *pb.Observation
	for _, o := range a.looked {
		switch o.GetGaugeStanding() {
		case pb.GaugeStanding_GAUGE_STANDING_UNSPECIFIED, pb.GaugeStanding_GAUGE_STANDING_IN_DATE:
		default:
			doubtful++
		}
		if o.GetHasUncertainty() && o.GetStandardUncertainty() > greatest {
			greatest, of = o.GetStandardUncertainty(), o
		}
	}
	if of != nil {
		as := shownPart(of, 0)
		arrives(a.say(worth, fmt.Sprintf("Each is worth u = %s at most, U = 2u = %s.", as.two(greatest), as.two(2*greatest))), greatest*as.factor, as.unit)
	}
	if doubtful > 0 {
		a.say(worth, fmt.Sprintf("%d of %d were read with a gauge that was not in date, was found wrong, or that nobody knows.", doubtful, len(a.looked)))
	}
}
