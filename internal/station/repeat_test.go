package station_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// Every command, sent again, gives the first answer and does nothing: at once,
// after other things have happened, and after a restart. The same id for
// something else is refused.
func TestCommands_RepeatedDoNothing(t *testing.T) {
	for _, c := range commands() {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := stationtest.Open(t)
			round := k.RecordAll(p1, shift)
			k.Record(round, stationtest.Seen(screen, "03"))
			if _, err := k.BeginStep(ctx, &pb.BeginStepRequest{RequestId: k.ID(), Round: round, StepId: pump}); err != nil {
				t.Fatal(err)
			}
			if c.ends {
				if _, err := k.MakeSafe(ctx, &pb.MakeSafeRequest{RequestId: k.ID(), Round: round, StepIds: []string{pump}}); err != nil {
					t.Fatal(err)
				}
			}
			send, other := c.prepare(k, round)
			first, err := send()
			if err != nil {
				t.Fatal(err)
			}
			size := events(t, k)
			again := func(when string) {
				t.Helper()
				got, err := send()
				if err != nil {
					t.Fatalf("%s: %v", when, err)
				}
				want := proto.Clone(first)
				if r, ok := want.(*pb.RecordResultResponse); ok {
					r.RepeatedBefore = true
				}
				if d := diff(want, got); d != "" {
					t.Errorf("%s: the second answer differs (first: -)\n%s", when, d)
				}
				if n := events(t, k); n != size {
					t.Errorf("%s: %d events, want %d", when, n, size)
				}
			}
			again("at once")
			k.Clock.Advance(20 * time.Hour)
			k.OpenRound(p1, shift)
			size++
			again("a day later")
			k.Reopen()
			again("after a restart")
			_, err = other()
			refusal{fault.Exists, "COMMAND_ID_REUSED"}.check(t, err)
		})
	}
}

// events counts the events of the journal.
func events(t *testing.T, k *stationtest.Kit) (n int) {
	t.Helper()
	follow(t, k, "", func(*pb.JournalEvent) { n++ })
	return n
}

type sender func() (proto.Message, error)

// commandCase is one command; prepare makes what sends it, and what sends
// another request with the same id.
type commandCase struct {
	name    string
	ends    bool // the round must be free of undone things
	prepare func(k *stationtest.Kit, round string) (send, other sender)
}

func commands() []commandCase {
	return []commandCase{
		{"Apply", false, func(k *stationtest.Kit, _ string) (sender, sender) {
			req := &pb.ApplyRequest{RequestId: k.ID(), Files: k.Altered("call_sign: Q1", "call_sign: Q7")}
			return func() (proto.Message, error) { return k.Apply(ctx, req) },
				func() (proto.Message, error) {
					return k.Apply(ctx, &pb.ApplyRequest{RequestId: req.GetRequestId(), Files: k.Altered("call_sign: Q1", "call_sign: Q8")})
				}
		}},
		{"Apply of nothing new", false, func(k *stationtest.Kit, _ string) (sender, sender) {
			req := &pb.ApplyRequest{RequestId: k.ID(), Files: k.Altered()}
			return func() (proto.Message, error) { return k.Apply(ctx, req) },
				func() (proto.Message, error) {
					return k.Apply(ctx, &pb.ApplyRequest{RequestId: req.GetRequestId(), Files: k.Altered("call_sign: Q1", "call_sign: Q8")})
				}
		}},
		{"OpenRound", false, func(k *stationtest.Kit, _ string) (sender, sender) {
			req := &pb.OpenRoundRequest{Round: "rounds/" + k.ID(), Vehicle: p1, Routine: shift, Driver: "people/driver", Device: "tablet-1"}
			return func() (proto.Message, error) { return k.Station.OpenRound(ctx, req) },
				func() (proto.Message, error) {
					r := proto.CloneOf(req)
					r.Vehicle = p2
					return k.Station.OpenRound(ctx, r)
				}
		}},
		{"PauseRound", false, func(k *stationtest.Kit, round string) (sender, sender) {
			req := &pb.PauseRoundRequest{RequestId: k.ID(), Round: round, Note: "turnout"}
			return func() (proto.Message, error) { return k.PauseRound(ctx, req) },
				func() (proto.Message, error) {
					return k.PauseRound(ctx, &pb.PauseRoundRequest{RequestId: req.GetRequestId(), Round: round, Note: "tea"})
				}
		}},
		{"ResumeRound", false, func(k *stationtest.Kit, round string) (sender, sender) {
			req := &pb.ResumeRoundRequest{RequestId: k.ID(), Round: round, Conditions: &pb.RoundConditions{EngineStopped: timestamppb.New(stationtest.Morning)}}
			return func() (proto.Message, error) { return k.ResumeRound(ctx, req) },
				func() (proto.Message, error) {
					return k.ResumeRound(ctx, &pb.ResumeRoundRequest{RequestId: req.GetRequestId(), Round: round})
				}
		}},
		{"FinishRound", true, func(k *stationtest.Kit, round string) (sender, sender) {
			req := &pb.FinishRoundRequest{RequestId: k.ID(), Round: round, Note: "screen shattered"}
			return func() (proto.Message, error) { return k.FinishRound(ctx, req) },
				func() (proto.Message, error) {
					return k.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: req.GetRequestId(), Round: round})
				}
		}},
		{"GiveUpRound", true, func(k *stationtest.Kit, round string) (sender, sender) {
			req := &pb.GiveUpRoundRequest{RequestId: k.ID(), Round: round, Note: "no time"}
			return func() (proto.Message, error) { return k.GiveUpRound(ctx, req) },
				func() (proto.Message, error) { // the same id for another kind of command
					return k.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: req.GetRequestId(), Round: round, Note: "no time"})
				}
		}},
		{"BeginStep", false, func(k *stationtest.Kit, round string) (sender, sender) {
			req := &pb.BeginStepRequest{RequestId: k.ID(), Round: round, StepId: oil}
			return func() (proto.Message, error) { return k.BeginStep(ctx, req) },
				func() (proto.Message, error) {
					return k.BeginStep(ctx, &pb.BeginStepRequest{RequestId: req.GetRequestId(), Round: round, StepId: pump})
				}
		}},
		{"MakeSafe", false, func(k *stationtest.Kit, round string) (sender, sender) {
			req := &pb.MakeSafeRequest{RequestId: k.ID(), Round: round, StepIds: []string{pump}}
			return func() (proto.Message, error) { return k.MakeSafe(ctx, req) },
				func() (proto.Message, error) {
					return k.MakeSafe(ctx, &pb.MakeSafeRequest{RequestId: req.GetRequestId(), Round: round, StepIds: []string{oil}})
				}
		}},
		{"RecordResult", false, func(k *stationtest.Kit, round string) (sender, sender) {
			req := k.Request(round, stationtest.Read(outer, "pressure", 6.9, "bar"))
			return func() (proto.Message, error) { return k.RecordResult(ctx, req) },
				func() (proto.Message, error) {
					r := stationtest.Read(outer, "pressure", 8, "bar")
					r.ResultId = req.GetResult().GetResultId()
					return k.TryRecord(round, r)
				}
		}},
		{"RecordRepair", false, func(k *stationtest.Kit, _ string) (sender, sender) {
			req := &pb.RecordRepairRequest{RequestId: k.ID(), Defect: k.Readiness(p1).GetOpenDefects()[0].GetName(), Person: "people/mechanic", Done: "new glass"}
			return func() (proto.Message, error) { return k.RecordRepair(ctx, req) },
				func() (proto.Message, error) {
					r := proto.CloneOf(req)
					r.Done = "taped"
					return k.RecordRepair(ctx, r)
				}
		}},
	}
}
