package county

import (
	"maps"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// check is what the crew does of itself on a day: once a week everything that is
// measured, and on other days what a day asks for.
func (l *life) check(ago int) {
	weekly := ago%7 == 0
	at, began := morning, 7*time.Hour+35*time.Minute
	if l.today.late {
		at = noon
	}
	if l.today.began != 0 {
		began = l.today.began
	}
	if l.powered() && (weekly || l.today.shift || l.today.wholeShift || len(l.today.shiftAnswers) > 0 || ago == 1) {
		v := l.visit(ago, "shift", began)
		v.whole, v.usual = l.today.wholeShift, ago == 1
		v.answers = l.withVoltage(merge(l.today.shiftAnswers, l.levels()))
		l.entries = append(l.entries, entry{ago: ago, at: at, visit: v})
	}
	if weekly || l.today.wholeWeekly || len(l.today.weeklyAnswers) > 0 {
		v := l.visit(ago, "weekly", began+25*time.Minute)
		v.whole, v.usual = l.today.wholeWeekly, ago == 7 && l.powered()
		v.answers = slices.Clone(l.today.weeklyAnswers)
		if weekly || l.today.wholeWeekly {
			v.answers = merge(v.answers, l.measuredWeekly(ago))
		}
		l.entries = append(l.entries, entry{ago: ago, at: at, visit: v})
	}
	if l.powered() {
		l.usual(ago, began)
	}
}

// usual is what a crew does beside what is measured, in the last month before today, so
// that nothing is overdue then that nobody would have left so long: the monthly check on
// D-14, the weekly one on D-7 and from then on each day's share of it, what is due after the
// repairs on D-2, the shift check on D-1.
func (l *life) usual(ago int, began time.Duration) {
	add := func(routine string, after time.Duration) *visit {
		v := l.visit(ago, routine, began+after)
		v.usual = true
		l.entries = append(l.entries, entry{ago: ago, at: noon, visit: v})
		return v
	}
	switch {
	case ago == 14:
		add("monthly", 50*time.Minute)
	case ago == 2:
		add("after-repair", 50*time.Minute)
		fallthrough
	case ago < 7:
		v := add("shift", 100*time.Minute)
		v.key, v.share = "share", true
	}
}

// powered tells a vehicle from a trailer.
func (l *life) powered() bool { return len(l.tanks) > 0 }

// visit opens a round of a routine of the vehicle as the crew would.
func (l *life) visit(ago int, routine string, began time.Duration) *visit {
	driver := l.crew.drivers[ago%len(l.crew.drivers)]
	if l.today.driver != "" {
		driver = l.today.driver
	}
	assistant := l.crew.drivers[(ago+1)%len(l.crew.drivers)]
	if assistant == driver {
		assistant = ""
	}
	device := l.crew.device
	if l.today.device != "" {
		device = l.today.device
	}
	air := rounded(airIn(l.vehicle.GetStation(), ago), 1)
	conditions := &pb.RoundConditions{AmbientCelsius: &air}
	if l.powered() {
		stopped := l.midnight.Add(-time.Duration(ago) * Day).Add(began - 10*time.Hour)
		if !l.today.stopped.IsZero() {
			stopped = l.today.stopped
		}
		km, hours := rounded(l.km, 1), rounded(l.hours, 0.1)
		conditions.EngineStopped, conditions.OdometerKm, conditions.EngineHours = timestamppb.New(stopped), &km, &hours
	}
	return &visit{
		key: routine, routine: routine, driver: driver, assistant: assistant, device: device,
		conditions: conditions, began: began, gauges: l.gaugesOf(),
	}
}

// gaugesOf is what the crew measures with on a day.
func (l *life) gaugesOf() map[pb.Quantity]string {
	gauges := maps.Clone(l.crew.gauges)
	gauges[pb.Quantity_QUANTITY_PRESSURE] = l.today.gauge
	return gauges
}

// levels are what a shift check measures.
func (l *life) levels() (all []answer) {
	for _, item := range []string{"FLU-010", "FLU-030", "FLU-090"} {
		if t := l.tanks[item]; t != nil {
			all = append(all, t.read(l.today.slope))
		}
	}
	if step := l.step("shift", "FLU-110"); step != nil {
		all = append(all, answer{step.GetStepId(), []*pb.Result{reads(step, rounded(l.fuel, 1), "%")}})
	}
	return all
}

// withVoltage adds the battery's voltage at rest, where it is not there yet.
func (l *life) withVoltage(all []answer) []answer {
	step := l.step("shift", "ELE-010")
	if step == nil {
		return all
	}
	volts := rounded(l.volts+spread(l.meter, 0.03*float64(l.vehicle.GetSystemVoltageV())/24), 0.01)
	return merge(all, []answer{{step.GetStepId(), []*pb.Result{reads(step, volts, "V")}}})
}

// measuredWeekly is what a weekly check measures; treads every fourth week.
func (l *life) measuredWeekly(ago int) []answer {
	all := l.readTyres(ago, l.today.air)
	if ago%28 == 0 || l.today.wholeWeekly {
		all = append(all, l.readTreads()...)
	}
	for _, test := range []struct {
		item string
		kpa  float64 // a minute
	}{{"BRA-120", releasedLossKPa}, {"BRA-130", l.holdLoss}} {
		if step := l.step("weekly", test.item); step != nil {
			read := max(0, rounded((test.kpa+spread(l.loss, lossHandKPa))/kpaPerBar, 0.01))
			all = append(all, answer{step.GetStepId(), []*pb.Result{reads(step, read, "bar/min")}})
		}
	}
	return all
}

// step is the first step of an item in a plan; nil when there is none.
func (l *life) step(routine, item string) *pb.CheckStep {
	for _, step := range l.plans[routine].GetSteps() {
		if step.GetItem() == item {
			return step
		}
	}
	return nil
}

// merge joins answers; those that come first stand in the place of later ones of
// the same step.
func merge(first, then []answer) []answer {
	all := slices.Clone(first)
	for _, a := range then {
		if !slices.ContainsFunc(first, func(b answer) bool { return b.step == a.step }) {
			all = append(all, a)
		}
	}
	return all
}
