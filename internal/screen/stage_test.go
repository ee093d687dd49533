package screen

import (
	"strings"
	"testing"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// drawn is the whole page of a bay in one string.
func drawn(t *testing.T, b *round.Bay, names bool) (string, beat) {
	t.Helper()
	regions, signs, err := drawBay(b, names, morning)
	if err != nil {
		t.Fatal(err)
	}
	var all strings.Builder
	for _, r := range regions {
		all.WriteString(r.HTML)
	}
	return all.String(), signs
}

func TestStage_SaysEachVerdictInItsWords(t *testing.T) {
	html, _ := drawn(t, wholeBay(t), false)
	for _, want := range []string{
		"DO NOT MOVE", "two nuts loose", "MOVE ONLY", "NOT TO RESPOND", "no crane", "NOT PROVEN", "12 items open",
		"FIT WITH LIMITS", "Not on night runs in rain", "FIT TO RESPOND", "since 06:58", "since Mon 19:51", "since 8 Jan", "next 19:30", "next Thu 18:00",
		"25 days, found 7 times, not yet put right", "repaired, to be checked again",
	} {
		if !strings.Contains(html, want) {
			t.Errorf("the board does not say %q", want)
		}
	}
	if strings.Contains(html, "no winch") {
		t.Error("a capability that is there is said to be lost")
	}
}

// A verdict that this program does not know, as a newer station could send, is
// never taken for a good one.
func TestStage_WhatNobodyKnowsIsNotProven(t *testing.T) {
	for _, v := range []pb.Verdict{pb.Verdict_VERDICT_UNSPECIFIED, 17} {
		b := wholeBay(t)
		b.Vehicles = []*pb.Readiness{{Vehicle: "vehicles/wn11", CallSign: "WN11", Verdict: v}}
		if html, _ := drawn(t, b, false); !strings.Contains(html, "NOT PROVEN") || strings.Contains(html, "FIT") {
			t.Errorf("verdict %d is shown as: %s", v, html)
		}
	}
}

func TestStage_WhatIsNotLiveShowsNoVerdict(t *testing.T) {
	hour := morning.Add(-time.Hour)
	for _, tc := range []struct {
		why         string
		live        bool
		since       time.Time
		heard       time.Time
		want        bool
		said, clock string
	}{
		{"live", true, hour, morning.Add(-4 * time.Second), true, "", "07:42"},
		{"the link is down", false, hour, hour, false, "06:42", "06:42"},
		{"the link says it is up, but nothing came for 11 s", true, hour, morning.Add(-11 * time.Second), false, "07:41", "07:41"},
		{"exactly at the bound", true, hour, morning.Add(-staleAfter), true, "", "07:42"},
		{"down since before midnight", false, morning.Add(-10 * time.Hour), morning.Add(-10 * time.Hour), false, "Mon 21:42", "21:42"},
		{"live without saying when", true, hour, time.Time{}, true, "", "07:42"},
		{"never heard", false, time.Time{}, time.Time{}, false, "", ""},
	} {
		t.Run(tc.why, func(t *testing.T) {
			b := wholeBay(t)
			b.Live, b.Since, b.Heard = tc.live, tc.since, tc.heard
			html, signs := drawn(t, b, true)
			if signs.Live != tc.want || signs.Since != tc.said || signs.Clock != tc.clock {
				t.Errorf("the beat says %+v", signs)
			}
			for _, word := range []string{"DO NOT MOVE", "MOVE ONLY", "NOT PROVEN", "FIT WITH LIMITS", "FIT TO RESPOND", "<svg class=\"mark"} {
				if !tc.want && strings.Contains(html, word) {
					t.Errorf("a board that is not live shows %q", word)
				}
			}
			if tc.said != "" && strings.Count(html, `SINCE <span class="since">`+tc.said) != len(b.Vehicles)+2 {
				t.Errorf("not every tile says since %s", tc.said)
			}
		})
	}
}

// The command of an assistant's step is the tablet's own: it stands while the
// station cannot be heard, and shows no verdict as current.
func TestStage_ACommandStandsWithoutTheStation(t *testing.T) {
	b := walked(t, func(w *round.BayWalk) {
		w.Command, w.GoOn = "Press the brake pedal. Hold.", "The driver says go on."
	})
	b.Live = false
	html, _ := drawn(t, b, false)
	if !strings.Contains(html, `data-say="Press the brake pedal. Hold."`) || !strings.Contains(html, "The driver says go on.") {
		t.Errorf("the command is missing: %s", html)
	}
	if strings.Contains(html, "FIT TO RESPOND") {
		t.Error("a verdict is shown")
	}
}

// Two steps with the same command are two commands, one step drawn twice is one.
func TestStage_CommandsAreToldApart(t *testing.T) {
	command := func(step string) string {
		b := walked(t, func(w *round.BayWalk) { w.Step, w.Command = step, "Press the pedal." })
		return stage(b, false, morning).Far.CommandN
	}
	lamps, again, travel := command("Brake lamps"), command("Brake lamps"), command("Brake travel")
	if lamps == travel || lamps != again {
		t.Error("commands are not told apart by their step")
	}
}

func TestStage_NamesStayOnTheTabletsOwnListener(t *testing.T) {
	b := walked(t, func(w *round.BayWalk) { w.Found = "Indicator, left rear: dark" })
	b.Vehicles[0].OpenDefects[0].Note = "told Oleta about it"
	b.Vehicles[0].OpenDefects[0].FoundBy = "people/tamsel-arkwith"
	inside, _ := drawn(t, b, true)
	public, _ := drawn(t, b, false)
	if !strings.Contains(inside, "Tamsel Arkwith with Oleta Fennigar") {
		t.Error("inside, nobody is named")
	}
	for _, name := range []string{"Tamsel", "tamsel", "Arkwith", "Oleta", "Fennigar"} {
		if strings.Contains(public, name) {
			t.Errorf("the public board says %s", name)
		}
	}
	if !strings.Contains(public, "with an assistant") || !strings.Contains(public, "37 of 93 done") {
		t.Error("the public board does not say how the round stands")
	}
	k := serve(t, newDesk(b), quickLimits())
	if p := k.dial(t, k.public, "/ws/bay"); strings.Contains(p.next(t).Regions[0].HTML, "Arkwith") {
		t.Error("a name goes out over the public socket")
	}
	if page := text(t, get(t, k.public.URL+"/bay", nil)); strings.Contains(page, "Arkwith") {
		t.Error("a name stands in the public page")
	}
}

func TestStage_WhatPeopleTypedBecomesNoMarkup(t *testing.T) {
	b := walked(t, func(w *round.BayWalk) {
		w.Found, w.Command = `<img src=x onerror=alert(1)>`, ""
		w.Step = `</p><script>alert(1)</script>`
	})
	b.Events[0].Text = `<b onclick="x">`
	html, _ := drawn(t, b, true)
	for _, bad := range []string{"<img", "<script", "<b onclick"} {
		if strings.Contains(html, bad) {
			t.Errorf("the board holds %s", bad)
		}
	}
}

func TestStage_TurnoutAndDebt(t *testing.T) {
	html, _ := drawn(t, walked(t, func(w *round.BayWalk) { w.Turnout, w.DebtS = true, 180 }), false)
	for _, want := range []string{"TURNOUT", "MAKE SAFE: 180 s", "180 s TO MAKE SAFE"} {
		if !strings.Contains(html, want) {
			t.Errorf("the board does not say %q", want)
		}
	}
	b := wholeBay(t)
	b.Vehicles[4].ReadinessDebtS = 45 // a round on another tablet
	if html, _ := drawn(t, b, false); !strings.Contains(html, "45 s TO MAKE SAFE") {
		t.Error("the debt of a round elsewhere is not shown")
	}
}

func TestStage_ARoundElsewhereShowsItsProgress(t *testing.T) {
	b := wholeBay(t)
	b.Vehicles[3].Rounds = []*pb.Round{{State: pb.RoundState_ROUND_STATE_OPEN, Answered: 12, Steps: 48}}
	html, _ := drawn(t, b, false)
	if !strings.Contains(html, `aria-label="12 of 48 done"`) || !strings.Contains(html, `class="gone" width="25"`) {
		t.Error("its progress is not drawn")
	}
}

// The board begins with the vehicle that is walked round, else with the worst, and
// says so when it knows of none.
func TestStage_TheFarLayerIsOfTheVehicleConcernedNow(t *testing.T) {
	b := wholeBay(t)
	if far := stage(b, false, morning).Far; far.CallSign != "WN31" {
		t.Errorf("with nothing going on the far layer is of %s", far.CallSign)
	}
	if far := stage(walked(t, func(*round.BayWalk) {}), false, morning).Far; far.CallSign != "WN11" || far.Detail != "Cold pressure, rear axle, right side, inner tyre" {
		t.Errorf("during a round the far layer is %+v", far)
	}
	b.Vehicles = nil
	if far := stage(b, false, morning).Far; far.Mode != farEmpty {
		t.Errorf("with no vehicle the far layer is %+v", far)
	}
}

// No vehicle is left out in silence: those without room are counted, and how bad the
// worst of them is.
func TestStage_VehiclesWithoutRoomAreCounted(t *testing.T) {
	b := wholeBay(t)
	fit := b.Vehicles[4]
	for len(b.Vehicles) < mostRows {
		b.Vehicles = append(b.Vehicles, fit)
	}
	if s := stage(b, false, morning); len(s.Lines) != mostRows || s.More != "" {
		t.Errorf("%d vehicles: %d lines and %q", len(b.Vehicles), len(s.Lines), s.More)
	}
	b.Vehicles = append(b.Vehicles, fit, fit)
	s := stage(b, false, morning)
	if len(s.Lines) != mostRows-1 || s.More != "and 3 more, none worse than FIT TO RESPOND" || s.Rows != mostRows {
		t.Errorf("%d vehicles: %d lines and %q", len(b.Vehicles), len(s.Lines), s.More)
	}
}

// An alarm about the station stands above the verdicts in words, and hides none.
func TestStage_AnAlarmHidesNoVerdict(t *testing.T) {
	without, _ := drawn(t, wholeBay(t), false)
	bay := wholeBay(t)
	bay.Alarm = "The station’s record is not the one this tablet saw before."
	with, _ := drawn(t, bay, false)
	band, rest, found := strings.Cut(with, "</p>")
	if !found || !strings.Contains(band, "<b>ALARM</b> The station’s record is in doubt") {
		t.Errorf("no alarm at the beginning of %.300q", with)
	}
	if strings.TrimSpace(rest) != strings.TrimSpace(without) {
		t.Errorf("beside the alarm the display shows something else:\n%s\nwithout:\n%s", rest, without)
	}
	if strings.Contains(without, "ALARM") {
		t.Error("an alarm without a cause")
	}
}

// A stop is seen at once, live or not, and nothing that somebody typed is told to all
// who pass.
func TestStage_AStopIsSeenByAllAndItsWordsByNobody(t *testing.T) {
	typed := "it pulls to the left"
	stop := &pb.Defect{
		Name: "vehicles/wn11/defects/stop-1", State: pb.DefectState_DEFECT_STATE_OPEN, Stop: &pb.VehicleStop{Reason: typed},
		Findings: []*pb.Finding{{Effect: pb.Effect_EFFECT_MOVING, Text: "Stopped: " + typed}},
	}
	bay := wholeBay(t)
	bay.Vehicles[0].Verdict, bay.Vehicles[0].CallSign = pb.Verdict_VERDICT_UNFIT, "WN11"
	bay.Vehicles[0].OpenDefects = []*pb.Defect{stop}
	bay.Vehicles[0].Reasons = []*pb.Reason{{Verdict: pb.Verdict_VERDICT_UNFIT, Text: "Stopped: " + typed, Cause: &pb.Reason_Defect{Defect: stop.GetName()}}}
	bay.Stopped = "WN31"
	for _, live := range []bool{true, false} {
		bay.Live = live
		s := stage(bay, true, morning)
		want := "WN11, WN31"
		if !live {
			want = "WN31" // what the station said is not shown as if it were so
		}
		regions, err := s.regions()
		if err != nil {
			t.Fatal(err)
		}
		if s.Stopped != want || !strings.Contains(regions[0].HTML, want) {
			t.Errorf("live %t: %q is shown as stopped, want %q", live, s.Stopped, want)
		}
		for _, r := range regions {
			if strings.Contains(r.HTML, typed) {
				t.Errorf("live %t: %s tells what somebody typed", live, r.ID)
			}
		}
	}
}
