package county

import (
	"slices"

	pb "bayround/proto/bayround/v1"
)

// What the dropped gauge did: the days on which it was used, where tyres were low
// and it showed them sound, and how it was found out.

// gaugeDropped: WN11 is read with G-03 on five weekly checks. The monthly
// comparisons with G-07 are good until D-76; the one of D-9 is not.
func gaugeDropped(l *life, ago int) {
	if slices.Contains([]int{70, 56, 42, 21, 14}, ago) {
		l.today.gauge, l.today.air.offsetKPa, l.today.air.noTopUp = droppedGauge, droppedReadsKPa, true
	}
	switch {
	case ago > droppedAgo && (ago-droppedAgo-1)%28 == 0:
		l.compared(ago, 840, 840, "monthly comparison on the same tyre")
	case ago == gaugeFoundAgo:
		l.compared(ago, 868, 840, "reads high, was dropped some time; put away for the workshop")
	}
}

// compared adds a comparison of G-03 with G-07, three readings each on one tyre.
func (l *life) compared(ago int, shown, reference float64, note string) {
	l.entries = append(l.entries, entry{ago: ago, at: noon, check: &gaugeCheck{
		gauge: droppedGauge, reference: "gauges/g-07", shown: shown, true: reference, note: note,
	}})
}

// letDown: on D-22 both front tyres of WN11 lose air while their valves are
// changed; G-03 shows nothing of it on D-21 and D-14, when all else is sound.
func letDown(l *life, ago int) {
	l.valvesRenewed(ago, 6)
	switch ago {
	case 22:
		l.letFrontDown(0.885)
	case 21, 14:
		l.today.wholeShift, l.today.wholeWeekly = true, true
	}
}

// letDownAtOstrey: the same with WN32, which is read with G-03 on D-35 alone.
func letDownAtOstrey(l *life, ago int) {
	l.valvesRenewed(ago, 27)
	switch ago {
	case 36:
		l.letFrontDown(0.86)
	case 35:
		l.today.wholeShift, l.today.wholeWeekly = true, true
		l.today.gauge, l.today.air.offsetKPa, l.today.air.noTopUp = droppedGauge, droppedReadsKPa, true
	}
}

// letFrontDown lets the front tyres down to a share of what they should have.
func (l *life) letFrontDown(share float64) {
	for _, step := range []string{frontNearside, frontOffside} {
		w := l.wheel(step)
		w.kpa = share * w.pressure.GetTarget()
	}
}

// valvesRenewed: a driver who wonders where the air went reports both front tyres;
// the workshop renews the valves the next day, and they are read the day after.
func (l *life) valvesRenewed(ago, reported int) {
	if ago > reported || ago < reported-2 {
		return
	}
	for _, step := range []string{frontNearside, frontOffside} {
		w := l.wheel(step)
		r := reads(w.pressure, bar(w.shows(airIn(l.vehicle.GetStation(), ago), 0)), "bar")
		switch ago {
		case reported:
			r.AlsoSeen = []*pb.ConditionSeen{{Condition: "06"}}
			l.today.weeklyAnswers = append(l.today.weeklyAnswers, answer{step, []*pb.Result{noted(r, "filled yesterday, was far down")}})
		case reported - 1:
			l.repaired(ago, step, "valve renewed, tight under water")
		case reported - 2:
			l.today.weeklyAnswers = append(l.today.weeklyAnswers, answer{step, []*pb.Result{r}})
		}
	}
}

// readAtG03: WN12 is read with G-03 once; one inner tyre could not be reached.
func readAtG03(l *life, ago int) {
	if ago == 49 {
		l.today.gauge = droppedGauge
		l.today.air = airPlan{offsetKPa: droppedReadsKPa, noTopUp: true, leftOut: leakingWheel}
	}
}
