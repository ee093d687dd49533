package rpc

import (
	"time"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// reasonTooSlow is the reason a stream ends with whose reader takes nothing.
const reasonTooSlow = "READER_TOO_SLOW"

// following is one stream of events. Whoever takes none of them for too long is
// told to come back: a reader that hangs must not hold a stream for ever.
type following struct {
	stream   pb.JournalService_FollowServer
	patience time.Duration
	token    string // of the newest message that was taken; from it one goes on

	messages chan *pb.FollowResponse
	sent     chan error // holds one, so that nobody need wait for it
}

// sending passes on messages until end; it has a goroutine of its own. A Send
// that hangs when the handler returns comes back then, for gRPC ends the stream.
func (f *following) sending() {
	for m := range f.messages {
		f.sent <- f.stream.Send(m)
	}
}

// end lets sending come back.
func (f *following) end() { close(f.messages) }

// send sends one message and waits for as long as the reader may take.
func (f *following) send(m *pb.FollowResponse) error {
	hangs := time.NewTimer(f.patience)
	defer hangs.Stop()
	f.messages <- m
	select {
	case err := <-f.sent:
		if err == nil {
			f.token = m.GetToken()
		}
		return err
	case <-f.stream.Context().Done():
		return f.stream.Context().Err()
	case <-hangs.C:
		return f.tooSlow()
	}
}

func (f *following) tooSlow() error {
	where := "without a token"
	if f.token != "" {
		where = "with the token " + f.token
	}
	return fault.New(fault.Unavailable, reasonTooSlow,
		"nothing was taken from this stream for %v, so it was ended; follow again %s", f.patience, where)
}
