package round_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/grpc"

	"bayround/internal/fault"
	"bayround/internal/round"
	"bayround/internal/stationtest"
	"bayround/internal/trust"
	pb "bayround/proto/bayround/v1"
)

// faulty is a connection on which the opening of rounds fails as a test wants.
type faulty struct {
	grpc.ClientConnInterface
	mu    sync.Mutex
	fails map[string][]error // guarded by mu: by round, what comes instead of an answer, one after the other
	tries map[string][]time.Time
}

func (f *faulty) Invoke(ctx context.Context, method string, args, reply any, options ...grpc.CallOption) error {
	if open, ok := args.(*pb.OpenRoundRequest); ok {
		if err := f.fail(open.GetRound()); err != nil {
			return err
		}
	}
	return f.ClientConnInterface.Invoke(ctx, method, args, reply, options...)
}

func (f *faulty) fail(name string) (err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.tries[name] = append(f.tries[name], time.Now())
	if left := f.fails[name]; len(left) > 0 {
		err, f.fails[name] = left[0], left[1:]
	}
	return err
}

func (f *faulty) tried(name string) []time.Time {
	f.mu.Lock()
	defer f.mu.Unlock()
	return slices.Clone(f.tries[name])
}

// onFaulty puts a faulty connection between a tablet and its station.
func onFaulty(b *tablet) *faulty {
	b.stop()
	f := &faulty{ClientConnInterface: b.conn, fails: map[string][]error{}, tries: map[string][]time.Time{}}
	b.conn = f
	b.start()
	b.await("the station", b.up.Live)
	return f
}

// A station that cannot take a command now is asked again and again, and nothing
// overtakes it.
func TestUplink_TriesForEverWhatMayBeTakenLater(t *testing.T) {
	inBubble(t, func(t *testing.T, k *stationtest.Kit, b *tablet, _ *gate) {
		f := onFaulty(b)
		const name = "rounds/00000000-0000-4000-8000-00000000000a"
		for range 20 {
			f.fails[name] = append(f.fails[name],
				fault.New(fault.Unavailable, "STATION_STOPPING", "it stops"),
				fault.New(fault.Exhausted, "DISK_FULL", "no room"),
				fault.New(fault.Lost, "JOURNAL_DAMAGED", "a person must act"),
				context.DeadlineExceeded,
				fault.New(fault.Unidentified, "CERTIFICATE_REVOKED", "this tablet is let in no more"),
				fault.New(fault.Denied, trust.ReasonRole, "this is no tablet"),
			)
		}
		b.command(opening(name))
		b.answer(name, stationtest.Seen(windscreen, "sound"))
		b.sent()
		sameRecord(t, b.Station, k.Station)
		if l := b.up.Link(); len(l.Refused) != 0 {
			t.Errorf("refused: %+v", l.Refused)
		}
		tries := f.tried(name)
		if len(tries) != 121 {
			t.Fatalf("%d tries, want 121", len(tries))
		}
		for i := range tries[1:] {
			// In the bubble a pause takes exactly as long as was asked for.
			if pause := tries[i+1].Sub(tries[i]); pause < 50*time.Millisecond || pause > round.LongestPause {
				t.Errorf("%v between tries %d and %d", pause, i+1, i+2)
			}
		}
		if last := tries[120].Sub(tries[119]); last < round.LongestPause/2 {
			t.Errorf("the pauses do not grow: the last one is %v", last)
		}
	})
}

// A command that the station can never take because of a fault of its own does not
// hold up for ever what stands behind it.
func TestUplink_GivesUpOnACommandTheStationCannotStand(t *testing.T) {
	inBubble(t, func(t *testing.T, k *stationtest.Kit, b *tablet, _ *gate) {
		f := onFaulty(b)
		const poison, next = "rounds/00000000-0000-4000-8000-00000000000a", "rounds/00000000-0000-4000-8000-00000000000b"
		for range 100 {
			f.fails[poison] = append(f.fails[poison], errors.New("the station could not do this; its log says why"))
		}
		b.command(opening(poison))
		b.command(opening(next))
		b.sent()
		synctest.Wait()
		refused := b.up.Link().Refused
		if len(refused) != 1 || refused[0].ID != poison || !strings.Contains(refused[0].Message, "its log says why") {
			t.Errorf("refused: %+v", refused)
		}
		if n := len(f.tried(poison)); n != round.BugTries {
			t.Errorf("%d tries, want %d", n, round.BugTries)
		}
		if got := driven(t, k.Station); len(got) != 1 {
			t.Errorf("at the station: %v", got)
		}
	})
}

// Closing ends everything at once, also in the middle of silence and of tries: the
// bubble does not end while anything of it still runs.
func TestUplink_ClosesInTheMiddleOfEverything(t *testing.T) {
	inBubble(t, func(t *testing.T, _ *stationtest.Kit, b *tablet, g *gate) {
		b.await("the station", b.up.Live)
		g.shut()
		b.answer(b.begin(firstPump), stationtest.Seen(windscreen, "sound"))
		time.Sleep(6 * time.Second)
		began := time.Now()
		b.stop()
		if took := time.Since(began); took != 0 {
			t.Errorf("closing waited for %v", took)
		}
		g.unshut()
		b.start()
		b.sent()
	})
}

func opening(name string) *pb.OpenRoundRequest {
	return &pb.OpenRoundRequest{Round: name, Vehicle: firstPump, Routine: shiftCheck, Driver: "people/driver", Device: "tablet-1"}
}
