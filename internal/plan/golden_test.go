package plan_test

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"bayround/internal/catalogue"
	"bayround/internal/plan"
	pb "bayround/proto/bayround/v1"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden files anew")

// small is the vehicle, catalogue and station of testdata/small.yaml.
func small(t testing.TB) plan.Input {
	t.Helper()
	content, err := os.ReadFile("testdata/small.yaml")
	if err != nil {
		t.Fatal(err)
	}
	loaded, err := catalogue.Load([]catalogue.File{{Name: "small.yaml", Content: content}})
	if err != nil {
		t.Fatal(err)
	}
	// The contract allows to look at several lamps in one step; our catalogue does not.
	for _, item := range loaded.Catalogue.GetItems() {
		switch item.GetId() {
		case "LMP-030":
			item.LampFunctions = []pb.LampFunction{pb.LampFunction_LAMP_FUNCTION_DIRECTION_INDICATOR}
		case "LMP-040":
			item.LampFunctions = []pb.LampFunction{pb.LampFunction_LAMP_FUNCTION_REAR_FOG}
		}
	}
	return plan.Input{Vehicle: loaded.Vehicles[0], Catalogue: loaded.Catalogue, Routine: loaded.Routines[0], Station: loaded.Stations[0]}
}

// TestBuild_SmallVehicle holds a whole plan, step by step, against the one that
// was read through by hand.
func TestBuild_SmallVehicle(t *testing.T) {
	const golden = "testdata/small.golden"
	got := told(plan.Build(small(t)))
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(got, "\n")); diff != "" {
		t.Errorf("plan (-want +got):\n%s", diff)
	}
}

// told is a plan as text: two lines a step, what is empty left out.
func told(p *pb.Plan) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s %s revision %d catalogue %s digest %s\n", p.GetVehicle(), p.GetRoutine(), p.GetVehicleRevision(), p.GetCatalogueVersion(), p.GetDigest())
	for _, s := range p.GetSteps() {
		at := s.GetPlace().GetAt()
		fmt.Fprintf(&b, "%s | %s | at %s (%v, %v, %v) | stop %s\n", s.GetStepId(), s.GetTitle(), s.GetPlace().GetTitle(), at.GetXM(), at.GetYM(), at.GetZM(), s.GetStopTitle())
		fmt.Fprintf(&b, "    %s", s.GetPrompt())
		for _, more := range []struct {
			name  string
			value any
			zero  bool
		}{
			{"units", s.GetUnits(), len(s.GetUnits()) == 0},
			{"target", s.GetTarget(), s.Target == nil},
			{"limit", s.GetLimitText(), s.GetLimitText() == ""},
			{"axle", s.GetAxle(), s.GetAxle() == 0},
			{"side", s.GetSide(), s.GetSide() == 0},
			{"twin", s.GetTwin(), s.GetTwin() == 0},
			{"lamp", s.GetLampFunction(), s.GetLampFunction() == 0},
			{"alike", s.GetAlike(), s.GetAlike() == 1},
			{"fluid", s.GetFluid(), s.GetFluid() == 0},
			{"litres", s.GetVolumeBetweenMarksL(), s.GetVolumeBetweenMarksL() == 0},
			{"must not miss", s.GetMustNotMiss(), !s.GetMustNotMiss()},
		} {
			if !more.zero {
				fmt.Fprintf(&b, " | %s %v", more.name, more.value)
			}
		}
		b.WriteString("\n")
	}
	return b.String()
}
