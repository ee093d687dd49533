package screen

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// grooves gives a profile's entry the grooves of one section.
func grooves(v *round.View, texts ...string) {
	e := &v.Step.Entry
	e.Section, e.Sections, e.Fields = 1, []int{len(texts), 0, 0}, nil
	for i := range 4 {
		f := round.Field{ID: fmt.Sprintf("g%d", i+1), Title: fmt.Sprintf("groove %d", i+1), Unit: "mm", Resolution: "0.1", Active: i == len(texts)}
		if i < len(texts) {
			f.Text = texts[i]
		}
		e.Fields = append(e.Fields, f)
	}
}

func choose(v *round.View, condition, meaning string, verdict pb.Verdict) {
	for i := range v.Step.Entry.Choices {
		if c := &v.Step.Entry.Choices[i]; c.Condition.GetId() == condition {
			c.Chosen, c.Meaning, c.Verdict = true, meaning, verdict
		}
	}
}

func stepViews(t testing.TB, views map[string]*round.View) {
	v := walkView(t, "WN11", "weekly", "TYR-120/axle-2-nearside-inner")
	v.Step.NeedsGauge, v.Step.Gauge = true, v.Gauges[1]
	v.Step.Entry.Fields[0].Range, v.Step.Entry.Fields[0].Resolution = "7.0 … 8.5", "0.1"
	v.Step.Entry.Needs = "Type what the gauge shows."
	views["reading"] = v
	v = walkView(t, "WN11", "weekly", "TYR-120/axle-2-nearside-inner")
	v.Step.NeedsGauge, v.Step.Gauge, v.Step.NewWay = true, v.Gauges[1], "the round was left in between"
	v.Link.Live, v.Link.Since, v.Link.Pending = false, sampleNow.Add(-12*time.Minute), 41
	views["reading-new-way"] = v
	v = walkView(t, "WN11", "weekly", "TYR-120/axle-2-nearside-inner")
	v.Step.NeedsGauge, v.Step.Gauge, v.Step.Entry.Ready = true, v.Gauges[1], true
	v.Step.Entry.Fields[0].Range, v.Step.Entry.Fields[0].Resolution, v.Step.Entry.Fields[0].Text = "7.0 … 8.5", "0.1", "8.4"
	v.Step.Entry.Fields[0].Again, v.Step.Entry.Fields[0].Mean, v.Step.Entry.Fields[0].CanAgain = "8.3", "8.35", true
	v.Step.Entry.Proof = &round.Proof{Question: "Week and year stamped on the sidewall?"}
	v.Given = &round.Given{
		StepID: "TYR-110/axle-2-nearside-outer", Title: "Rear outer tyre pressure, rear axle, nearside, outer", Answer: "8.0 bar",
		Former: "7.9 bar", FormerAt: sampleNow.AddDate(0, 0, -7), Undo: true, Verdict: pb.Verdict_VERDICT_RESTRICTED, At: sampleNow,
	}
	views["reading-typed"] = v
	v = walkView(t, "WN31", "weekly", "TYR-120/axle-2-nearside-inner")
	v.Step.NeedsGauge = true
	v.Step.Entry.Fields[0].Text, v.Step.Confirm = "12", "12 psi is far from anything usual here (102 … 125 psi). Read again, or record it as it stands."
	views["reading-confirm"] = v
	v = walkView(t, "WN11", "shift", "INS-050/driver-seat")
	v.Step.Entry.Fields[0].Text, v.Step.Entry.Fields[0].Active, v.Step.Entry.Fields[1].Active = "48210", false, true
	v.Step.Entry.Needs = "Two values are still to be typed."
	views["reading-several"] = v

	v = walkView(t, "WN11", "weekly", "TYR-140/axle-2-nearside-inner")
	grooves(v, "9.4", "8.8")
	v.Step.NeedsGauge, v.Step.Gauge, v.Step.Entry.Needs = true, v.Gauges[2], "Two grooves are still to be measured here."
	views["profile"] = v

	for name, id := range map[string]string{
		"level-dipstick": "FLU-010/engine-oil", "level-tank": "FLU-030/coolant", "level-dial": "FLU-080/gearbox", "level-glass": "FLU-170/pump-gearbox", "level-cap": "FLU-050/steering",
	} {
		all := steps(t, "WN11", "shift")
		routineName := "shift"
		if !slices.ContainsFunc(all, func(s *pb.CheckStep) bool { return s.GetStepId() == id }) {
			routineName = "weekly"
		}
		v := walkView(t, "WN11", routineName, id)
		v.Step.Entry.Needs = "Choose what is seen."
		views[name] = v
	}
	v = views["level-dipstick"]
	v.Step.Entry.Mark, v.Step.Entry.Fraction, v.Step.Entry.Ready, v.Step.Entry.Needs = pb.LevelMark_LEVEL_MARK_BETWEEN, 0.5, true, ""

	v = walkView(t, "WN11", "shift", "CAB-060/door-driver")
	v.Step.Entry.Needs = "Choose what is seen."
	views["condition"] = v
	v = walkView(t, "WN11", "shift", "PAP-060/front")
	v.Step.Entry.Needs = "Choose what is seen."
	views["condition-three"] = v
	v = walkView(t, "WN11", "shift", "TYR-020/axle-1-nearside")
	v.Step.Entry.Needs = "Choose what is seen."
	v.Step.Known = []round.KnownDefect{{Defect: defectOf(tyreFinding, "TYR-020/axle-1-nearside", 2), By: person(t, "arkwith").GetTitle()}}
	views["condition-many"] = v
	v = walkView(t, "WN11", "shift", "CAB-040/seat-crew-3")
	choose(v, "01", "MINOR · may respond with a limit: five riders at most", pb.Verdict_VERDICT_RESTRICTED)
	v.Step.Entry.Ready = true
	views["condition-fault"] = v
}

// lampStep is the id of the first step of the lamp round.
func lampStep(t testing.TB) string {
	t.Helper()
	for _, s := range steps(t, "WN11", "shift") {
		if s.GetState().GetAssistant() && s.GetAlike() > mostNumbers {
			return s.GetStepId()
		}
	}
	t.Fatal("WN11 has no lamps to be counted")
	return ""
}

func stateViews(t testing.TB, views map[string]*round.View) {
	v := walkView(t, "WN11", "shift", "PRE-060/underneath")
	v.Chosen.Stopped = []round.Stopped{stoppedSample(t)}
	views["stopped"] = v

	v = walkView(t, "WN11", "shift", "GLS-010/front")
	waits := defectOf(beltFinding, "GLS-010/front", 2)
	waits.State, waits.Repeats = pb.DefectState_DEFECT_STATE_DEFERRED, 1
	waits.Deferral = &pb.Deferral{ExpiresLocal: "2026-11-27 00:00", Restrictions: []*pb.Restriction{{Text: "daylight only"}}}
	waits.Acknowledgement = &pb.Acknowledgement{Person: "people/steddow", Note: "glass is ordered"}
	waits.Earlier = []*pb.EarlierDefect{{Repair: &pb.Repair{Done: "chip filled", StationTime: ago(400 * time.Hour)}, Closed: ago(399 * time.Hour)}}
	v.Step.AskKnown = true
	v.Step.Known = []round.KnownDefect{{Defect: waits, By: person(t, "arkwith").GetTitle(), Answered: person(t, "steddow").GetTitle(), Planned: sampleNow.Add(48 * time.Hour), InRound: true}}
	views["known"] = v

	v = walkView(t, "WN11", "shift", lampStep(t))
	for _, c := range v.Step.Entry.Choices {
		if !c.Condition.GetSound() {
			choose(v, c.Condition.GetId(), "MINOR · noted, put right in its turn", pb.Verdict_VERDICT_FIT)
			break
		}
	}
	for i := range v.Step.Entry.Choices {
		if v.Step.Entry.Choices[i].Chosen {
			v.Step.Entry.Choices[i].Affected, v.Step.Entry.Choices[i].Of = 2, v.Step.GetAlike()
		}
	}
	v.Step.Entry.Ready, v.Step.Entry.Note, v.Step.Entry.Photos = true, "flickers when the door is shut", []string{strings.Repeat("ab12", 16)}
	v.Step.AssistantCommand = "Press the brake pedal and hold"
	views["assistant-counted"] = v

	v = walkView(t, "WN11", "shift", lampStep(t))
	v.Session.Assistant, v.Step.Alone = nil, true
	v.Step.AlonePrompt = "Back up to a wall and look for the light on it in the mirrors."
	v.Step.Entry.Needs = "Choose what is seen."
	views["alone-method"] = v
	v = walkView(t, "WN11", "shift", lampStep(t))
	v.Session.Assistant, v.Step.Alone, v.Step.AlonePrompt = nil, true, ""
	views["alone-none"] = v

	v = walkView(t, "WN11", "shift", "PRE-060/underneath")
	v.Step.HeldUntil = sampleNow.Add(6 * time.Second)
	v.Step.Entry.Choices[0].Chosen, v.Step.Entry.Ready = true, true
	views["held"] = v
	v = walkView(t, "WN11", "weekly", "TYR-010/axle-1-nearside")
	cold := sampleNow.Add(115 * time.Minute)
	v.Step.ColdAt = &cold
	v.Round.Marks[v.Round.Current].State = round.MarkCold
	views["waits-cold"] = v

	v = walkView(t, "WN11", "weekly", "TYR-140/axle-2-nearside-outer")
	grooves(v)
	v.Given = &round.Given{
		StepID: "TYR-120/axle-2-nearside-inner", Title: "Rear inner tyre pressure, rear axle, nearside, inner", Answer: "6.2 bar", Former: "7.9 bar",
		FormerAt: sampleNow.AddDate(0, 0, -7), Findings: []*pb.Finding{tyreFinding}, Verdict: pb.Verdict_VERDICT_MOVE_ONLY, Undo: true, CanCure: true, At: sampleNow,
	}
	views["found"] = v
	v = walkView(t, "WN12", "shift", "TYR-020/axle-1-nearside")
	v.Given = &round.Given{Title: "Service brake pedal", Answer: "sinks", Findings: []*pb.Finding{brakeFinding, pumpFinding}, Verdict: pb.Verdict_VERDICT_UNFIT, Undo: true, At: sampleNow}
	views["found-dangerous"] = v
	v = walkView(t, "WN11", "weekly", "TYR-120/axle-2-nearside-inner")
	v.Step.Cure = &round.Given{Title: "Rear inner tyre pressure", Answer: "6.2 bar"}
	v.Step.Correcting, v.Step.NeedsGauge, v.Step.Gauge = true, true, v.Gauges[1]
	views["cure"] = v
	v = walkView(t, "WN11", "shift", "FLU-010/engine-oil")
	v.Step.Correcting, v.Step.CanCure, v.Step.Entry.Needs = true, true, "set the level"
	views["cure-later"] = v

	v = walkView(t, "WN11", "shift", "CAB-060/door-driver")
	v.Link = round.Link{Since: sampleNow.Add(-20 * time.Minute), Pending: 37, Photos: 2, Skew: -3 * time.Minute, Refused: []round.Refused{
		{ID: "c1", What: "Coolant level", Message: "The round was given up at the station at 07:31; begin a new one.", At: sampleNow.Add(-5 * time.Minute)},
	}}
	v.Notice = &round.Notice{Reason: "NOTHING_SEEN", Message: "Nothing was chosen. Choose what is seen, then record.", At: sampleNow}
	views["not-live"] = v
	v = walkView(t, "WN11", "shift", "CAB-060/door-driver")
	v.Link.Refused = []round.Refused{
		{ID: "c1", What: "Coolant level", Message: "The round was given up at the station at 07:31; begin a new one.", At: sampleNow.Add(-5 * time.Minute)},
		{ID: "c2", What: "Fuel level", Message: "The round was given up at the station at 07:31; begin a new one.", At: sampleNow.Add(-4 * time.Minute)},
	}
	views["refused"] = v
	v = walkView(t, "WN11", "shift", "CAB-060/door-driver")
	v.Link.Recovery = "The record of this tablet does not end where it should: 3 entries are missing. Have the officer in charge run kiosk fsck."
	views["recovery"] = v
}

func closingViews(t testing.TB, views map[string]*round.View) {
	closing := func(phase round.Phase, left int) *round.View {
		v := walkView(t, "WN11", "shift", "CLN-010/driver-seat")
		v.Phase, v.Step, v.Round.Current = phase, nil, -1
		c := &round.Closing{Readiness: sampleReadiness("WN11"), Found: []*pb.Defect{defectOf(beltFinding, "CAB-040/seat-crew-3", 3), defectOf(pumpFinding, "PMP-040/pump-panel", 1)}}
		for i := len(v.Round.Marks) - 1; i >= 0 && len(c.Left) < left; i -= 9 {
			m := &v.Round.Marks[i]
			m.State = round.MarkOpen
			if i%2 == 0 {
				m.State = round.MarkCold
			}
			c.Left = append(c.Left, *m)
		}
		v.Round.Marks[5].Photos, v.Round.Marks[5].At = []string{strings.Repeat("cd34", 16), strings.Repeat("ef56", 16)}, sampleNow.Add(-time.Hour)
		slices.Reverse(c.Left)
		for i, reason := range []pb.NotCheckedReason{pb.NotCheckedReason_NOT_CHECKED_REASON_ENGINE_WARM, pb.NotCheckedReason_NOT_CHECKED_REASON_OTHER} {
			m := v.Round.Marks[30+i]
			c.NotChecked = append(c.NotChecked, round.NotCheckedLine{StepID: m.StepID, Title: m.Title, Reason: reason, Note: []string{"", "shutter frozen"}[i], Meaning: "The vehicle stays not proven here."})
		}
		v.Closing = c
		return v
	}
	views["overview"] = closing(round.PhaseOverview, 7)
	v := closing(round.PhaseOverview, 0)
	v.Closing.NotChecked, v.Closing.Found = nil, nil
	v.Closing.Undone = []round.SafeItem{{StepID: "CAB-120/front", Title: "Cab tilt locked", Place: "front", UndoS: 120}}
	views["overview-done"] = v
	v = closing(round.PhaseOverview, 7)
	v.Session.Assistant, v.Closing.Minutes, v.Closing.NotAlone = nil, 15, v.Closing.Left[:1]
	for i := range v.Closing.Left {
		v.Closing.Left[i].NoTime = true
	}
	views["overview-short"] = v
	v = closing(round.PhaseSign, 3)
	v.Link.Live, v.Link.Since, v.Link.Pending = false, sampleNow.Add(-12*time.Minute), 41
	v.Closing.ProvisionalWhy = "worked out on this tablet; the station has not heard of 41 results."
	views["sign"] = v
	v = closing(round.PhaseSign, 0)
	v.Closing.NotChecked, v.Closing.Found, v.Closing.Readiness = nil, nil, &pb.Readiness{Verdict: pb.Verdict_VERDICT_FIT, Since: ago(time.Minute)}
	views["sign-sound"] = v
	v = closing(round.PhaseHandover, 2)
	v.Closing.Handover = "WN11, shift check, Tamsel Arkwith with Isra Venholt, 25 Nov 07:10 to 07:42.\n\nFit with limits: five riders at most, none on crew seat 3.\nFound: belt of crew seat 3 does not latch (third time).\nNot checked: coolant level (engine warm).\n\nWatch the slide-out tray: it sticks in the frost."
	v.Closing.GivenBy = v.Session.Driver
	views["handover"] = v
	v = closing(round.PhaseSecond, 2)
	v.Closing.Seen, v.Closing.WantsOfficer = strings.Repeat("ab", 32), true
	v.Closing.Ended = &pb.Round{
		Name: "rounds/0d6f1f0e-8f0c-4c38-9c8c-0c7d0b2f8a11", Driver: "people/arkwith", State: pb.RoundState_ROUND_STATE_FINISHED, OfficerSigns: true,
		Steps: int32(len(v.Round.Marks)), Answered: int32(len(v.Round.Marks) - 2), NotChecked: 3, ClosingNote: "Watch the slide-out tray: it sticks in the frost.",
	}
	views["second"] = v
	v = closing(round.PhaseAsleep, 2)
	v.Closing = nil
	views["asleep"] = v
	v = views["handover"]
	given := *v
	closed := *v.Closing
	closed.GivenAt = sampleNow
	closed.Since = []string{"done: weekly check overdue since Sun 22 Nov 2026 08:00", "found: Coolant below the mark"}
	given.Closing = &closed
	views["handover-given"] = &given
	wanted := *v
	unsigned := *v.Closing
	unsigned.WantsOfficer = true
	wanted.Closing = &unsigned
	views["handover-unsigned"] = &wanted
}

// stoppedSample is a stop by somebody who has gone home.
func stoppedSample(t testing.TB) round.Stopped {
	stop := &pb.VehicleStop{Person: "people/arkwith", Reason: "the steering has play, pulls or binds", StationTime: ago(2 * time.Hour)}
	return round.Stopped{
		By: person(t, "arkwith").GetTitle(), Missing: "the workshop has not recorded what it did; a vehicle is released after its repair",
		Defect: &pb.Defect{Name: "vehicles/wn11/defects/stop-1", State: pb.DefectState_DEFECT_STATE_OPEN, Stop: stop, FirstFound: stop.GetStationTime()},
	}
}
