// Package trend says what the history of one measurement tells: whether it falls or
// rises, how fast, since when, when it will reach a limit, and whether the readings
// behave as readings do.
//
// A station reads each wheel once a week and each level once a day. That is little
// data with much noise: gauges are read to 0.1 bar, somebody mistypes, somebody tops
// up, the bay cools in autumn. So the package prefers methods that one wrong reading
// cannot bend (medians of slopes, ranks), adds back what was topped up before it looks
// for a loss, begins anew where something was repaired, and says so when there is too
// little to say anything: too little data is a result here, not an error.
//
// [Summarise] and [PeerLoss] are what the rules ask. Below them stand the methods, each
// usable alone; those that others have published are held to their examples in
// testdata/reference/stats:
//
//	TheilSen, MannKendall        slope with interval, is there a trend at all
//	Predict                      when a limit is reached, as an interval
//	FitLine, Regress             least squares, one factor and several
//	EWMA, CUSUM, FitIndividuals  control charts; Scores makes readings fit for them
//	Hampel, Grubbs               a reading that cannot belong to the rest
//	Pettitt, Break               one change of level
//	UseOf                        litres per 1000 km and per 100 h
//	Repeats, Heaping             readings that repeat more than a gauge would
//
// DESIGN.md beside this file says why each was chosen and how often the charts give a
// false alarm at the settings named here.
//
// # What it promises
//
// The same points give the same numbers on every machine of one kind: no clock, no
// random number, no map is walked. Whatever comes in, every number that goes out is
// finite: points that are no measurement (not finite, beyond [Largest]) are left out.
// Points may come in any order. Pairwise methods cost n² and look at [MostPoints]
// points at most; longer histories are thinned to medians of neighbouring points.
//
// # What it does not know
//
// Nothing here judges. A slope is not a defect, a repeated reading is not an
// accusation; what follows from the numbers stands in the rule packs, and the maker's
// handbook and a qualified inspector come before both.
package trend
