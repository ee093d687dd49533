package round

import (
	"context"
	"strconv"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// take takes an instant: a tap, a start or a stop. When it was is said by the page
// that was touched; one without a script says nothing, and then it is now.
func (d *Desk) take(ctx context.Context, a Act) error {
	step, err := d.lit()
	if err != nil {
		return err
	}
	at := instant{At: d.wall()}
	if page := a.Values["page"]; page != "" {
		if at.Ms, err = strconv.ParseFloat(a.Values["ms"], 64); err != nil || !(at.Ms >= 0 && at.Ms < longestPageMs) {
			return fault.New(fault.Invalid, "INSTANT_WRONG", "the page did not say when it was touched; touch it again")
		}
		at.Page = page
	}
	next, err := d.session.Draft.withTaken(step, a.Values["do"], at)
	if err != nil {
		return err
	}
	if err := d.enterInto(ctx, step); err != nil {
		return err
	}
	d.amend(next)
	return nil
}

// longestPageMs is longer than any page stands: ten years, in milliseconds.
const longestPageMs = 315360000e3

// enterWatched takes the pressure that was typed into what is watched, or records
// where none is.
func (d *Desk) enterWatched(ctx context.Context, a Act, step *pb.CheckStep) error {
	if d.session.Draft.typed(step, 1) == 0 {
		return d.record(ctx, a)
	}
	next, err := d.session.Draft.withRead(step, d.wall())
	if err != nil {
		return err
	}
	if err := d.enterInto(ctx, step); err != nil {
		return err
	}
	d.amend(next)
	return nil
}

// takingView is what is being tapped, timed or watched; nil where nothing is.
func (d *Desk) takingView(step *pb.CheckStep) *Taking {
	draft := d.session.Draft
	v := &Taking{How: draft.taking(step), Count: len(draft.Taken), Least: leastTaps, Cut: draft.Cut}
	if v.How == notTaken {
		return nil
	}
	if times := secondsOf(draft.Taken); v.How == watched {
		for i, at := range draft.Taken {
			v.Readings = append(v.Readings, readWords(measured(at.Read, pressureUnit(step)), times[i]))
		}
	}
	if v.How != tapped && draft.running(step) {
		v.Since = d.now().Add(-d.wall().Sub(draft.Taken[0].At))
	}
	if draft.lackingTaken(step) == "" || v.How == tapped && v.Count >= leastTaps {
		m, err := draft.makeOf(step)
		if err != nil {
			v.Why = err.Error()
			return v
		}
		v.Made, v.Text = m.words, m.text
	}
	return v
}
