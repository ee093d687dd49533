package rpc

import (
	"time"

	"google.golang.org/grpc"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// reasonTooSlow is the reason a stream ends with whose reader takes nothing.
const reasonTooSlow = "READER_TOO_SLOW"

// telling is one stream whose reader may take nothing for so long only: one that
// hangs must not hold a stream for ever.
type telling[M any] struct {
	stream   grpc.ServerStreamingServer[M]
	patience time.Duration
	messages chan *M
	sent     chan error // holds one, so that nobody need wait for it
}

// tell begins a stream to a reader; whoever begins it ends it.
func tell[M any](c *chain, stream grpc.ServerStreamingServer[M]) *telling[M] {
	t := &telling[M]{stream: stream, patience: c.patience, messages: make(chan *M), sent: make(chan error, 1)}
	c.sending.Go(t.sending)
	return t
}

// sending passes on messages until end; it has a goroutine of its own. A Send
// that hangs when the handler returns comes back then, for gRPC ends the stream.
func (t *telling[M]) sending() {
	for m := range t.messages {
		t.sent <- t.stream.Send(m)
	}
}

// end lets sending come back.
func (t *telling[M]) end() { close(t.messages) }

// send sends one message and waits for as long as the reader may take; goOn says
// how to go on where that was not long enough.
func (t *telling[M]) send(m *M, goOn func() string) error {
	hangs := time.NewTimer(t.patience)
	defer hangs.Stop()
	t.messages <- m
	select {
	case err := <-t.sent:
		return err
	case <-t.stream.Context().Done():
		return t.stream.Context().Err()
	case <-hangs.C:
		return fault.New(fault.Unavailable, reasonTooSlow, "nothing was taken from this stream for %v, so it was ended; %s", t.patience, goOn())
	}
}

// following is one stream of events. Whoever takes none of them for too long is
// told to come back.
type following struct {
	*telling[pb.FollowResponse]
	token string // of the newest message that was taken; from it one goes on
}

func (f *following) send(m *pb.FollowResponse) error {
	err := f.telling.send(m, f.goOn)
	if err == nil {
		f.token = m.GetToken()
	}
	return err
}

func (f *following) goOn() string {
	if f.token == "" {
		return "follow again without a token"
	}
	return "follow again with the token " + f.token
}
