package rules

import (
	"errors"
	"strings"

	"cel.dev/cel-go/cel"

	pb "bayround/proto/bayround/v1"
)

// givens is a set of what an observation can hold or lack.
type givens uint16

// What an observation can hold.
const (
	givenValue givens = 1 << iota
	givenTarget
	givenTread
	givenLevel
	givenConditions
	givenShare // of the target: wants a value and a target that is not 0
	givenWorth // of the value
	givenTreadWorth
	givenLitres
	givenTrend
	givenSlope
	givenPeers
	givenLoss
	givenFinite // no number in it is NaN or infinite; nothing excuses that
	givenAll    = 1<<iota - 1
)

// readBy says what reading a field of an observation needs; never changed.
var readBy = map[string]givens{
	"value":                givenValue | givenFinite,
	"values":               givenValue | givenFinite,
	"as_read":              givenValue | givenFinite,
	"target":               givenTarget | givenFinite,
	"share_of_target":      givenShare | givenFinite,
	"tread_band_mm":        givenTread | givenFinite,
	"tread_central_mm":     givenTread | givenFinite,
	"tread_least_mm":       givenTread | givenFinite,
	"tread_uncertainty_mm": givenTreadWorth | givenFinite,
	"standard_uncertainty": givenWorth | givenFinite,
	"uncertainties":        givenWorth | givenFinite,
	"may_read_high_by":     givenFinite,
	"level":                givenLevel | givenFinite,
	"level_below":          givenLevel,
	"level_above":          givenLevel,
	"litres_to_add":        givenLitres | givenFinite,
	"affected":             givenConditions,
	"of":                   givenConditions,
	"trend":                givenTrend,
	"peers":                givenPeers,
}

// slopeFields and lossFields are what only a trend or a comparison of wheels
// with enough behind it can say; never changed.
var (
	slopeFields = map[string]bool{"slope_per_week": true, "slope_low_per_week": true, "slope_high_per_week": true, "p_no_trend": true, "level": true}
	lossFields  = map[string]bool{"loss_kpa_per_week": true, "loss_low_kpa_per_week": true, "loss_high_kpa_per_week": true, "p_no_loss": true}
)

// repeatFields are what a trend says of repeated readings: that costs little, and most
// rules that read a trend read nothing else; never changed.
var repeatFields = map[string]bool{"same_in_a_row": true, "p_same": true}

// trendUse is how often an expression reads a trend, and how often only what it says of
// repeated readings.
type trendUse struct{ reads, repeats int }

// note takes note of a field that is selected of a message, to read it and not only to
// ask whether it is there.
func (u *trendUse) note(of *cel.Type, name string) {
	switch {
	case of.IsExactType(observationType) && name == "trend":
		u.reads++
	case of.IsExactType(trendType) && repeatFields[name]:
		u.repeats++
	}
}

// wholly tells that more is read of a trend than repeated readings.
func (u *trendUse) wholly() bool { return u.reads > u.repeats }

// mentionedBy says which field shows that a rule's author thought of it; never changed.
var mentionedBy = map[string]givens{
	"has_value":       givenValue,
	"has_target":      givenTarget | givenShare,
	"has_tread":       givenTread,
	"has_level":       givenLevel,
	"has_uncertainty": givenWorth,
}

// selected says what selecting a field of a message needs, and what it shows
// that the author thought of. asking tells that it was only asked whether it is there.
func selected(of *cel.Type, name string, asking bool) (reads, mentions givens) {
	switch {
	case of.IsExactType(observationType):
		if reads = readBy[name]; asking && reads&(givenTrend|givenPeers) != 0 {
			return reads, reads
		}
		return reads, mentionedBy[name]
	case of.IsExactType(trendType) && slopeFields[name]:
		return givenSlope, 0
	case of.IsExactType(trendType) && name == "has_slope":
		return 0, givenSlope
	case of.IsExactType(peersType) && lossFields[name]:
		return givenLoss, 0
	case of.IsExactType(peersType) && name == "has_loss":
		return 0, givenLoss
	}
	return 0, 0
}

// givenIn says what an observation holds.
func givenIn(o *pb.Observation) givens {
	var g givens
	for _, part := range []struct {
		has bool
		is  givens
	}{
		{o.GetHasValue(), givenValue},
		{o.GetHasTarget(), givenTarget},
		{o.GetHasTread(), givenTread},
		{o.GetHasLevel(), givenLevel},
		{statesConditions(o), givenConditions},
		{o.GetHasValue() && o.GetHasTarget() && o.GetTarget() != 0, givenShare},
		{o.GetHasUncertainty(), givenWorth},
		{o.GetTreadUncertaintyMm() > 0, givenTreadWorth},
		{o.GetHasLevel() && o.GetStep().GetVolumeBetweenMarksL() > 0, givenLitres},
		{o.GetTrend() != nil, givenTrend},
		{o.GetTrend().GetHasSlope(), givenSlope},
		{o.GetPeers() != nil, givenPeers},
		{o.GetPeers().GetHasLoss(), givenLoss},
		{allFinite(o), givenFinite},
	} {
		if part.has {
			g |= part.is
		}
	}
	return g
}

// allFinite tells that no number of an observation is NaN or infinite. Observe
// makes none like that; an observation that comes from elsewhere may hold one.
func allFinite(o *pb.Observation) bool {
	for _, x := range [...]float64{
		o.GetValue(), o.GetAsRead(), o.GetTarget(), o.GetShareOfTarget(), o.GetTreadBandMm(), o.GetTreadCentralMm(), o.GetTreadLeastMm(),
		o.GetLevel(), o.GetStandardUncertainty(), o.GetTreadUncertaintyMm(), o.GetMayReadHighBy(), o.GetLitresToAdd(),
	} {
		if !isFinite(x) {
			return false
		}
	}
	for _, x := range o.GetValues() {
		if !isFinite(x) {
			return false
		}
	}
	for _, x := range o.GetUncertainties() {
		if !isFinite(x) {
			return false
		}
	}
	return true
}

// notGiven words what is missing.
func notGiven(missing givens) error {
	var words []string
	for _, part := range []struct {
		is   givens
		word string
	}{
		{givenFinite, "one of its numbers is none"},
		{givenValue, "no value was read"},
		{givenTarget, "no target is known"},
		{givenTread, "no tread depth was measured"},
		{givenLevel, "no level was read"},
		{givenConditions, "no condition was stated"},
		{givenShare, "there is no value and target to compare"},
		{givenWorth, "nobody knows what the reading is worth"},
		{givenTreadWorth, "nobody knows what the depths are worth"},
		{givenLitres, "nobody knows how many litres lie between the marks"},
		{givenTrend, "nothing was measured here over time"},
		{givenSlope, "there is too little to speak of a slope"},
		{givenPeers, "there are no peers to compare with"},
		{givenLoss, "there is too little to compare with the peers"},
	} {
		if missing&part.is != 0 {
			words = append(words, part.word)
		}
	}
	return errors.New(strings.Join(words, ", "))
}
