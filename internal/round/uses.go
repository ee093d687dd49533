package round

import (
	"slices"
	"time"

	"bayround/internal/feature"
	pb "bayround/proto/bayround/v1"
)

// TellChoice is something that can be said of what is told with one touch: what a run used
// or went through, a wheel, or a material.
type TellChoice struct {
	ID       string
	Text     string              // of a run as it stands in the record
	Says     string              // of a material what there was of it, as it was told last; empty where nothing is known
	Material *pb.StockedMaterial // nil where it is none
	Chosen   bool
}

// InLitres tells that an amount of it is said in litres, not in pieces.
func (c TellChoice) InLitres() bool { return c.Material.GetUnit() == pb.StockUnit_STOCK_UNIT_ML }

// Telling is something that is being told, or was told.
type Telling struct {
	Of       Tale
	Said     bool      // when it happened was said
	When     time.Time // when that was
	Choices  []TellChoice
	Tellers  []*pb.Person     // who may tell of it
	Broken   bool             // a run broke into a round, which is gone on with after
	Recorded bool             // it is recorded; what follows is choosing what to check
	Words    []string         // what was recorded: what was used, when wheels are due, how much of what
	Due      []*pb.RoutineDue // what is due or overdue on the vehicle, what this has made due first
}

// UsesOf is what can be said of a run of a vehicle: what it carries of what runs use up or
// foul, then what they go through. Source: common practice; the last four are those of the
// catalogue's items after fire, flood, off-road or a long pump run, and after a bump.
func UsesOf(v *pb.VehicleConfiguration) (all []TellChoice) {
	carries := func(capability string) bool { return slices.Contains(v.GetCapabilities(), capability) }
	set := func(s *pb.Seat) bool { return s.GetBreathingSet() }
	pump, ambulance := feature.Has(v, "pump"), feature.Has(v, "ambulance")
	for _, u := range []struct {
		use  TellChoice
		fits bool
	}{
		{TellChoice{ID: "sets", Text: "breathing sets"}, slices.ContainsFunc(v.GetSeats(), set)},
		{TellChoice{ID: "water", Text: "water and hose"}, pump},
		{TellChoice{ID: "foam", Text: "foam"}, feature.Has(v, "foam")},
		{TellChoice{ID: "ladders", Text: "ladders"}, carries("ladder")},
		{TellChoice{ID: "aerial", Text: "aerial ladder or platform"}, feature.Has(v, "aerial")},
		{TellChoice{ID: "rescue", Text: "rescue tools"}, feature.Has(v, "rescue") || carries("rescue tools")},
		{TellChoice{ID: "crane", Text: "crane"}, feature.Has(v, "crane")},
		{TellChoice{ID: "winch", Text: "winch"}, feature.Has(v, "winch")},
		{TellChoice{ID: "power", Text: "generator or mast"}, feature.Has(v, "generator") || feature.Has(v, "mast")},
		{TellChoice{ID: "stretcher", Text: "stretcher"}, ambulance},
		{TellChoice{ID: "oxygen", Text: "oxygen"}, ambulance},
		{TellChoice{ID: "medical", Text: "dressings and medicines"}, ambulance},
		{TellChoice{ID: "long-pump", Text: "a long pump run"}, pump},
		{TellChoice{ID: "off-road", Text: "off the road"}, true},
		{TellChoice{ID: "flood", Text: "through deep water"}, true},
		{TellChoice{ID: "struck", Text: "a bump or a kerb"}, true},
	} {
		if u.fits {
			all = append(all, u.use)
		}
	}
	return all
}

// usedWords are the words of uses, in the order of the choices.
func usedWords(v *pb.VehicleConfiguration, ids []string) (words []string) {
	for _, u := range UsesOf(v) {
		if slices.Contains(ids, u.ID) {
			words = append(words, u.Text)
		}
	}
	return words
}
