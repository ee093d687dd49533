package station

import (
	"context"
	"errors"
	"sync"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/journal"
	pb "bayround/proto/bayround/v1"
)

const (
	// scrubEvery is how long after one whole reading of the record began the next begins.
	scrubEvery = 24 * time.Hour
	// unreadAfter is how long the record may run without a whole reading having ended.
	unreadAfter = 49 * time.Hour
	// rowsCheckedTo is of how many events at most the daily scrub makes the rows anew in
	// memory: for each result the rules are asked again, which was measured to take
	// about a millisecond and 2 KiB an event. Beyond, and in the reading right after a
	// start, which is to end soon, what vouches for the rows is the store's checksum
	// over each of its tables, which is checked when a table is opened.
	rowsCheckedTo = 30_000
)

// scrubs is what whole readings of the record have found.
type scrubs struct {
	mu     sync.Mutex
	newest *pb.RecordScrub // guarded by mu: nil while none has ended; never changed, replaced
	ended  time.Time       // guarded by mu: when that was, with the clock's monotonic reading
}

// KeepScrubbing reads the whole record through: at once, and then daily, until ctx
// ends. ticks says how time passes, once an hour or so; only how far apart they are
// counts. It must have returned before Close is called.
func (s *Station) KeepScrubbing(ctx context.Context, began time.Time, ticks <-chan time.Time) {
	k := scrubbing{station: s, now: began, begun: began, ended: began, results: make(chan error)}
	k.begin(ctx, false)
	for {
		select {
		case err := <-k.results:
			k.end(err)
		case k.now = <-ticks:
			k.look(ctx)
		case <-ctx.Done():
			if k.running {
				<-k.results
			}
			return
		}
	}
}

// scrubbing is when the record was read; it belongs to the goroutine that keeps it.
type scrubbing struct {
	station *Station
	now     time.Time // of the newest tick
	begun   time.Time // when the newest reading began
	ended   time.Time // when one ended last
	running bool
	results chan error // what kept a reading from its end; nil for nothing
}

func (k *scrubbing) begin(ctx context.Context, rows bool) {
	k.running, k.begun = true, k.now
	go func() { k.results <- k.station.scrub(ctx, rows) }()
}

func (k *scrubbing) end(err error) {
	k.running = false
	if err != nil {
		k.station.log.Error("the record could not be read through", "cause", err)
		return
	}
	k.ended = k.now
	k.station.doubt(pb.RecordDoubtKind_RECORD_DOUBT_KIND_UNREAD, false)
}

// look does what is due.
func (k *scrubbing) look(ctx context.Context) {
	if !k.running && k.now.Sub(k.begun) >= scrubEvery {
		k.begin(ctx, true)
	}
	if k.now.Sub(k.ended) > unreadAfter {
		k.station.doubt(pb.RecordDoubtKind_RECORD_DOUBT_KIND_UNREAD, true)
	}
}

// scrub reads the whole record through once, and holds its rows to the events where
// that is asked for and affordable. It errs when it was kept from its end;
// what it finds is no error but a doubt.
func (s *Station) scrub(ctx context.Context, rows bool) error {
	report, err := s.read(ctx)
	if err == nil && rows && s.journal.RowsComplete() && report.Events <= rowsCheckedTo {
		r := newReplay(s.journal)
		err = s.journal.CheckRows(ctx, r.project)
	}
	if ctx.Err() != nil || fault.Is(err, fault.Unavailable) {
		return errors.Join(ctx.Err(), err)
	}
	s.scrubbed(report, err)
	return nil
}

// scrubbed takes note of a whole reading.
func (s *Station) scrubbed(report journal.Report, damage error) {
	scrub := &pb.RecordScrub{Ended: timestamppb.New(s.clock()), Events: int64(report.Events)}
	if damage != nil {
		scrub.Problem = damage.Error()
		s.log.Error("the record is damaged; keep a copy of its folder, then have it repaired (server repair)", "cause", damage, "events", report.Events)
	} else {
		s.log.Info("the record was read through and is sound", "events", report.Events)
	}
	s.scrubs.mu.Lock()
	s.scrubs.newest, s.scrubs.ended = scrub, s.now()
	s.scrubs.mu.Unlock()
	s.doubt(pb.RecordDoubtKind_RECORD_DOUBT_KIND_DAMAGED, damage != nil)
}

// Scrubbed returns what the newest whole reading of the record found, and how long
// ago it ended; nil while none has.
func (s *Station) Scrubbed() (newest *pb.RecordScrub, age time.Duration) {
	s.scrubs.mu.Lock()
	defer s.scrubs.mu.Unlock()
	if s.scrubs.newest == nil {
		return nil, 0
	}
	return s.scrubs.newest, s.now().Sub(s.scrubs.ended)
}
