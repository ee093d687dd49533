package rpc

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// fakeCaller is the caller's end of a RecordResults stream: it sends what is put
// into send and keeps what it is answered.
type fakeCaller struct {
	grpc.ServerStream
	ctx     context.Context //nolint:containedctx // a ServerStream has one
	send    chan *pb.RecordResultsRequest
	answers chan *pb.RecordResultsResponse
}

func newFakeCaller(ctx context.Context) *fakeCaller {
	return &fakeCaller{ctx: ctx, send: make(chan *pb.RecordResultsRequest), answers: make(chan *pb.RecordResultsResponse, 1000)}
}

func (f *fakeCaller) Context() context.Context { return f.ctx }

func (f *fakeCaller) Recv() (*pb.RecordResultsRequest, error) {
	select {
	case req, more := <-f.send:
		if !more {
			return nil, io.EOF
		}
		return req, nil
	case <-f.ctx.Done():
		return nil, f.ctx.Err()
	}
}

func (f *fakeCaller) Send(answer *pb.RecordResultsResponse) error {
	f.answers <- answer
	return nil
}

func testChain(t *testing.T) *chain {
	t.Helper()
	validator, err := protovalidate.New()
	if err != nil {
		t.Fatal(err)
	}
	return &chain{logger: slog.New(slog.DiscardHandler), deadline: time.Minute, validator: validator, stop: newStopSignal()}
}

// uuid is the n-th of a row of UUIDs.
func uuid(n int) string { return fmt.Sprintf("00000000-0000-4000-8000-%012d", n) }

// soundResult is a valid record of one condition at a step.
func soundResult(n int, step string) *pb.RecordResultsRequest {
	return &pb.RecordResultsRequest{Record: &pb.RecordResultRequest{
		Round: "rounds/" + uuid(1),
		Result: &pb.Result{
			ResultId: uuid(n), StepId: step, Person: "people/tamsel-arkwith", Device: "tablet-1",
			DeviceTime: timestamppb.New(time.Date(2026, 2, 3, 7, 30, 0, 0, time.UTC)),
			Answer:     &pb.Result_Seen{Seen: &pb.ConditionsSeen{Conditions: []*pb.ConditionSeen{{Condition: "sound"}}}},
		},
	}}
}

func TestPipeline_AnswersInTheOrderSentAndHoldsTheWindow(t *testing.T) {
	const sent = 500
	var onTheWay, most atomic.Int64
	full := make(chan struct{})
	var once sync.Once
	rec := func(_ context.Context, req *pb.RecordResultRequest) (*pb.RecordResultResponse, error) {
		now := onTheWay.Add(1)
		defer onTheWay.Add(-1)
		for {
			seen := most.Load()
			if now <= seen || most.CompareAndSwap(seen, now) {
				break
			}
		}
		if now == window {
			once.Do(func() { close(full) })
		}
		<-full // nobody is done before the window has been full once
		return &pb.RecordResultResponse{ResultId: req.GetResult().GetResultId()}, nil
	}
	caller := newFakeCaller(t.Context())
	go func() {
		defer close(caller.send)
		for n := range sent {
			caller.send <- soundResult(n, fmt.Sprintf("LMP-020/lamp-%d", n))
		}
	}()
	if err := newPipeline(testChain(t), rec).run(caller); err != nil {
		t.Fatal(err)
	}
	for n := range sent {
		if answer := <-caller.answers; answer.GetResultId() != uuid(n) || answer.GetRecorded().GetResultId() != uuid(n) {
			t.Fatalf("answer %d = %v", n, answer)
		}
	}
	if documented := int64(64); most.Load() != documented {
		t.Errorf("up to %d results were on their way at once, want %d", most.Load(), documented)
	}
}

func TestPipeline_KeepsTheOrderOfOneStep(t *testing.T) {
	var mu sync.Mutex
	var order []string
	rec := func(_ context.Context, req *pb.RecordResultRequest) (*pb.RecordResultResponse, error) {
		mu.Lock()
		defer mu.Unlock()
		order = append(order, req.GetResult().GetResultId())
		return &pb.RecordResultResponse{}, nil
	}
	caller := newFakeCaller(t.Context())
	go func() {
		defer close(caller.send)
		for n := range 300 {
			caller.send <- soundResult(n, "FLU-010/engine-flap")
		}
	}()
	if err := newPipeline(testChain(t), rec).run(caller); err != nil {
		t.Fatal(err)
	}
	for n, id := range order {
		if id != uuid(n) {
			t.Fatalf("result %d of the step was recorded as number %d", n, indexOf(order, uuid(n)))
		}
	}
	if len(order) != 300 {
		t.Errorf("%d of 300 results were recorded", len(order))
	}
}

func indexOf(all []string, one string) int {
	for i, s := range all {
		if s == one {
			return i
		}
	}
	return -1
}

func TestPipeline_RefusesInBandAndGoesOn(t *testing.T) {
	rec := func(_ context.Context, req *pb.RecordResultRequest) (*pb.RecordResultResponse, error) {
		switch req.GetResult().GetResultId() {
		case uuid(1):
			return nil, fault.New(fault.Precondition, "VALUE_NOT_CONFIRMED", "confirm it").At("result.reading", "unusual")
		case uuid(2):
			return nil, errors.New("secret")
		case uuid(3):
			return nil, context.DeadlineExceeded
		}
		return &pb.RecordResultResponse{}, nil
	}
	broken := soundResult(4, "not a step")
	unreadable := &pb.RecordResultsRequest{}
	unreadable.ProtoReflect().SetUnknown(unreadableMark())
	caller := newFakeCaller(t.Context())
	go func() {
		defer close(caller.send)
		for _, req := range []*pb.RecordResultsRequest{soundResult(1, "ABC-001/x"), soundResult(2, "ABC-002/x"), soundResult(3, "ABC-003/x"), broken, {}, unreadable, soundResult(5, "ABC-001/x")} {
			caller.send <- req
		}
	}()
	if err := newPipeline(testChain(t), rec).run(caller); err != nil {
		t.Fatal(err)
	}
	for _, want := range []struct {
		id, reason string
		code       codes.Code
	}{
		{uuid(1), "VALUE_NOT_CONFIRMED", codes.FailedPrecondition},
		{uuid(2), "INTERNAL", codes.Internal},
		{uuid(3), "DEADLINE_EXCEEDED", codes.DeadlineExceeded},
		{uuid(4), "FIELDS_BREAK_RULES", codes.InvalidArgument},
		{"", "FIELDS_BREAK_RULES", codes.InvalidArgument},
		{"", "MESSAGE_UNREADABLE", codes.InvalidArgument},
		{uuid(5), "", codes.OK},
	} {
		got := <-caller.answers
		refused := got.GetRefused()
		if got.GetResultId() != want.id || refused.GetReason() != want.reason || codes.Code(refused.GetCode()) != want.code {
			t.Errorf("answer = %v, want %v", got, want)
		}
		if (want.code == codes.OK) != (got.GetRecorded() != nil) {
			t.Errorf("answer = %v", got)
		}
		if refused != nil && refused.GetMessage() == "" {
			t.Errorf("%v is refused without a word", want.id)
		}
	}
}

func TestPipeline_AnswersWhatIsOnItsWayWhenTheServerStops(t *testing.T) {
	c := testChain(t)
	begun, goOn := make(chan struct{}), make(chan struct{})
	rec := func(ctx context.Context, _ *pb.RecordResultRequest) (*pb.RecordResultResponse, error) {
		close(begun)
		<-goOn
		return &pb.RecordResultResponse{Sequence: 7}, ctx.Err()
	}
	ctx, release := c.stop.bind(t.Context())
	defer release()
	caller := newFakeCaller(ctx)
	ended := make(chan error)
	go func() { ended <- newPipeline(c, rec).run(caller) }()
	caller.send <- soundResult(1, "ABC-001/x")
	<-begun
	c.stop.send()
	<-ctx.Done()
	close(goOn)
	if err := <-ended; !errors.Is(err, context.Canceled) {
		t.Errorf("the stream ended with %v", err)
	}
	if answer := <-caller.answers; answer.GetRecorded().GetSequence() != 7 {
		t.Errorf("the result on its way was answered with %v", answer)
	}
}
