package round_test

import (
	"math"
	"strconv"

	"bayround/internal/catalogue"
	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// nominal is what a sound reading is where the plan gives no target: the values of
// testdata/demo/rounds/01-wn11-shift.yaml, in the units of the stations.
func nominal(item, part string) string {
	return map[string]string{
		"LMP-041 rate": "90", "LMP-042 rate": "90", // common practice: the middle of 60 to 120 a minute
		"PRE-020 stood": "720", "PAP-010 days_left": "200", "PAP-020 days_left": "90", "PAP-030 days_left": "140",
		"PAP-060 days_left": "200", "FLU-110 share": "90", "FLU-120 share": "80", "ELE-010 rest_voltage": "25.6",
		"ENG-110 time_to_fire": "2", "ENG-120 rise_time": "2", "ENG-140 charging_voltage": "28.2",
		"RSV-030 days_standing": "2", "CAB-140 free_play": "20", "BRA-100 build_up_time": "32", "BRA-110 pressure": "8.5",
		"BRA-120 loss": "0.04", "BRA-130 loss": "0.07", "BRA-140 pressure": "4.6", "PMP-030 pressure": "10",
		"PMP-040 vacuum": "0.85", "PMP-040 loss": "0.03", "ENG-160 temperature": "86",
		"BRA-040 pressure": "8.2", "INS-050 odometer": "48210", "INS-050 engine_hours": "3120", "INS-050 pump_hours": "211",
		"CLN-030 volume": "0", "CLN-030 mass": "0", "CLN-030 pressure": "0",
	}[item+" "+part]
}

// soundText is what a driver types for a part that is as it should be: what is
// nominal, the value aimed at, or the middle of what is plausible, in the
// station's unit.
func soundText(step *pb.CheckStep, part int) string {
	p := step.GetParts()[part]
	if text := nominal(step.GetItem(), p.GetId()); text != "" {
		return text
	}
	si := (p.GetPlausible().GetLeast() + p.GetPlausible().GetGreatest()) / 2
	if part == 0 && step.Target != nil {
		si = step.GetTarget()
	}
	x, err := measure.Convert(si, catalogue.UnitOf(p.GetQuantity()), step.GetUnits()[part])
	if err != nil {
		panic(err)
	}
	return strconv.FormatFloat(math.Round(x*10)/10, 'f', -1, 64)
}
