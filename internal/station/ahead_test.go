package station_test

import (
	"strconv"
	"strings"
	"sync"
	"testing"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// Whoever has seen the head count an event is shown what follows from it: the head
// and the states change together, not one after the other.
func TestGetCheckpoint_IsNeverAheadOfWhatIsShown(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	var requests []*pb.RecordResultRequest
	for range 400 {
		requests = append(requests, k.Request(round, stationtest.Seen(screen, "sound")))
	}
	done := make(chan struct{})
	var all sync.WaitGroup
	all.Go(func() {
		defer close(done)
		for _, r := range requests {
			if _, err := k.RecordResult(ctx, r); err != nil {
				t.Error(err)
			}
		}
	})
	for range 2 {
		all.Go(func() {
			for {
				select {
				case <-done:
					return
				default:
				}
				head, err := k.GetCheckpoint(ctx, &pb.GetCheckpointRequest{})
				if err != nil {
					t.Error(err)
					return
				}
				size, err := strconv.ParseInt(strings.Split(head.GetCheckpoint(), "\n")[1], 10, 64) // C2SP tlog-checkpoint: origin, size, root
				if err != nil {
					t.Error(err)
					return
				}
				shown := k.Readiness(p1).GetSequence()
				if shown < size {
					t.Errorf("the head counts %d events, the state shown after that rests on event %d", size, shown)
					return
				}
			}
		})
	}
	all.Wait()
}
