package rules

import (
	"fmt"

	pb "bayround/proto/bayround/v1"
)

const told = pb.ExplanationPart_EXPLANATION_PART_HISTORY

// tellHistory says what was measured here over time.
func (a *account) tellHistory() {
	if len(a.looked) != 1 {
		a.tellPeers()
		return
	}
	o := a.looked[0]
	t := a.judge.withTrend(o).GetTrend()
	if t.GetPoints() < 2 {
		return
	}
	as := trendUnit(o)
	text := fmt.Sprintf("%d readings in %s days", t.GetPoints(), rounded(t.GetDays(), 0, true))
	if !t.GetHasSlope() {
		a.say(told, text+": too little to speak of a slope.")
	} else {
		text += ": "
		if t.GetSlopePerWeek() > 0 {
			text += "+"
		}
		text += fmt.Sprintf("%s, %s now by the line", as.interval(t.GetSlopePerWeek(), t.GetSlopeLowPerWeek(), t.GetSlopeHighPerWeek()), as.about(t.GetLevel()))
		if t.GetIgnored() > 0 {
			text += fmt.Sprintf("; %d left out that cannot belong to the rest", t.GetIgnored())
		}
		arrives(a.say(told, text+"."), t.GetSlopePerWeek()*as.factor, as.unit)
	}
	a.say(told, habitWords(t))
}

// habitWords tells what stands out in a history beside its slope; empty when nothing does.
func habitWords(t *pb.Trend) string {
	switch {
	case t.GetTimesFaster() > 1:
		return fmt.Sprintf("It falls %s times faster than it used to.", about(t.GetTimesFaster()))
	case t.GetUseRisen():
		return "Use has risen above what it used to be, allowing for distance and hours."
	case t.GetUsedLPer_1000Km() > 0:
		return fmt.Sprintf("Uses %s L in 1000 km.", about(t.GetUsedLPer_1000Km()))
	case t.GetFalling():
		return fmt.Sprintf("A lasting fall is signalled, for %s days.", rounded(t.GetShiftedDaysAgo(), 0, true))
	case t.GetRising():
		return fmt.Sprintf("A lasting rise is signalled, for %s days.", rounded(t.GetShiftedDaysAgo(), 0, true))
	case t.GetSameInARow() > 3:
		return fmt.Sprintf("The same reading %d times in a row (P %s by itself).", t.GetSameInARow(), chance(t.GetPSame()))
	}
	return ""
}

// trendUnit is the unit in which the history of a step is told.
func trendUnit(o *pb.Observation) shown {
	switch {
	case o.GetHasLevel() && !o.GetHasValue():
		return shown{"%", 100}
	case len(o.GetStep().GetParts()) > 0:
		return shownPart(o, 0)
	}
	return shown{"", 1}
}

// interval tells a change a week with its 95 % interval, to the digit that the
// interval leaves certain.
func (s shown) interval(x, low, high float64) string {
	decimals := max(decimalsOf((high-low)*s.factor/2)-1, 0)
	if low == high {
		decimals = mostShown
	}
	number := func(x float64) string { return rounded(x*s.factor, decimals, low == high) }
	return fmt.Sprintf("%s a week (95 %%: %s to %s)", s.withUnit(number(x)), number(low), number(high))
}

// tellPeers tells of the wheel that loses most against its peers, where that can be said.
func (a *account) tellPeers() {
	var worst *pb.PeerTrend
	var wheel *pb.Observation
	for i, p := range Peers(a.looked) {
		if p.GetHasLoss() && (worst == nil || p.GetLossKpaPerWeek() > worst.GetLossKpaPerWeek()) {
			worst, wheel = p, a.looked[i]
		}
	}
	if worst == nil {
		return
	}
	as := shownPart(wheel, 0)
	text := fmt.Sprintf("Most against its peers loses %s: %s, by %d days read together",
		where(wheel), as.interval(worst.GetLossKpaPerWeek(), worst.GetLossLowKpaPerWeek(), worst.GetLossHighKpaPerWeek()), worst.GetDaysTogether())
	if worst.GetTopUps() > 0 {
		text += fmt.Sprintf(", topped up %d times", worst.GetTopUps())
	}
	arrives(a.say(told, text+"."), worst.GetLossKpaPerWeek()*as.factor, as.unit)
}
