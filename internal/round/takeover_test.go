package round_test

import (
	"crypto/sha256"
	"testing"

	pb "bayround/proto/bayround/v1"
)

// Both drivers confirm the words on the page, each with a PIN, in that order; one person
// cannot be both, and the record says who it was and what they read.
func TestDesk_AHandOverIsConfirmedByBoth(t *testing.T) {
	tab := newHands(t)
	tab.begin("vehicles/wn11", "routines/shift", "people/quellmere")
	tab.act("give-up", "note", "called away")
	tab.refused("NOT_HANDED_OVER", "take-over", "person", "people/venholt", "pin", "2468")
	tab.refused("PIN_WRONG", "hand-over", "pin", "1357")
	v := tab.act("hand-over", "pin", "2468")
	if v.Closing.GivenAt.IsZero() || v.Closing.TakenBy != nil {
		t.Errorf("handed over at %v, taken by %v", v.Closing.GivenAt, v.Closing.TakenBy)
	}
	tab.refused("SAME_PERSON", "take-over", "person", "people/arkwith", "pin", "2468")
	tab.refused("PERSON_UNKNOWN", "take-over", "person", "people/nobody", "pin", "2468")
	tab.refused("PIN_WRONG", "take-over", "person", "people/venholt", "pin", "9999")
	v = tab.act("take-over", "person", "people/venholt", "pin", "2468")
	if v.Closing.TakenBy.GetName() != "people/venholt" {
		t.Fatalf("taken by %v", v.Closing.TakenBy)
	}
	tab.refused("TAKEN_OVER", "take-over", "person", "people/venholt", "pin", "2468")
	resp, err := tab.kit.GetReadiness(t.Context(), &pb.GetReadinessRequest{Vehicle: "vehicles/wn11"})
	if err != nil {
		t.Fatal(err)
	}
	read := sha256.Sum256([]byte(v.Closing.Handover))
	h := resp.GetReadiness().GetHandOver()
	if h.GetOffGoing() != "people/arkwith" || h.GetOnComing() != "people/venholt" || string(h.GetTextSha256()) != string(read[:]) || h.GetOnComingConfirmed().AsTime().Before(h.GetOffGoingConfirmed().AsTime()) {
		t.Errorf("the record says %v", h)
	}
}
