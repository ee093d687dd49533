package station_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// A lamp is taken off a vehicle, and the best order would be another: drivers keep the one they know while it is hardly
// worse. The station alone writes that down, whatever a file says.
func TestApply_KeepsTheOrderThatDriversKnow(t *testing.T) {
	const wn21 = "vehicles/wn21"
	k := stationtest.OpenDemo(t)
	content, err := os.ReadFile(filepath.Join("..", "..", "testdata", "demo", "vehicles", "wn21.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for line := range strings.Lines(string(content)) {
		if !strings.Contains(line, "id: dipped-beam-nearside,") {
			lines = append(lines, line)
		}
	}
	without := strings.Join(lines, "")
	apply := func(id, text string) pb.ChangeKind {
		t.Helper()
		resp, err := k.Apply(ctx, &pb.ApplyRequest{RequestId: "00000000-0000-4000-8000-0000000000" + id, Files: []*pb.NamedFile{{FileName: "wn21.yaml", Content: []byte(text)}}})
		if err != nil {
			t.Fatal(err)
		}
		return resp.GetChanges()[0].GetKind()
	}
	var before []string
	for _, s := range k.Plan(wn21, shift).GetSteps() {
		if s.GetPlace().GetId() != "dipped-beam-nearside" {
			before = append(before, s.GetStepId())
		}
	}
	if kind := apply("01", without); kind != pb.ChangeKind_CHANGE_KIND_CHANGED {
		t.Fatalf("a lamp less: %v", kind)
	}
	stored := func() *pb.VehicleConfiguration {
		t.Helper()
		resp, err := k.GetVehicle(ctx, &pb.GetVehicleRequest{Name: wn21})
		if err != nil {
			t.Fatal(err)
		}
		return resp.GetVehicle()
	}
	kept := stored().GetKeptOrders()
	if len(kept) == 0 || kept[0].GetRoutine() != shift {
		t.Fatalf("kept: %v", kept)
	}
	var after []string
	for _, s := range k.Plan(wn21, shift).GetSteps() {
		after = append(after, s.GetStepId())
	}
	if !slices.Equal(after, before) {
		t.Errorf("the order was %q, now it is %q", before, after)
	}
	w, err := k.GetWalk(ctx, &pb.GetWalkRequest{Vehicle: wn21, Routine: shift})
	if err != nil || w.GetWalk().GetKeptCostsS() < 0 || w.GetWalk().GetCostS() > 1.01*w.GetWalk().GetBoundS() {
		t.Errorf("costs %v, at least %v, %v for what is kept; %v", w.GetWalk().GetCostS(), w.GetWalk().GetBoundS(), w.GetWalk().GetKeptCostsS(), err)
	}

	if kind := apply("02", without); kind != pb.ChangeKind_CHANGE_KIND_SAME {
		t.Errorf("the same again: %v", kind)
	}
	if kind := apply("03", without+"    kept_orders: [{routine: routines/shift, step_ids: [ZZZ-999/made-up]}]\n"); kind != pb.ChangeKind_CHANGE_KIND_SAME {
		t.Errorf("the same with an order in the file: %v", kind)
	}
	if again := stored(); again.GetRevision() != 2 || len(again.GetKeptOrders()) != len(kept) {
		t.Errorf("revision %d keeps %v", again.GetRevision(), again.GetKeptOrders())
	}
	if kind := apply("04", string(content)); kind != pb.ChangeKind_CHANGE_KIND_CHANGED {
		t.Errorf("the lamp is back: %v", kind)
	}
}
