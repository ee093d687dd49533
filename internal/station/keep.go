package station

import (
	"bayround/internal/plan"
)

// keepOrders has each vehicle that changes keep the orders its drivers know, where others would be
// hardly better: of the routines it must have done, before and after.
func (a *application) keepOrders(d *draft) {
	for _, ev := range a.events {
		v := ev.GetVehicleApplied()
		former := a.base.models[v.GetName()]
		if v == nil || former == nil || former.catalogue == nil {
			continue
		}
		v.KeptOrders = nil
		for _, name := range v.GetRequiredRoutines() {
			then, now := former.routines[name], d.set.Routines[name]
			if then == nil || now == nil {
				continue
			}
			in := plan.Input{Vehicle: v, Catalogue: d.set.Catalogue, Routine: now, Station: d.set.Stations[v.GetStation()]}
			if kept := plan.Kept(former.input(then), in); kept != nil {
				v.KeptOrders = append(v.KeptOrders, kept)
			}
		}
	}
}
