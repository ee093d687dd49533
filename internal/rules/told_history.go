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
		text += fmt.Sprintf(": %s a week (95 %%: %s to %s), %s now by the line", as.signed(t.GetSlopePerWeek()), as.signed(t.GetSlopeLowPerWeek()), as.signed(t.GetSlopeHighPerWeek()), as.about(t.GetLevel()))
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
		return fmt.Sprintf("A lasting fall is signalled, since %s days.", rounded(t.GetShiftedDaysAgo(), 0, true))
	case t.GetRising():
		return fmt.Sprintf("A lasting rise is signalled, since %s days.", rounded(t.GetShiftedDaysAgo(), 0, true))
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

// signed tells a change with its sign.
func (s shown) signed(x float64) string {
	if x > 0 {
		return "+" + s.about(x)
	}
	return s.about(x)
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
	text := fmt.Sprintf("Most against its peers loses %s: %s a week (95 %%: %s to %s), by %d days read together",
		where(wheel), as.about(worst.GetLossKpaPerWeek()), as.about(worst.GetLossLowKpaPerWeek()), as.about(worst.GetLossHighKpaPerWeek()), worst.GetDaysTogether())
	if worst.GetTopUps() > 0 {
		text += fmt.Sprintf(", topped up %d times", worst.GetTopUps())
	}
	arrives(a.say(told, text+"."), worst.GetLossKpaPerWeek()*as.factor, as.unit)
}
