package rpc

import (
	"context"
	"errors"
	"io"

	pb "bayround/proto/bayround/v1"
)

// window is how many results of one stream may be on their way at once. They
// share the journal's syncs; beyond it flow control holds the caller back.
const window = 64

// record is what a pipeline does with each result.
type record func(context.Context, *pb.RecordResultRequest) (*pb.RecordResultResponse, error)

// pipeline carries one RecordResults stream: results are read as they come,
// recorded side by side, and answered in the order they came. All of it but the
// recording and the reading happens on the goroutine of the handler.
type pipeline struct {
	chain  *chain
	record record
	queue  []*pending // on their way, in the order they came
	// newest is the last result on its way for each round and step. What comes
	// for the same step waits for it: a cure refers to the result before it.
	newest map[string]*pending
}

// pending is one result on its way.
type pending struct {
	step   string
	done   chan struct{}             // closed once answer is set
	answer *pb.RecordResultsResponse // what the caller will be told
}

// arrival is what the caller sent, or why nothing more comes.
type arrival struct {
	req *pb.RecordResultsRequest
	err error
}

func newPipeline(c *chain, r record) *pipeline {
	return &pipeline{chain: c, record: r, newest: map[string]*pending{}}
}

// run carries the stream to its end: the caller has sent everything, went away,
// or the server stops. What is on its way then is still answered.
func (p *pipeline) run(stream pb.RoundService_RecordResultsServer) error {
	ctx := stream.Context()
	arrivals := receive(stream)
	var ended error // why nothing more is read; nil when the caller had no more to say
	for arrivals != nil || len(p.queue) > 0 {
		select {
		case a := <-unlessFull(arrivals, len(p.queue)):
			if a.err == nil {
				p.start(ctx, a.req)
				continue
			}
			arrivals = nil
			if !errors.Is(a.err, io.EOF) {
				ended = a.err
			}
		case <-p.firstDone():
			if err := p.answerFirst(stream); err != nil {
				return err
			}
		case <-unlessEnded(ctx, arrivals):
			arrivals, ended = nil, ctx.Err()
		}
	}
	return ended
}

// receive reads the stream until it ends or the handler has returned, whichever
// comes first; gRPC ends a read that is still waiting then.
func receive(stream pb.RoundService_RecordResultsServer) <-chan arrival {
	arrivals := make(chan arrival)
	ctx := stream.Context()
	go func() {
		for {
			req, err := stream.Recv()
			select {
			case arrivals <- arrival{req: req, err: err}:
			case <-ctx.Done():
				return
			}
			if err != nil {
				return
			}
		}
	}()
	return arrivals
}

// start sets a result on its way.
func (p *pipeline) start(ctx context.Context, req *pb.RecordResultsRequest) {
	one := req.GetRecord()
	now := &pending{step: one.GetRound() + " " + one.GetResult().GetStepId(), done: make(chan struct{})}
	before := p.newest[now.step]
	p.queue = append(p.queue, now)
	p.newest[now.step] = now
	go func() {
		defer close(now.done)
		if before != nil {
			<-before.done
		}
		now.answer = p.recordOne(ctx, req)
	}()
}

// recordOne records a result and says how it went. A result that has begun is
// carried through, also when the caller has gone or the server stops meanwhile.
func (p *pipeline) recordOne(ctx context.Context, req *pb.RecordResultsRequest) *pb.RecordResultsResponse {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), p.chain.deadline)
	defer cancel()
	answer := &pb.RecordResultsResponse{ResultId: req.GetRecord().GetResult().GetResultId()}
	resp, err := p.checkAndRecord(ctx, req)
	if err != nil {
		answer.Outcome = &pb.RecordResultsResponse_Refused{Refused: p.chain.refusal(ctx, err)}
		return answer
	}
	answer.Outcome = &pb.RecordResultsResponse_Recorded{Recorded: resp}
	return answer
}

func (p *pipeline) checkAndRecord(ctx context.Context, req *pb.RecordResultsRequest) (*pb.RecordResultResponse, error) {
	if err := p.chain.check(req); err != nil {
		return nil, err
	}
	return p.record(ctx, req.GetRecord())
}

// firstDone is when the result that must be answered next can be; never while
// none is on its way.
func (p *pipeline) firstDone() <-chan struct{} {
	if len(p.queue) == 0 {
		return nil
	}
	return p.queue[0].done
}

func (p *pipeline) answerFirst(stream pb.RoundService_RecordResultsServer) error {
	first := p.queue[0]
	p.queue = p.queue[1:]
	if p.newest[first.step] == first {
		delete(p.newest, first.step)
	}
	return stream.Send(first.answer)
}

// unlessFull holds arrivals back while the window is full.
func unlessFull(arrivals <-chan arrival, onTheirWay int) <-chan arrival {
	if onTheirWay >= window {
		return nil
	}
	return arrivals
}

// unlessEnded is the end of ctx, as long as the stream is still read.
func unlessEnded(ctx context.Context, arrivals <-chan arrival) <-chan struct{} {
	if arrivals == nil {
		return nil
	}
	return ctx.Done()
}
