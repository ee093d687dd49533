package round

import (
	"slices"
	"time"

	"bayround/internal/feature"
	pb "bayround/proto/bayround/v1"
)

// Use is something that a run used or went through, where it can be said with one touch.
type Use struct {
	ID   string
	Text string // as it stands in the record
}

// UseChoice is a use that can be touched.
type UseChoice struct {
	Use
	Chosen bool
}

// Back is a run that is being told, or was told.
type Back struct {
	Said     bool      // when it came back was said
	Returned time.Time // when that was
	Uses     []UseChoice
	Broken   bool             // it broke into a round, which is gone on with after
	Recorded bool             // it is recorded; what follows is choosing what to check
	Words    []string         // what was recorded as used
	Due      []*pb.RoutineDue // what is due or overdue on the vehicle, what a run has made due first
}

// UsesOf is what can be said of a run of a vehicle: what it carries of what runs use up or
// foul, then what they go through. Source: common practice; the last four are those of the
// catalogue's items after fire, flood, off-road or a long pump run, and after a bump.
func UsesOf(v *pb.VehicleConfiguration) (all []Use) {
	carries := func(capability string) bool { return slices.Contains(v.GetCapabilities(), capability) }
	set := func(s *pb.Seat) bool { return s.GetBreathingSet() }
	pump, ambulance := feature.Has(v, "pump"), feature.Has(v, "ambulance")
	for _, u := range []struct {
		use  Use
		fits bool
	}{
		{Use{"sets", "breathing sets"}, slices.ContainsFunc(v.GetSeats(), set)},
		{Use{"water", "water and hose"}, pump},
		{Use{"foam", "foam"}, feature.Has(v, "foam")},
		{Use{"ladders", "ladders"}, carries("ladder")},
		{Use{"aerial", "aerial ladder or platform"}, feature.Has(v, "aerial")},
		{Use{"rescue", "rescue tools"}, feature.Has(v, "rescue") || carries("rescue tools")},
		{Use{"crane", "crane"}, feature.Has(v, "crane")},
		{Use{"winch", "winch"}, feature.Has(v, "winch")},
		{Use{"power", "generator or mast"}, feature.Has(v, "generator") || feature.Has(v, "mast")},
		{Use{"stretcher", "stretcher"}, ambulance},
		{Use{"oxygen", "oxygen"}, ambulance},
		{Use{"medical", "dressings and medicines"}, ambulance},
		{Use{"long-pump", "a long pump run"}, pump},
		{Use{"off-road", "off the road"}, true},
		{Use{"flood", "through deep water"}, true},
		{Use{"struck", "a bump or a kerb"}, true},
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
