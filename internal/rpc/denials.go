package rpc

import (
	"cmp"
	"context"
	"crypto/rand"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"time"

	"bayround/internal/station"
	"bayround/internal/trust"
	pb "bayround/proto/bayround/v1"
)

const (
	// denialsEvery is how often refusals are written into the record, all in one:
	// whoever knocks a thousand times must not fill it.
	denialsEvery = 10 * time.Minute
	// mostDenials bounds how many kinds of refusal are told apart meanwhile.
	mostDenials = 50
)

// denial is one kind of refusal.
type denial struct {
	client, address, method, reason string
	role                            pb.ClientRole
}

// denials counts refusals until they are written into the record.
type denials struct {
	station *station.Station
	logger  *slog.Logger
	every   time.Duration
	ring    chan struct{} // holds one when there is something to write

	mu    sync.Mutex
	count map[denial]int64 // guarded by mu
	left  int32            // guarded by mu: further ones that found no place
}

func newDenials(st *station.Station, logger *slog.Logger, every time.Duration) *denials {
	return &denials{station: st, logger: logger, every: every, ring: make(chan struct{}, 1), count: map[denial]int64{}}
}

// note counts one refusal. Of who showed no certificate that counts, nothing is told
// but the address.
func (d *denials) note(c trust.Caller, address, method, reason string) {
	one := denial{client: c.Name, role: c.Role, address: address, method: method, reason: reason}
	d.mu.Lock()
	defer d.mu.Unlock()
	if _, known := d.count[one]; known || len(d.count) < mostDenials {
		d.count[one]++
	} else {
		d.left++
	}
	select {
	case d.ring <- struct{}{}:
	default:
	}
}

// run writes what was counted until ctx ends, and then once more.
func (d *denials) run(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			d.write()
			return
		case <-d.ring:
		}
		pause := time.NewTimer(d.every)
		select {
		case <-ctx.Done():
		case <-pause.C:
		}
		pause.Stop()
		d.write()
	}
}

// take takes what was counted.
func (d *denials) take() *pb.AccessDenied {
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.count) == 0 {
		return nil
	}
	told := &pb.AccessDenied{LeftOut: d.left}
	for _, one := range slices.Collect(maps.Keys(d.count)) {
		told.Denials = append(told.Denials, &pb.Denial{
			Client: one.client, Role: one.role, Address: one.address, Method: one.method, Reason: one.reason, Count: d.count[one],
		})
	}
	slices.SortFunc(told.Denials, func(a, b *pb.Denial) int {
		return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.Method, b.Method), cmp.Compare(a.Reason, b.Reason),
			cmp.Compare(a.Client, b.Client), cmp.Compare(a.Address, b.Address))
	})
	d.count, d.left = map[denial]int64{}, 0
	return told
}

// write puts what was counted into the record. What the record does not take now
// stands in the log.
func (d *denials) write() {
	told := d.take()
	if told == nil {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	err := d.station.RecordTrust(ctx, rand.Text(), &pb.JournalEvent{Event: &pb.JournalEvent_AccessDenied{AccessDenied: told}})
	if err != nil {
		d.logger.Warn("calls were refused, and the record could not be told", "denials", told.String(), "cause", err)
	}
}

// summing is the goroutine that sums denials up while a server serves.
type summing struct {
	denials *denials
	over    context.Context //nolint:containedctx // used as a signal, as stopSignal does
	cancel  context.CancelFunc
	runs    sync.WaitGroup

	mu    sync.Mutex
	begun bool // guarded by mu
}

func newSumming(d *denials) *summing {
	over, cancel := context.WithCancel(context.Background())
	return &summing{denials: d, over: over, cancel: cancel}
}

// begin starts it; calling it again, or after end, does nothing: a server may be stopped
// before it serves.
func (s *summing) begin() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.begun || s.over.Err() != nil {
		return
	}
	s.begun = true
	s.runs.Go(func() { s.denials.run(s.over) })
}

// end writes what is left and waits.
func (s *summing) end() {
	s.mu.Lock()
	s.cancel()
	s.mu.Unlock()
	s.runs.Wait()
}
