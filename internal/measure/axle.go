package measure

// AxleLoad is what the tyres of an axle carry against what the axle weighs; the
// numbers that a refusal must name.
type AxleLoad struct {
	EachKg     float64 // what one tyre carries at its load index
	TogetherKg float64 // what all tyres of the axle carry
	SpareKg    float64 // what they carry beyond the axle's mass; below 0 they are overloaded
}

// Enough says that the tyres carry the axle, to the kilogram.
func (a AxleLoad) Enough() bool { return a.SpareKg >= 0 }

// TyresCarry returns what the tyres of one axle carry: so many tyres of a load
// index, the one for single wheels or, with twins, the lower one for twins that
// stands second on the tyre. False when the index is unknown, there is no tyre,
// or the mass is negative or no number. It holds at the speed and the pressure
// that the makers' tables give, and for tyres that are sound.
func TyresCarry(loadIndex, tyres int, axleMassKg float64) (AxleLoad, bool) {
	each, known := LoadIndexKg(loadIndex)
	if !known || tyres < 1 || !(axleMassKg >= 0) || !isFinite(axleMassKg) {
		return AxleLoad{}, false
	}
	together := each * float64(tyres)
	return AxleLoad{EachKg: each, TogetherKg: together, SpareKg: together - axleMassKg}, true
}
