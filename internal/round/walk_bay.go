package round

import (
	"fmt"
	"strings"
)

// bayWalk is what the bay display shows of a view: the step, what the assistant is
// told, and what was just found; nil when no round is under way. Nothing in it was
// typed by anybody.
func bayWalk(v *View) *BayWalk {
	if v.Round == nil || v.Chosen == nil || v.Phase == PhaseHandover || v.Phase == PhaseSecond || v.Phase == PhaseBefore {
		return nil
	}
	w := &BayWalk{
		Vehicle: v.Chosen.Configuration.GetName(), CallSign: v.Chosen.Configuration.GetCallSign(),
		Answered: v.Round.Answered, Steps: len(v.Round.Marks), DebtS: v.Round.DebtS, Turnout: v.Phase == PhaseTurnout,
	}
	if v.Session != nil {
		w.Driver, w.Assistant = v.Session.Driver.GetTitle(), v.Session.Assistant.GetTitle()
	}
	if v.Step != nil {
		w.Step, w.Place = v.Step.GetTitle(), v.Step.GetPlace().GetTitle()
		if v.Step.GetState().GetAssistant() && w.Assistant != "" {
			w.Command, w.GoOn = v.Step.GetAssistantCommand(), "the driver says go on"
		}
	}
	if v.Given != nil {
		if f := worst(v.Given.Findings); f != nil {
			w.Found = fmt.Sprintf("%s: %s", v.Given.Title, f.GetText())
		}
	}
	return w
}

// tellBay tells the bay display what has changed for it.
func (d *Desk) tellBay(v *View) {
	d.tellStops(v)
	up, ok := d.uplink.(walkTeller)
	if !ok {
		return
	}
	w := bayWalk(v)
	if same := w == nil && d.told == nil || w != nil && d.told != nil && *w == *d.told; same {
		return
	}
	d.told = w
	up.SetWalk(w)
}

// tellStops tells the bay display which vehicles people have stopped, as this tablet
// knows it: also while the station is not heard.
func (d *Desk) tellStops(v *View) {
	up, ok := d.uplink.(stopTeller)
	if !ok {
		return
	}
	var callSigns []string
	for _, one := range v.Vehicles {
		if len(one.Stopped) > 0 {
			callSigns = append(callSigns, one.Configuration.GetCallSign())
		}
	}
	if said := strings.Join(callSigns, ", "); said != d.stops {
		d.stops = said
		up.SetStopped(said)
	}
}
