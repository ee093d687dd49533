package plan

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"strings"

	"bayround/internal/feature"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/proto"
)

// Input is what decides a plan. Item ids of the catalogue and place ids within
// the vehicle must each be unique, as package catalogue checks.
type Input struct {
	// Vehicle is the configuration in force.
	Vehicle *pb.VehicleConfiguration
	// Catalogue holds the items and stops.
	Catalogue *pb.Catalogue
	// Routine is what is due.
	Routine *pb.Routine
	// Station says in which units people enter values; nil for the items' usual ones.
	Station *pb.Station
	// Last is the newest result by step id, shown after the new one is entered; may be nil.
	Last map[string]*pb.Result
	// Worth is how much finding out at a step counts when there is no time for all, by step id; 1 where
	// nothing is said.
	Worth map[string]float64
}

// Build returns the plan of a routine for a vehicle.
func Build(in Input) *pb.Plan {
	l := newLayout(in.Vehicle)
	steps := order(in, l, stepsOf(in, l))
	p := &pb.Plan{
		Vehicle:          in.Vehicle.GetName(),
		Routine:          in.Routine.GetName(),
		VehicleRevision:  in.Vehicle.GetRevision(),
		CatalogueVersion: in.Catalogue.GetVersion(),
		Steps:            steps,
		Digest:           digest(steps),
	}
	for _, step := range steps {
		step.Last = in.Last[step.GetStepId()]
	}
	return p
}

// List returns the steps of a plan by phase, stop and place. It is for whoever needs to know what is
// checked but not the best way, which takes longer to find.
func List(in Input) []*pb.CheckStep {
	l := newLayout(in.Vehicle)
	return newRoute(l, in.Catalogue, nil, stepsOf(in, l), outset{}).listed()
}

// stepsOf returns the steps of a routine in no order.
func stepsOf(in Input, l *layout) []*pb.CheckStep {
	features := feature.All(in.Vehicle)
	stops := make(map[string]*pb.Stop, len(in.Catalogue.GetStops()))
	for _, stop := range in.Catalogue.GetStops() {
		stops[stop.GetId()] = stop
	}
	var steps []*pb.CheckStep
	for _, item := range in.Catalogue.GetItems() {
		if !isDue(item, in.Routine) || !fits(item, features) {
			continue
		}
		spots := l.spots(item)
		nameSpots(item, spots)
		for _, s := range spots {
			steps = append(steps, newStep(item, s, s.stop(item, stops), in.Station))
		}
	}
	tellApart(steps)
	return steps
}

// tellApart gives steps that share a title the words for their place too, and
// where that is not enough their id.
func tellApart(steps []*pb.CheckStep) {
	for _, more := range []func(*pb.CheckStep) string{
		func(s *pb.CheckStep) string {
			if strings.HasSuffix(s.GetTitle(), s.GetPlace().GetTitle()) {
				return ""
			}
			return ", " + s.GetPlace().GetTitle()
		},
		func(s *pb.CheckStep) string { return " (" + s.GetStepId() + ")" },
	} {
		count := make(map[string]int, len(steps))
		for _, s := range steps {
			count[s.GetTitle()]++
		}
		for _, s := range steps {
			if count[s.GetTitle()] > 1 {
				s.Title += more(s)
			}
		}
	}
}

// digest returns the SHA-256, in hex, of the steps as they are without last
// results: each step's length as eight bytes, greatest first, and its
// deterministic serialisation.
func digest(steps []*pb.CheckStep) string {
	h := sha256.New()
	var buffer []byte
	for _, step := range steps {
		// A message made here holds no invalid text and no map, so this cannot fail
		// but for text that was invalid in the input; that text then counts for nothing.
		buffer, _ = proto.MarshalOptions{Deterministic: true}.MarshalAppend(buffer[:0], step)
		h.Write(binary.BigEndian.AppendUint64(nil, uint64(len(buffer))))
		h.Write(buffer)
	}
	return hex.EncodeToString(h.Sum(nil))
}
