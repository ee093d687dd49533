package measure

import "slices"

// LossAgainstPeers returns, for each wheel of one vehicle, by how much its
// pressure changed beyond the median change of the others: below 0 it lost more
// than they did. Changes are those between the same two days, in one unit.
//
// A cold night, another altitude and a gauge that is off by the same amount act
// on all wheels alike and drop out, so no thermometer is needed; the median lets
// one leak, or one wheel that was topped up, leave the others' figures alone
// where there are four wheels or more. Nil when there are no peers to compare
// with, or a change is not a finite number.
func LossAgainstPeers(changes []float64) []float64 {
	if len(changes) < 2 {
		return nil
	}
	losses := make([]float64, len(changes))
	for i, change := range changes {
		others := slices.Delete(slices.Clone(changes), i, i+1)
		losses[i] = change - median(others)
		if !isFinite(change) || !isFinite(losses[i]) {
			return nil
		}
	}
	return losses
}

// median returns the middle of at least one value, or half-way between the two
// in the middle. It sorts what it is given.
func median(values []float64) float64 {
	slices.Sort(values)
	half := len(values) / 2
	if len(values)%2 == 1 {
		return values[half]
	}
	return values[half-1]/2 + values[half]/2
}
