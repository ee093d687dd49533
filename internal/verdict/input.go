package verdict

import (
	"time"

	pb "bayround/proto/bayround/v1"
)

// Input is all that is known about one vehicle. Nothing in it is changed, and
// what Of returns shares messages with it.
type Input struct {
	// Vehicle is the configuration in force.
	Vehicle *pb.VehicleConfiguration
	// Required are the steps that must all have a fresh answer, each once, in walking order.
	Required []*pb.CheckStep
	// Latest holds, by step id, what was last answered; steps never answered are absent.
	Latest map[string]*Answer
	// Findings are those of the rules about the newest results.
	Findings []*pb.Finding
	// Defects of the vehicle; closed ones may be among them and count for nothing.
	Defects []*pb.Defect
	// Undone is what is physically undone now.
	Undone []*pb.UndoneStep
	// Rounds on this vehicle; those neither open nor paused are left out of a Readiness.
	Rounds []*pb.Round
	// Record is a doubt in the record that everything here was taken from; nil for none.
	Record *pb.RecordDoubt
	// Systems are those on which several deferrals are judged together.
	Systems []*pb.DeferralSystem
	// Takeover is the check it needs since it took a call sign; nil when it needs none.
	Takeover *Takeover
	// Holding is which call sign it answers to; nil when it has always been its own.
	Holding *pb.CallSignHolding
	// Packs are the rule packs it was judged by, as name@version, in the vehicle's order.
	Packs []string
}

// Answer is what was last answered at one step.
type Answer struct {
	// Newest result of the step.
	Newest *pb.Result
	// Real is the newest result that is not "not checked"; nil when there is none.
	Real *pb.Result
	// RealFits tells that Real still answers the step as it is configured now.
	RealFits bool
	// Sequence and RealSequence are the journal sequences of Newest and Real.
	Sequence, RealSequence int64
	// VoidBefore is when a repair was recorded: real answers given before it
	// prove nothing. Zero for none.
	VoidBefore time.Time
}
