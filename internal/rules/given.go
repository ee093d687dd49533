package rules

import (
	"errors"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// givens is a set of what an observation can hold or lack.
type givens uint8

// What an observation can hold.
const (
	givenValue givens = 1 << iota
	givenTarget
	givenTread
	givenLevel
	givenConditions
	givenShare // of the target: wants a value and a target that is not 0
	givenAll   = givenValue | givenTarget | givenTread | givenLevel | givenConditions | givenShare
)

// readBy says what reading a field of an observation needs; never changed.
var readBy = map[string]givens{
	"value":            givenValue,
	"values":           givenValue,
	"target":           givenTarget,
	"share_of_target":  givenShare,
	"tread_band_mm":    givenTread,
	"tread_central_mm": givenTread,
	"tread_least_mm":   givenTread,
	"level":            givenLevel,
	"level_below":      givenLevel,
	"level_above":      givenLevel,
	"affected":         givenConditions,
	"of":               givenConditions,
}

// mentionedBy says which field shows that a rule's author thought of it; never changed.
var mentionedBy = map[string]givens{
	"has_value":  givenValue,
	"has_target": givenTarget | givenShare,
	"has_tread":  givenTread,
	"has_level":  givenLevel,
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
	} {
		if part.has {
			g |= part.is
		}
	}
	return g
}

// notGiven words what is missing.
func notGiven(missing givens) error {
	var words []string
	for _, part := range []struct {
		is   givens
		word string
	}{
		{givenValue, "no value was read"},
		{givenTarget, "no target is known"},
		{givenTread, "no tread depth was measured"},
		{givenLevel, "no level was read"},
		{givenConditions, "no condition was stated"},
		{givenShare, "there is no value and target to compare"},
	} {
		if missing&part.is != 0 {
			words = append(words, part.word)
		}
	}
	return errors.New(strings.Join(words, ", "))
}
