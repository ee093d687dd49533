package station

import (
	"context"
	"errors"
	"time"

	"bayround/internal/journal"
	"bayround/internal/merkle"
	pb "bayround/proto/bayround/v1"
)

// bookmarkEvery keeps the promise of a bookmark at least every five seconds.
const bookmarkEvery = 4 * time.Second

// Follow sends every event from a token on, as JournalService promises, until
// ctx ends or send fails; it returns their error. Events are read from the
// journal: there is no queue, and a slow reader delays only itself.
func (s *Station) Follow(ctx context.Context, req *pb.FollowRequest, send func(*pb.FollowResponse) error) error {
	sequence, err := s.resume(req.GetToken())
	if err != nil {
		return err
	}
	token := req.GetToken()
	if token == "" {
		token = followToken(s.journal.ID(), 0, nil)
	}
	f := follower{station: s, records: req.GetIncludeRecords(), send: send, sequence: sequence, token: token, marked: time.Now()}
	for {
		if err := f.catchUp(ctx); err != nil {
			return err
		}
		if req.GetStopAtEnd() {
			return f.bookmark()
		}
		if err := f.await(ctx); err != nil {
			return err
		}
	}
}

// follower is one stream; it belongs to the goroutine that follows.
type follower struct {
	station  *Station
	records  bool
	send     func(*pb.FollowResponse) error
	sequence uint64 // newest that was sent
	token    string // of that
	marked   time.Time
	gathered *pb.FollowResponse // events of a command that may go on
}

// catchUp sends what the journal holds. Commands are stored whole, so the
// command at the end is whole too.
func (f *follower) catchUp(ctx context.Context) error {
	f.gathered = nil
	err := f.station.journal.Events(ctx, f.sequence+1, func(sequence uint64, record []byte) error {
		if isClosed(f.station.closing) {
			return stopping()
		}
		if err := f.passDropped(sequence); err != nil {
			return err
		}
		ev, err := parseEvent(sequence, record)
		if err != nil {
			return err
		}
		if f.gathered != nil && f.gathered.GetEvents().GetEvents()[0].GetCommandId() != ev.GetCommandId() {
			if err := f.flush(); err != nil {
				return err
			}
		}
		f.gather(ev, sequence, record)
		return nil
	})
	if err != nil {
		return err
	}
	return f.flush()
}

// maxDroppedHashes is how many hashes of dropped events one message holds.
const maxDroppedHashes = 4096

// passDropped sends the hashes of the dropped events that lie before an event. The
// newest event of a journal is never dropped, so there always is one behind them.
func (f *follower) passDropped(before uint64) error {
	newest := f.sequence
	if f.gathered != nil {
		all := f.gathered.GetEvents().GetEvents()
		newest = uint64(all[len(all)-1].GetSequence())
	}
	if newest+1 == before {
		return nil
	}
	if err := f.flush(); err != nil { // commands are dropped whole
		return err
	}
	for first := newest + 1; first < before; first += maxDroppedHashes {
		last := min(first+maxDroppedHashes, before) - 1
		leaves, err := f.station.journal.Leaves(journal.Span{First: first, Last: last})
		if err != nil {
			return err
		}
		events := &pb.CommandEvents{DroppedFirstSequence: int64(first), DroppedLeafHashes: merkle.Bytes(leaves)}
		token := followToken(f.station.journal.ID(), last, nil)
		if err := f.send(&pb.FollowResponse{Token: token, Message: &pb.FollowResponse_Events{Events: events}}); err != nil {
			return err
		}
		f.sequence, f.token = last, token
	}
	return nil
}

// gather adds an event to the command that is under way.
func (f *follower) gather(ev *pb.JournalEvent, sequence uint64, record []byte) {
	if f.gathered == nil {
		f.gathered = &pb.FollowResponse{Message: &pb.FollowResponse_Events{Events: &pb.CommandEvents{}}}
	}
	events := f.gathered.GetEvents()
	events.Events = append(events.Events, ev)
	if f.records {
		events.Records = append(events.Records, record)
	}
	f.gathered.Token = followToken(f.station.journal.ID(), sequence, record)
}

// flush sends the command that was gathered, and a bookmark when it is time.
func (f *follower) flush() error {
	if f.gathered == nil {
		return nil
	}
	message := f.gathered
	f.gathered = nil
	if err := f.send(message); err != nil {
		return err
	}
	all := message.GetEvents().GetEvents()
	f.sequence, f.token = uint64(all[len(all)-1].GetSequence()), message.GetToken()
	if time.Since(f.marked) >= bookmarkEvery {
		return f.bookmark()
	}
	return nil
}

func (f *follower) bookmark() error {
	f.marked = time.Now()
	return f.send(&pb.FollowResponse{
		Token:   f.token,
		Message: &pb.FollowResponse_Bookmark{Bookmark: &pb.Bookmark{Sequence: int64(f.sequence)}},
	})
}

// await waits for the journal to grow, and bookmarks meanwhile.
func (f *follower) await(ctx context.Context) error {
	for {
		if isClosed(f.station.closing) {
			return stopping()
		}
		waiting, cancel := context.WithDeadline(ctx, f.marked.Add(bookmarkEvery))
		err := f.station.journal.Wait(waiting, f.sequence)
		cancel()
		switch {
		case err == nil:
			return nil
		case ctx.Err() != nil:
			return ctx.Err()
		case isClosed(f.station.closing):
			return stopping()
		case !errors.Is(err, context.DeadlineExceeded):
			return err
		}
		if err := f.bookmark(); err != nil {
			return err
		}
	}
}
