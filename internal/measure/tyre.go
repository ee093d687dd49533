package measure

// LoadIndexKg returns the mass in kilograms that a tyre marked with the load
// index may carry, by the list of UN Regulation No. 54, Annex 4; false for an
// index outside 0…200.
func LoadIndexKg(index int) (float64, bool) {
	if index < 0 || index >= len(loadKg) {
		return 0, false
	}
	return loadKg[index], true
}

// SpeedSymbolKmh returns the speed in km/h that a tyre marked with the speed
// symbol is made for, by the list of UN Regulations No. 30 and 54; false for a
// symbol that is unknown or names no upper bound (ZR and a symbol in brackets).
func SpeedSymbolKmh(symbol string) (float64, bool) {
	kmh, ok := speedKmh[symbol]
	return kmh, ok
}

// speedKmh is never changed. H stands out of the alphabet's order by history.
var speedKmh = map[string]float64{
	"A1": 5, "A2": 10, "A3": 15, "A4": 20, "A5": 25, "A6": 30, "A7": 35, "A8": 40,
	"B": 50, "C": 60, "D": 65, "E": 70, "F": 80, "G": 90, "J": 100, "K": 110, "L": 120, "M": 130, "N": 140,
	"P": 150, "Q": 160, "R": 170, "S": 180, "T": 190, "U": 200, "H": 210, "V": 240, "W": 270, "Y": 300,
}

// loadKg is the load list by index, ten a line; never changed.
var loadKg = [...]float64{
	45, 46.2, 47.5, 48.7, 50, 51.5, 53, 54.5, 56, 58,
	60, 61.5, 63, 65, 67, 69, 71, 73, 75, 77.5,
	80, 82.5, 85, 87.5, 90, 92.5, 95, 97.5, 100, 103,
	106, 109, 112, 115, 118, 121, 125, 128, 132, 136,
	140, 145, 150, 155, 160, 165, 170, 175, 180, 185,
	190, 195, 200, 206, 212, 218, 224, 230, 236, 243,
	250, 257, 265, 272, 280, 290, 300, 307, 315, 325,
	335, 345, 355, 365, 375, 387, 400, 412, 425, 437,
	450, 462, 475, 487, 500, 515, 530, 545, 560, 580,
	600, 615, 630, 650, 670, 690, 710, 730, 750, 775,
	800, 825, 850, 875, 900, 925, 950, 975, 1000, 1030,
	1060, 1090, 1120, 1150, 1180, 1215, 1250, 1285, 1320, 1360,
	1400, 1450, 1500, 1550, 1600, 1650, 1700, 1750, 1800, 1850,
	1900, 1950, 2000, 2060, 2120, 2180, 2240, 2300, 2360, 2430,
	2500, 2575, 2650, 2725, 2800, 2900, 3000, 3075, 3150, 3250,
	3350, 3450, 3550, 3650, 3750, 3875, 4000, 4125, 4250, 4375,
	4500, 4625, 4750, 4875, 5000, 5150, 5300, 5450, 5600, 5800,
	6000, 6150, 6300, 6500, 6700, 6900, 7100, 7300, 7500, 7750,
	8000, 8250, 8500, 8750, 9000, 9250, 9500, 9750, 10000, 10300,
	10600, 10900, 11200, 11500, 11800, 12150, 12500, 12850, 13200, 13600,
	14000,
}
