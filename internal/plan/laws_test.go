package plan_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"bayround/internal/feature"
	"bayround/internal/plan"
	pb "bayround/proto/bayround/v1"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"
)

func bytesOf(t *rapid.T, m proto.Message) string {
	t.Helper()
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestBuild_SameInputSamePlan(t *testing.T) {
	loaded := loadDefaults(t)
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t, loaded)
		before := bytesOf(t, in.Vehicle)
		first, second := plan.Build(in), plan.Build(in)
		if bytesOf(t, first) != bytesOf(t, second) {
			t.Error("the same input gave two plans")
		}
		if bytesOf(t, in.Vehicle) != before {
			t.Error("planning changed the configuration")
		}
	})
}

func TestBuild_OrderOfListsChangesNothing(t *testing.T) {
	loaded := loadDefaults(t)
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t, loaded)
		want := bytesOf(t, plan.Build(in))
		other := in
		v := proto.CloneOf(in.Vehicle)
		v.Lamps, v.Fluids, v.Openings = shuffled(t, v.Lamps), shuffled(t, v.Fluids), shuffled(t, v.Openings)
		v.Seats, v.Fittings, v.Equipment = shuffled(t, v.Seats), shuffled(t, v.Fittings), shuffled(t, v.Equipment)
		v.Places, v.Features = shuffled(t, v.Places), shuffled(t, v.Features)
		other.Vehicle = v
		other.Catalogue = &pb.Catalogue{
			Version: in.Catalogue.GetVersion(), Items: shuffled(t, in.Catalogue.GetItems()), Stops: shuffled(t, in.Catalogue.GetStops()),
		}
		other.Routine = &pb.Routine{Name: in.Routine.GetName(), Triggers: shuffled(t, in.Routine.GetTriggers()), Items: shuffled(t, in.Routine.GetItems())}
		if got := bytesOf(t, plan.Build(other)); got != want {
			t.Errorf("the same things listed in another order gave another plan: %s", cmp.Diff(told(plan.Build(in)), told(plan.Build(other))))
		}
	})
}

// shuffled returns a list in another order; a seed is drawn and not the list, to
// keep failures readable.
func shuffled[T any](t *rapid.T, list []T) []T {
	seed := rapid.Uint64().Draw(t, "seed")
	list = slices.Clone(list)
	rand.New(rand.NewPCG(seed, 0)).Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
	return list
}

// TestBuild_KeepsItsPromises holds one plan to all that every plan promises.
func TestBuild_KeepsItsPromises(t *testing.T) {
	loaded := loadDefaults(t)
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t, loaded)
		p := plan.Build(in)
		hasItsOwnIDAndTitle(t, p)
		losesNothing(t, in, p)
		changesStatesLeast(t, in, p)
	})
}

// hasItsOwnIDAndTitle: every step.
func hasItsOwnIDAndTitle(t *rapid.T, p *pb.Plan) {
	t.Helper()
	ids, titles := map[string]bool{}, map[string]bool{}
	for _, s := range p.GetSteps() {
		if ids[s.GetStepId()] || titles[s.GetTitle()] {
			t.Errorf("step %q, %q: another has this id or title", s.GetStepId(), s.GetTitle())
		}
		ids[s.GetStepId()], titles[s.GetTitle()] = true, true
		if s.GetStepId() != s.GetItem()+"/"+s.GetPlace().GetId() {
			t.Errorf("step %q is of %q at %q", s.GetStepId(), s.GetItem(), s.GetPlace().GetId())
		}
		if strings.Contains(s.GetPrompt()+s.GetLimitText(), "{") {
			t.Errorf("step %q was not filled in: %q, %q", s.GetStepId(), s.GetPrompt(), s.GetLimitText())
		}
		if s.GetAlike() < 1 || len(s.GetUnits()) != len(s.GetParts()) || s.GetStopTitle() == "" {
			t.Errorf("step %q looks at %d, has %d units for %d parts, at %q", s.GetStepId(), s.GetAlike(), len(s.GetUnits()), len(s.GetParts()), s.GetStopTitle())
		}
	}
}

// losesNothing counts, from the contract's words, how many steps each
// item that is due and fits must give.
func losesNothing(t *rapid.T, in plan.Input, p *pb.Plan) {
	t.Helper()
	got := map[string]int{}
	for _, s := range p.GetSteps() {
		got[s.GetItem()]++
	}
	// Items that share a way of repeating and are limited to one side each, as the
	// nearside and offside lockers, together hold everything once.
	sided := map[string][]int{}
	for _, item := range in.Catalogue.GetItems() {
		if !isDue(item, in.Routine) || !fitsVehicle(item, in.Vehicle) {
			if got[item.GetId()] > 0 {
				t.Errorf("%s is not due or does not fit, and has %d steps", item.GetId(), got[item.GetId()])
			}
			continue
		}
		want := countThings(item, in.Vehicle)
		switch {
		case item.GetSide() == pb.Side_SIDE_UNSPECIFIED || item.GetRepeatOver() == pb.RepeatOver_REPEAT_OVER_ONCE:
			if got[item.GetId()] != want {
				t.Errorf("%s (%v) has %d steps, want %d", item.GetId(), item.GetRepeatOver(), got[item.GetId()], want)
			}
		default:
			key := fmt.Sprint(item.GetRepeatOver(), strings.TrimRight(item.GetId(), "01"))
			sided[key] = append(sided[key], got[item.GetId()], want)
		}
	}
	for key, counts := range sided {
		if len(counts) == 4 && counts[0]+counts[2] != counts[1] {
			t.Errorf("%s: %d steps on one side and %d on the other, want %d together", key, counts[0], counts[2], counts[1])
		}
	}
}

func isDue(item *pb.Item, r *pb.Routine) bool {
	for _, trigger := range item.GetTriggers() {
		if slices.Contains(r.GetTriggers(), trigger) {
			return true
		}
	}
	return slices.Contains(r.GetItems(), item.GetId())
}

func fitsVehicle(item *pb.Item, v *pb.VehicleConfiguration) bool {
	features := feature.All(v)
	for _, word := range item.GetFitsAny() {
		if features[word] {
			return true
		}
	}
	return false
}

// countThings returns how many things of a vehicle an item is repeated over, on both sides.
func countThings(item *pb.Item, v *pb.VehicleConfiguration) int {
	front, frontWheels, wheels, inner := true, 0, 0, 0
	for i, a := range v.GetAxles() {
		powered := v.GetPowerTrain() != pb.PowerTrain_POWER_TRAIN_NONE
		front = front && (i == 0 && powered || a.GetSteers() && a.GetXM() >= -2.5)
		wheels += 2 * int(a.GetWheelsPerSide())
		switch {
		case front:
			frontWheels += 2 * int(a.GetWheelsPerSide())
		case a.GetWheelsPerSide() == 2:
			inner += 2
		}
	}
	switch item.GetRepeatOver() {
	case pb.RepeatOver_REPEAT_OVER_FRONT_WHEELS:
		return frontWheels
	case pb.RepeatOver_REPEAT_OVER_REAR_WHEELS:
		return wheels - frontWheels
	case pb.RepeatOver_REPEAT_OVER_REAR_OUTER_WHEELS:
		return wheels - frontWheels - inner
	case pb.RepeatOver_REPEAT_OVER_REAR_INNER_WHEELS:
		return inner
	case pb.RepeatOver_REPEAT_OVER_ALL_WHEELS:
		return wheels
	case pb.RepeatOver_REPEAT_OVER_AXLE_ENDS:
		return 2 * len(v.GetAxles())
	case pb.RepeatOver_REPEAT_OVER_LAMPS:
		return count(v.GetLamps(), func(l *pb.Lamp) bool { return slices.Contains(item.GetLampFunctions(), l.GetFunction()) })
	}
	return countSmall(item, v)
}

func countSmall(item *pb.Item, v *pb.VehicleConfiguration) int {
	opening := func(kinds ...pb.OpeningKind) int {
		return count(v.GetOpenings(), func(o *pb.Opening) bool { return slices.Contains(kinds, o.GetKind()) })
	}
	seat := func(kind pb.SeatKind) int {
		return count(v.GetSeats(), func(s *pb.Seat) bool { return s.GetKind() == kind })
	}
	switch over := item.GetRepeatOver(); over {
	case pb.RepeatOver_REPEAT_OVER_LOCKERS:
		return opening(pb.OpeningKind_OPENING_KIND_LOCKER, pb.OpeningKind_OPENING_KIND_SHUTTER)
	case pb.RepeatOver_REPEAT_OVER_CAB_DOORS:
		return opening(pb.OpeningKind_OPENING_KIND_CAB_DOOR)
	case pb.RepeatOver_REPEAT_OVER_SLIDES:
		return opening(pb.OpeningKind_OPENING_KIND_SLIDE)
	case pb.RepeatOver_REPEAT_OVER_CREW_SEATS:
		return seat(pb.SeatKind_SEAT_KIND_CREW)
	case pb.RepeatOver_REPEAT_OVER_PATIENT_SEATS:
		return seat(pb.SeatKind_SEAT_KIND_PATIENT_COMPARTMENT)
	case pb.RepeatOver_REPEAT_OVER_BREATHING_SET_SEATS:
		return count(v.GetSeats(), func(s *pb.Seat) bool {
			return s.GetBreathingSet() && s.GetKind() != pb.SeatKind_SEAT_KIND_PATIENT_COMPARTMENT
		})
	case pb.RepeatOver_REPEAT_OVER_ONCE:
		return countFluids(item.GetFluid(), v)
	default: // fittings go by the same word, REPEAT_OVER_MIRRORS and FITTING_KIND_MIRROR
		word := strings.TrimSuffix(strings.TrimPrefix(over.String(), "REPEAT_OVER_"), "S")
		word = strings.Replace(strings.Replace(word, "BATTERIE", "BATTERY", 1), "WHEELS_", "WHEEL_", 1)
		return count(v.GetFittings(), func(f *pb.Fitting) bool { return f.GetKind().String() == "FITTING_KIND_"+word })
	}
}

func countFluids(kind pb.FluidKind, v *pb.VehicleConfiguration) int {
	listed := count(v.GetFluids(), func(f *pb.Fluid) bool { return f.GetKind() == kind })
	engine := v.GetPowerTrain() == pb.PowerTrain_POWER_TRAIN_DIESEL || v.GetPowerTrain() == pb.PowerTrain_POWER_TRAIN_HYBRID
	switch {
	case kind == pb.FluidKind_FLUID_KIND_UNSPECIFIED:
		return 1
	case listed > 0:
		return listed
	case engine && slices.Contains([]string{"ENGINE_OIL", "COOLANT", "FUEL"}, strings.TrimPrefix(kind.String(), "FLUID_KIND_")):
		return 1
	case kind == pb.FluidKind_FLUID_KIND_BRAKE && v.GetBrakingSystem() == pb.BrakingSystem_BRAKING_SYSTEM_HYDRAULIC:
		return 1
	}
	return 0
}

func count[T any](list []T, wanted func(T) bool) (n int) {
	for _, thing := range list {
		if wanted(thing) {
			n++
		}
	}
	return n
}
