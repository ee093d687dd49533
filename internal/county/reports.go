package county

import (
	"time"

	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"
)

// indicator: seven reports of one indicator under four wordings, each after rain.
// Four times nothing was found, twice a bulb was changed, then the connector.
func indicator(l *life, ago int) {
	for _, report := range []struct {
		ago             int
		condition, note string
		done            string
	}{
		{300, "02", "left rear dead after the wash-down", "no fault found"},
		{241, "04", "comes back with a knock, it rained", "bulb renewed"},
		{188, "02", "blinker at the back out in the wet", "no fault found"},
		{131, "04", "left rear works when it likes", "no fault found"},
		{90, "02", "left rear dead after the wash-down", "bulb renewed"},
		{45, "04", "comes back with a knock, it rained", "no fault found"},
		{13, "02", "left rear works when it likes", "connector behind the lamp renewed, it was green"},
	} {
		switch ago {
		case report.ago:
			l.sees(rearIndicator, report.condition, report.note)
		case report.ago - 1:
			l.repaired(ago, rearIndicator, report.done)
		case report.ago - 2:
			l.sees(rearIndicator, "sound", "")
		}
	}
}

// reported adds a report of a fault at a step of the shift check, its repair the
// next day and the look at it the day after.
func (l *life) reported(ago, found int, r *pb.Result, done string) {
	switch ago {
	case found:
		l.today.shiftAnswers = append(l.today.shiftAnswers, answer{r.GetStepId(), []*pb.Result{r}})
	case found - 1:
		l.repaired(ago, r.GetStepId(), done)
	case found - 2:
		l.sees(r.GetStepId(), "sound", "")
	}
}

// belt: on D-5 the latch of rear seat 3 fails.
func belt(l *life, ago int) {
	l.reported(ago, 5, noted(shows("CAB-040/seat-crew-3", "01"), "latch lets go"), "belt buckle renewed")
}

// rearSteer: the rear-steer lamp keeps the platform off the run from D-18 to D-3.
func rearSteer(l *life, ago int) {
	switch ago {
	case 18:
		l.sees("BRK-060/driver-seat", "02", "lamp on after the yard roll")
	case 3:
		l.repaired(ago, "BRK-060/driver-seat", "angle sensor of the rear axle renewed")
	case 2:
		l.sees("BRK-060/driver-seat", "sound", "")
	}
}

// boomStops: the boom stops by itself on D-52, D-50 and D-49; each time a reset
// clears it.
func boomStops(l *life, ago int) {
	const boom = "AER-080/aerial-control"
	switch ago {
	case 52, 50, 49:
		l.today.weeklyAnswers = []answer{{boom, []*pb.Result{noted(shows(boom, "02"), "stopped by itself, reset")}}}
	case 48:
		l.repaired(ago, boom, "water in the plug of the control unit; dried, sealed, tried for an hour")
	case 47:
		l.today.weeklyAnswers = []answer{{boom, []*pb.Result{shows(boom, "sound")}}}
	}
}

// craneLamp: the crane lamp is repaired on D-44; on D-42 the driver finds oil
// where somebody had worked.
func craneLamp(l *life, ago int) {
	const lamp, crane = "RES-020/crane", "RES-030/crane"
	switch ago {
	case 46:
		l.sees(lamp, "02", "lamp on, crane is locked")
	case 44:
		l.repaired(ago, lamp, "switch of the crane lamp renewed")
	case 43:
		l.sees(lamp, "sound", "")
	case 42:
		l.today.weeklyAnswers = []answer{{crane, []*pb.Result{noted(shows(crane, "02"), "pipe rubs beside the new switch")}}}
	case 40:
		l.repaired(ago, crane, "pipe renewed and clipped away from the switch")
	}
}

// battery: over the winter the rest voltage of WN32 falls from 12.6 to 12.2 V, and
// the charge lead is found out nine times. A standing drain is found on D-8.
func battery(l *life, ago int) {
	const begins, ends, full, low = 150, 8, 12.65, 12.2
	const lead = "PRE-050/shore-inlet"
	switch {
	case ago == ends:
		l.repaired(ago, restVoltage, "radio charger drew 60 mA standing; cut out, battery charged and tested")
		l.volts = full
	case ago < begins && ago > ends:
		l.volts = full - (full-low)*float64(begins-ago)/(begins-ends)
	}
	for n := range 9 {
		switch ago {
		case 140 - 14*n:
			l.sees(lead, "03", "")
		case 139 - 14*n:
			l.sees(lead, "sound", "")
		}
	}
}

// offline: on D-7 Ostrey Point had no network for three hours; check, top-up and
// a worn wiper reach the station at noon.
func offline(l *life, ago int) {
	const wiper = "GLS-020/wiper-offside"
	switch ago {
	case 7:
		l.today.late = true
		l.sees(wiper, "02", "streaks")
	case 6:
		l.repaired(ago, wiper, "blade renewed")
	case 5:
		l.sees(wiper, "sound", "")
	}
}

// chargeFailed: WN31 stands at 41 % on D-2 because a breaker tripped.
func chargeFailed(l *life, ago int) {
	if step := l.step("shift", "HVE-010"); ago == 2 {
		r := noted(reads(step, 41, "%"), "breaker tripped")
		l.today.shiftAnswers = append(l.today.shiftAnswers, answer{step.GetStepId(), []*pb.Result{r}})
	}
}

// tooFast: on D-14 ninety-three items of WN31 are answered in two minutes and ten
// seconds by one person.
func tooFast(l *life, ago int) {
	if ago != 14 {
		return
	}
	v := l.visit(ago, "shift", evening-10*time.Minute)
	v.key, v.assistant, v.whole, v.first, v.eachTook = "fast", "", true, 93, 1400*time.Millisecond
	l.entries = append(l.entries, entry{ago: ago, at: evening, visit: v})
}

// takeover: WN90 takes the place of WN12 on D-6; a wiper is found torn.
func takeover(l *life, ago int) {
	const wiper = "GLS-020/wiper-offside"
	switch ago {
	case 6:
		v := l.visit(ago, "reserve-takeover", 8*time.Hour)
		v.whole = true
		v.answers = append(merge([]answer{{wiper, []*pb.Result{noted(shows(wiper, "02"), "found at the takeover")}}}, l.levels()), l.readTyres(ago, l.today.air)...)
		l.entries = append(l.entries, entry{ago: ago, at: morning, visit: v})
	case 5:
		l.repaired(ago, wiper, "blade renewed")
	case 4:
		l.sees(wiper, "sound", "")
	}
}

// interrupted: on D-1 at 19:52 a call comes while WN11's air is pumped down for
// the low-air warning; the check goes on after the run.
func interrupted(l *life, ago int) {
	if ago != 1 {
		return
	}
	first := l.visit(ago, "weekly", 19*time.Hour+40*time.Minute)
	first.key, first.turnout = "call", lowAirWarning
	then := *first
	then.conditions = proto.CloneOf(first.conditions)
	then.conditions.EngineStopped.Seconds = l.midnight.Add(-Day).Add(20*time.Hour + 40*time.Minute).Unix()
	then.key, then.turnout, then.resumes, then.began = "call", "", "call", 21*time.Hour
	step := l.step("weekly", "BRA-140")
	then.answers = []answer{{lowAirWarning, []*pb.Result{reads(step, 4.6, "bar")}}}
	l.entries = append(l.entries, entry{ago: ago, at: 19*time.Hour + 52*time.Minute, visit: first},
		entry{ago: ago, at: 21*time.Hour + 10*time.Minute, visit: &then})
}
