package round

import (
	"context"
	"maps"
	"strings"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// Figures of the vehicle that are asked for before the first step.
const (
	figureDriven   = "driven"
	figureOdometer = "odometer"
	figureHours    = "hours"
)

// figure is one of them, with the greatest number that the contract takes.
type figure struct {
	id, title, unit string
	most            float64
}

func figures() []figure {
	return []figure{
		{figureDriven, "Driven since it was cold", "km", 5000},
		{figureOdometer, "Odometer", "km", 5e6},
		{figureHours, "Engine hours", "h", 2e5},
	}
}

// sayFigure takes one of the vehicle's figures; nothing says that it was not read.
func (d *Desk) sayFigure(_ context.Context, a Act) error {
	text := strings.TrimSpace(a.Values["text"])
	for _, f := range figures() {
		if f.id != a.Values["figure"] {
			continue
		}
		if x, whole := number(text); text != "" && (!whole || x < 0 || x > f.most) {
			return fault.New(fault.Invalid, "FIGURE_WRONG", "%s is a number from 0 to %.0f %s; leave it empty when nobody has read it", strings.ToLower(f.title), f.most, f.unit)
		}
		said := maps.Clone(d.session.Figures)
		if said == nil {
			said = map[string]string{}
		}
		said[f.id] = text
		d.session.Figures, d.stale = said, true
		return nil
	}
	return fault.New(fault.Invalid, "FIGURE_UNKNOWN", "there is no figure %q", a.Values["figure"])
}

// figuresInto tells the station the figures that were read.
func figuresInto(c *pb.RoundConditions, said map[string]string) {
	for id, into := range map[string]**float64{figureDriven: &c.DrivenKm, figureOdometer: &c.OdometerKm, figureHours: &c.EngineHours} {
		if x, whole := number(said[id]); whole {
			*into = &x
		}
	}
}

func figureViews(said map[string]string) []Figure {
	var all []Figure
	for _, f := range figures() {
		all = append(all, Figure{ID: f.id, Title: f.title, Unit: f.unit, Text: said[f.id]})
	}
	return all
}
