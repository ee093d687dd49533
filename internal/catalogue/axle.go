package catalogue

import (
	"fmt"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// checkAxles checks the order of the axles, what their tyres carry, and that
// together they carry the vehicle.
func (in *inspector) checkAxles(v *pb.VehicleConfiguration) {
	carried := 0.0
	for i, axle := range v.GetAxles() {
		path, who := fmt.Sprintf("axles[%d]", i), fmt.Sprintf("axle %d of %s", i+1, v.GetCallSign())
		switch {
		case i == 0 && axle.GetXM() != 0:
			in.wrong(path+".x_m", fmt.Sprintf("%s lies at %v m", who, axle.GetXM()), "the first axle lies at 0: everything is measured from it")
		case i > 0 && axle.GetXM() >= v.GetAxles()[i-1].GetXM():
			in.wrong(path+".x_m", fmt.Sprintf("%s lies at %v m, not behind axle %d at %v m", who, axle.GetXM(), i, v.GetAxles()[i-1].GetXM()), "list the axles from front to rear; behind is negative")
		}
		carried += axle.GetPermittedMassKg()
		in.checkTyre(path, who, axle)
	}
	if carried < v.GetGrossMassKg() {
		in.wrong("gross_mass_kg", fmt.Sprintf("%s may weigh %v kg but its axles may carry only %v kg together", v.GetCallSign(), v.GetGrossMassKg(), carried), "read both off the vehicle's plate")
	}
}

// checkTyre checks that an axle's tyres can carry it at a speed that is known.
func (in *inspector) checkTyre(path, who string, axle *pb.Axle) {
	tyre := axle.GetTyre()
	if _, known := measure.SpeedSymbolKmh(tyre.GetSpeedSymbol()); !known && tyre.GetSpeedSymbol() != "" {
		in.wrong(path+".tyre.speed_symbol", fmt.Sprintf("the tyres on %s have the speed symbol %s, which stands for no speed", who, shown(tyre.GetSpeedSymbol())), "read it off the tyre, after the load index")
	}
	load, wheels, field := tyre.GetLoadIndexSingle(), 2, "load_index_single"
	if axle.GetWheelsPerSide() == 2 {
		load, wheels, field = tyre.GetLoadIndexTwin(), 4, "load_index_twin"
		if load == 0 {
			in.wrong(path+".tyre", fmt.Sprintf("%s has twin wheels but its tyre has no load index for twins", who), "add load_index_twin, the second number on the tyre")
			return
		}
	}
	carried, known := measure.TyresCarry(int(load), wheels, axle.GetPermittedMassKg())
	if !known {
		return // the rules of the proto bound it
	}
	if !carried.Enough() {
		in.wrong(path+".tyre."+field, fmt.Sprintf("%s may carry %v kg, but its %d tyres of load index %d carry %v kg each, %v kg together",
			who, axle.GetPermittedMassKg(), wheels, load, carried.EachKg, carried.TogetherKg), "read load index and axle mass again; tyres must carry what the axle may")
	}
}
