package plan_test

import (
	"testing"

	"bayround/internal/plan"
	pb "bayround/proto/bayround/v1"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
)

// planOf plans one item on a small vehicle.
func planOf(item *pb.Item) *pb.Plan {
	return plan.Build(plan.Input{
		Vehicle:   vehicle(pb.PowerTrain_POWER_TRAIN_DIESEL, axle(0, true, 1), axle(-4, false, 2)),
		Catalogue: &pb.Catalogue{Items: []*pb.Item{item}}, Routine: &pb.Routine{Items: []string{item.GetId()}},
	})
}

// TestBuild_SaysWhatStandsBesideTheAnswer: what can be seen beside a value, what
// the assistant is told and how it goes without one reach the step with the words
// filled in, and count for the digest.
func TestBuild_SaysWhatStandsBesideTheAnswer(t *testing.T) {
	item := func(change func(*pb.Item)) *pb.Item {
		i := &pb.Item{
			Id: "STR-010", Title: "Free play", FitsAny: []string{"powered"}, Anchor: "front", Prompt: "Measure it.",
			AnswerKind: pb.AnswerKind_ANSWER_KIND_READING, State: &pb.StepState{Assistant: true},
			Parts: []*pb.ReadingPart{{Id: "play", Quantity: pb.Quantity_QUANTITY_LENGTH, UsualUnit: "cm"}},
		}
		change(i)
		return i
	}
	plain := planOf(item(func(*pb.Item) {}))
	for _, tc := range []struct {
		name   string
		change func(*pb.Item)
		want   func(*pb.CheckStep)
	}{
		{
			"conditions",
			func(i *pb.Item) {
				i.Conditions = []*pb.Condition{{Id: "02", Text: "joint worn", Meaning: &pb.Condition_Fault{Fault: "STR-010-02"}}}
			},
			func(s *pb.CheckStep) {
				s.Conditions = []*pb.Condition{{Id: "02", Text: "joint worn", Meaning: &pb.Condition_Fault{Fault: "STR-010-02"}}}
			},
		},
		{
			"a way to do it alone", func(i *pb.Item) { i.AlonePrompt = "{place}: hold the wheel against a chock, in {unit}." },
			func(s *pb.CheckStep) { s.AlonePrompt = "Front: hold the wheel against a chock, in cm." },
		},
		{
			"a command", func(i *pb.Item) { i.AssistantCommand = "rock the wheel, I am at the {place}" },
			func(s *pb.CheckStep) { s.AssistantCommand = "Rock the wheel, I am at the front" },
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, want := planOf(item(tc.change)), proto.CloneOf(plain)
			tc.want(want.Steps[0])
			if diff := cmp.Diff(want, got, protocmp.Transform(), protocmp.IgnoreFields(&pb.Plan{}, "digest")); diff != "" {
				t.Errorf("plan (-want +got):\n%s", diff)
			}
			if got.GetDigest() == plain.GetDigest() {
				t.Error("the digest is that of the plan without it")
			}
		})
	}
}

// A coolant's frost protection is judged against the coldest its station prepares
// for, said in the unit that is typed; without a station nobody can say.
func TestBuild_FrostProtectionAimsAtTheStationsColdest(t *testing.T) {
	item := &pb.Item{
		Id: "FLU-040", Title: "Frost protection", FitsAny: []string{"powered"}, Anchor: "front",
		Prompt: "Read it; coldest {target} {unit}.", LimitText: "Below {target} {unit}.", Fluid: pb.FluidKind_FLUID_KIND_COOLANT,
		AnswerKind: pb.AnswerKind_ANSWER_KIND_READING,
		Parts:      []*pb.ReadingPart{{Id: "protects_to", Quantity: pb.Quantity_QUANTITY_TEMPERATURE, UsualUnit: "degC"}},
	}
	v := vehicle(pb.PowerTrain_POWER_TRAIN_DIESEL, axle(0, true, 1))
	v.Fluids = []*pb.Fluid{{Kind: pb.FluidKind_FLUID_KIND_COOLANT, Place: &pb.Place{Id: "tank", Title: "Tank"}}}
	for _, tc := range []struct {
		station *pb.Station
		unit    string
		target  *float64
		limit   string
	}{
		{nil, "degC", nil, "Below not known degC."},
		{&pb.Station{}, "degC", nil, "Below not known degC."},
		{&pb.Station{DesignMinimumCelsius: -14}, "degC", proto.Float64(-14), "Below -14 degC."},
		{&pb.Station{DesignMinimumCelsius: -8}, "degF", proto.Float64(-8), "Below 17.6 degF."}, // by definition: 9/5 of it and 32
	} {
		item.Parts[0].UsualUnit = tc.unit
		got := plan.Build(plan.Input{
			Vehicle: v, Station: tc.station, Catalogue: &pb.Catalogue{Items: []*pb.Item{item}}, Routine: &pb.Routine{Items: []string{item.GetId()}},
		}).GetSteps()
		if len(got) != 1 {
			t.Fatalf("%d steps, want 1", len(got))
		}
		if diff := cmp.Diff(tc.target, got[0].Target); diff != "" || got[0].GetLimitText() != tc.limit {
			t.Errorf("%v: limit text %q, want %q; target (-want +got):\n%s", tc.station, got[0].GetLimitText(), tc.limit, diff)
		}
	}
}
