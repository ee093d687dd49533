package plan

import (
	"maps"
	"testing"
)

// TestUsual_IsWhatTheDefaultCatalogueSays: the figures that stand in for a catalogue without its own are
// those of walk.yaml and routines.yaml, which name their sources.
func TestUsual_IsWhatTheDefaultCatalogueSays(t *testing.T) {
	loaded := LoadCounty(t)
	own := newGait(loaded.Catalogue.GetWalkTimes(), loaded.Routines[0].GetWalkWeights())
	if loaded.Catalogue.GetWalkTimes() == nil || loaded.Routines[0].GetWalkWeights() == nil {
		t.Fatal("the default catalogue says nothing of its own")
	}
	if usual := newGait(nil, nil); usual != own {
		t.Errorf("the usual gait is %+v, the catalogue's %+v", usual, own)
	}
	with, without := newWiring(loaded.Catalogue.GetCircuits()), newWiring(nil)
	if !maps.Equal(with.notWith, without.notWith) {
		t.Errorf("circuits that are not judged together: usually %v, by the catalogue %v", without.notWith, with.notWith)
	}
}
