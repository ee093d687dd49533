package round_test

import (
	"context"
	"strings"
	"testing"

	"google.golang.org/grpc"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// liar is a connection to a station that gives other proofs than it should.
type liar struct {
	grpc.ClientConnInterface
	lie func(*pb.ProveConsistencyResponse)
}

// Invoke lets the station answer, and lies.
func (l *liar) Invoke(ctx context.Context, method string, args, reply any, opts ...grpc.CallOption) error {
	err := l.ClientConnInterface.Invoke(ctx, method, args, reply, opts...)
	if proof, ok := reply.(*pb.ProveConsistencyResponse); ok && err == nil {
		l.lie(proof)
	}
	return err
}

// The station's word is not enough: the tablet looks at the proof itself.
func TestWitness_AProofThatDoesNotHoldIsAnAlarm(t *testing.T) {
	for _, tc := range []struct {
		what string
		lie  func(*pb.ProveConsistencyResponse)
	}{
		{"a changed path", func(p *pb.ProveConsistencyResponse) { p.ConsistencyPath[0][5] ^= 1 }},
		{"no path", func(p *pb.ProveConsistencyResponse) { p.ConsistencyPath = nil }},
		{"a path of something else", func(p *pb.ProveConsistencyResponse) { p.ConsistencyPath[0] = []byte("short") }},
		{"a checkpoint that counts more", func(p *pb.ProveConsistencyResponse) {
			p.Checkpoint = strings.Replace(p.GetCheckpoint(), "\n", "\n1", 1)
		}},
		{"no checkpoint", func(p *pb.ProveConsistencyResponse) { p.Checkpoint = "" }},
		{"a proof from fewer events", func(p *pb.ProveConsistencyResponse) { p.ProvenEvents-- }},
		{"a proof from none", func(p *pb.ProveConsistencyResponse) { p.ProvenEvents = 0 }},
		{"a loss that nobody has accepted", func(p *pb.ProveConsistencyResponse) {
			p.ProvenEvents--
			p.Loss = &pb.RecordLossAccepted{KnownCheckpoint: p.GetCheckpoint(), KeptEvents: p.GetProvenEvents(), Reason: "none"}
		}},
		{"a loss of everything", func(p *pb.ProveConsistencyResponse) {
			p.ProvenEvents = 0
			p.Loss = &pb.RecordLossAccepted{KnownCheckpoint: "somebody's", Reason: "none"}
		}},
	} {
		t.Run(tc.what, func(t *testing.T) {
			o := openOfRecord(t)
			b := newWitness(t, o.wire, "tablet-1")
			b.copied(o)
			b.stop()
			o.RecordAll(firstPump, shiftCheck) // something to prove
			b.conn = &liar{ClientConnInterface: b.conn, lie: tc.lie}
			b.start()
			b.alarmed("not the one this tablet saw before")
			name := b.begin(secondPump)
			b.answer(name, stationtest.Seen(windscreen, "sound"))
			b.await("what was recorded to wait", func() bool { return b.up.Link().Pending > 0 })
			if _, err := o.GetRound(context.Background(), &pb.GetRoundRequest{Name: name}); err == nil {
				t.Error("something was sent to a station that lies")
			}
		})
	}
}
