package station

import (
	"sync"
	"sync/atomic"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// doubts are what is held against the record that everything here comes from.
// Verdicts of now are given with the worst of them. What was known at an instant
// in the past is told as it was.
type doubts struct {
	worst atomic.Pointer[pb.RecordDoubt] // nil while there is none; never changed, replaced

	mu                      sync.Mutex
	behind, damaged, unread *pb.RecordDoubt // guarded by mu: nil for none
}

// doubt notes that something is held against the record from now on, or is no
// more, and tells the watchers.
func (s *Station) doubt(kind pb.RecordDoubtKind, holds bool) {
	s.doubts.mu.Lock()
	defer s.doubts.mu.Unlock()
	of := map[pb.RecordDoubtKind]**pb.RecordDoubt{
		pb.RecordDoubtKind_RECORD_DOUBT_KIND_BEHIND:  &s.doubts.behind,
		pb.RecordDoubtKind_RECORD_DOUBT_KIND_DAMAGED: &s.doubts.damaged,
		pb.RecordDoubtKind_RECORD_DOUBT_KIND_UNREAD:  &s.doubts.unread,
	}[kind]
	if holds == (*of != nil) {
		return
	}
	*of = nil
	if holds {
		*of = &pb.RecordDoubt{Kind: kind, Since: timestamppb.New(s.clock())}
	}
	var worst *pb.RecordDoubt
	for _, d := range []*pb.RecordDoubt{s.doubts.behind, s.doubts.damaged, s.doubts.unread} {
		if worst == nil {
			worst = d
		}
	}
	s.doubts.worst.Store(worst)
	s.board.signal()
}

// fellBehind is called by the journal when somebody has shown that it held more.
func (s *Station) fellBehind() { s.doubt(pb.RecordDoubtKind_RECORD_DOUBT_KIND_BEHIND, true) }

// Behind reports that the record held more once than it holds now: nothing is taken
// until it is repaired, and what is told of the newest state may be wrong.
func (s *Station) Behind() bool {
	_, behind := s.journal.Behind()
	return behind
}

// doubted is a verdict as it can be given while the record is in doubt.
func (s *Station) doubted(v pb.Verdict) pb.Verdict {
	return max(v, verdict.OfDoubt(s.doubts.worst.Load()))
}

// sinceWhen is since when a verdict holds that a doubt may have made worse.
func sinceWhen(v pb.Verdict, st standing, d *pb.RecordDoubt) *timestamppb.Timestamp {
	if v == st.verdict {
		return timestamppb.New(st.since)
	}
	return timestamppb.New(later(st.since, d.GetSince().AsTime()))
}
