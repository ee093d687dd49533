package station_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// follow takes every event from a token to the end and returns the last token.
func follow(t testing.TB, k *stationtest.Kit, token string, take func(*pb.JournalEvent)) string {
	t.Helper()
	err := k.Follow(ctx, &pb.FollowRequest{Token: token, StopAtEnd: true}, func(m *pb.FollowResponse) error {
		token = m.GetToken()
		for _, ev := range m.GetEvents().GetEvents() {
			take(ev)
		}
		return nil
	})
	if err != nil {
		t.Fatalf("following: %v", err)
	}
	return token
}

// reader follows the journal over many streams and holds each message against
// what is promised. The words are those of etcd's robustness tests of watches
// (tests/robustness/validate/watch.go): ordered, unique, reliable, atomic,
// resumable, bookmarkable.
type reader struct {
	token    string
	sequence int64  // newest that was read
	command  string // of the newest
	wrong    []string
	records  [][]byte
}

func (r *reader) take(m *pb.FollowResponse) {
	complain := func(format string, args ...any) { r.wrong = append(r.wrong, fmt.Sprintf(format, args...)) }
	r.token = m.GetToken()
	if b := m.GetBookmark(); b != nil {
		if b.GetSequence() != r.sequence { // bookmarkable
			complain("bookmark %d after event %d", b.GetSequence(), r.sequence)
		}
		return
	}
	events := m.GetEvents().GetEvents()
	if len(events) == 0 || len(m.GetEvents().GetRecords()) != len(events) {
		complain("%d events with %d records", len(events), len(m.GetEvents().GetRecords()))
	}
	for i, ev := range events {
		if ev.GetSequence() != r.sequence+1 { // ordered, unique, reliable
			complain("event %d after event %d", ev.GetSequence(), r.sequence)
		}
		if i > 0 && ev.GetCommandId() != r.command || i == 0 && ev.GetCommandId() == r.command { // atomic
			complain("event %d of %s beside an event of %s", ev.GetSequence(), ev.GetCommandId(), r.command)
		}
		var read pb.JournalEvent
		if err := proto.Unmarshal(m.GetEvents().GetRecords()[i], &read); err != nil || !proto.Equal(&read, ev) {
			complain("record %d is not the event: %v", ev.GetSequence(), err)
		}
		r.sequence, r.command = ev.GetSequence(), ev.GetCommandId()
		r.records = append(r.records, m.GetEvents().GetRecords()[i])
	}
}

// Streams are cut at random, also by restarts of the station, and taken up
// with the last token, while others write.
func TestFollow_KeepsItsPromises(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		k := stationtest.Open(t)
		defer k.Close()
		r := &reader{}
		for range rapid.IntRange(1, 6).Draw(rt, "spans") {
			writing := write(t, k, rapid.IntRange(1, 30).Draw(rt, "results"))
			for range rapid.IntRange(1, 4).Draw(rt, "streams") {
				r.read(rt, k, rapid.IntRange(1, 20).Draw(rt, "messages"))
			}
			writing()
			if rapid.Bool().Draw(rt, "restart") {
				k.Reopen()
			}
		}
		err := k.Follow(ctx, &pb.FollowRequest{Token: r.token, IncludeRecords: true, StopAtEnd: true}, func(m *pb.FollowResponse) error {
			r.take(m)
			return nil
		})
		whole := &reader{}
		err = errors.Join(err, k.Follow(ctx, &pb.FollowRequest{IncludeRecords: true, StopAtEnd: true}, func(m *pb.FollowResponse) error {
			whole.take(m)
			return nil
		}))
		if wrong := append(r.wrong, whole.wrong...); err != nil || len(wrong) > 0 {
			rt.Fatalf("%v\n%s", err, strings.Join(wrong, "\n"))
		}
		if !bytes.Equal(bytes.Join(r.records, nil), bytes.Join(whole.records, nil)) || r.sequence != int64(len(whole.records)) {
			rt.Fatalf("in pieces %d events, whole %d, or other bytes", len(r.records), len(whole.records))
		}
	})
}

// errEnough ends a stream.
var errEnough = errors.New("enough for now")

// read follows for some messages, or to the end when there are fewer.
func (r *reader) read(t fataler, k *stationtest.Kit, messages int) {
	err := k.Follow(ctx, &pb.FollowRequest{Token: r.token, IncludeRecords: true, StopAtEnd: true}, func(m *pb.FollowResponse) error {
		r.take(m)
		if messages--; messages == 0 {
			return errEnough
		}
		return nil
	})
	if err != nil && !errors.Is(err, errEnough) {
		t.Fatal(err)
	}
}

// write records results from two devices, each several at a time, and applies
// files of several things meanwhile; the function that is returned waits for the end.
func write(t *testing.T, k *stationtest.Kit, results int) (wait func()) {
	rounds := []string{k.OpenRound(p1, shift), k.OpenRound(p2, shift)}
	var writers sync.WaitGroup
	for _, round := range rounds {
		var requests []*pb.RecordResultRequest
		for range results {
			requests = append(requests, k.Request(round, stationtest.Seen(screen, "sound")))
		}
		const atATime = 4 // which share a sync
		for first := range atATime {
			writers.Go(func() {
				for i := first; i < len(requests); i += atATime {
					if _, err := k.RecordResult(ctx, requests[i]); err != nil {
						t.Error(err)
					}
				}
			})
		}
	}
	id := k.ID()
	sign := "call_sign: X" + id[len(id)-4:]
	apply := &pb.ApplyRequest{RequestId: id, Files: k.Altered("call_sign: Q1", sign, "call_sign: Q2", sign)}
	writers.Go(func() {
		if _, err := k.Apply(ctx, apply); err != nil {
			t.Error(err)
		}
	})
	return writers.Wait
}

func TestFollow_TokensOfOthersAreRefused(t *testing.T) {
	k, other := stationtest.Open(t), stationtest.Open(t)
	k.OpenRound(p1, shift)
	token := follow(t, k, "", func(*pb.JournalEvent) {})
	parts := strings.Split(token, ".")
	for name, tc := range map[string]struct {
		token string
		want  refusal
	}{
		"its own":                 {token, refusal{}},
		"none":                    {"", refusal{}},
		"of another journal":      {follow(t, other, "", func(*pb.JournalEvent) {}), refusal{fault.Precondition, "JOURNAL_DIFFERS"}},
		"of a later event":        {parts[0] + ".99." + parts[2], refusal{fault.Precondition, "JOURNAL_DIFFERS"}},
		"of another history":      {parts[0] + "." + parts[1] + ".0123456789abcdef", refusal{fault.Precondition, "JOURNAL_DIFFERS"}},
		"nonsense":                {"nonsense", refusal{fault.Invalid, "TOKEN_UNREADABLE"}},
		"without a number":        {parts[0] + ".x." + parts[2], refusal{fault.Invalid, "TOKEN_UNREADABLE"}},
		"with a number too great": {parts[0] + ".99999999999999999999." + parts[2], refusal{fault.Invalid, "TOKEN_UNREADABLE"}},
	} {
		t.Run(name, func(t *testing.T) {
			err := k.Follow(ctx, &pb.FollowRequest{Token: tc.token, StopAtEnd: true}, func(*pb.FollowResponse) error { return nil })
			tc.want.check(t, err)
		})
	}
}

// While nothing happens there is a bookmark at least every five seconds; what
// happens is told at once; the stream ends when the station stops.
func TestFollow_WaitsWithBookmarks(t *testing.T) {
	bubble(t, func(t *testing.T, k *stationtest.Kit) {
		following, cancel := context.WithCancel(context.Background())
		defer cancel()
		messages, ended := make(chan *pb.FollowResponse), make(chan error, 1)
		go func() {
			ended <- k.Follow(following, &pb.FollowRequest{}, func(m *pb.FollowResponse) error {
				messages <- m
				return nil
			})
		}()
		last := time.Now()
		var sequence int64
		for range 20 {
			m := <-messages
			if gap := time.Since(last); gap > 5*time.Second {
				t.Fatalf("nothing for %v", gap)
			}
			if all := m.GetEvents().GetEvents(); len(all) > 0 {
				sequence = all[len(all)-1].GetSequence()
			} else if m.GetBookmark().GetSequence() != sequence {
				t.Fatalf("bookmark %v, newest event %d", m, sequence)
			}
			last = time.Now()
		}
		synctest.Wait()
		before := time.Now()
		k.OpenRound(p1, shift)
		for m := range messages {
			if ev := m.GetEvents().GetEvents(); len(ev) > 0 {
				if ev[0].GetRoundOpened() == nil || time.Since(before) > time.Millisecond {
					t.Errorf("after %v: %v", time.Since(before), ev)
				}
				break
			}
		}
		go func() {
			for range messages {
			}
		}()
		if err := k.Station.Close(); err != nil {
			t.Error(err)
		}
		refusal{fault.Unavailable, "STATION_STOPPING"}.check(t, <-ended)
		close(messages)
	})
}
