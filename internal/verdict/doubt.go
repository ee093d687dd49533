package verdict

import pb "bayround/proto/bayround/v1"

// OfDoubt returns the verdict that a doubt in the record alone would give.
func OfDoubt(d *pb.RecordDoubt) pb.Verdict {
	if d == nil || d.GetKind() == pb.RecordDoubtKind_RECORD_DOUBT_KIND_UNREAD {
		return pb.Verdict_VERDICT_FIT
	}
	return pb.Verdict_VERDICT_UNPROVEN // a kind of a later version, too
}

// ofRecord makes the reason of a doubt in the record. It comes before the others
// that are as bad: they rest on the record.
func ofRecord(d *pb.RecordDoubt) reason {
	v := OfDoubt(d)
	r := reason{
		verdict: v, walk: -1,
		message: &pb.Reason{Verdict: v, Text: sayDoubt(d.GetKind()), Cause: &pb.Reason_Record{Record: d}},
	}
	if v != pb.Verdict_VERDICT_FIT {
		r.grade = pb.Grade_GRADE_DANGEROUS
	}
	return r
}

// sayDoubt tells of a doubt in words a driver understands.
func sayDoubt(kind pb.RecordDoubtKind) string {
	switch kind {
	case pb.RecordDoubtKind_RECORD_DOUBT_KIND_BEHIND:
		return "The station's record has lost its newest entries, so nobody knows what was checked last; have it repaired (server repair)"
	case pb.RecordDoubtKind_RECORD_DOUBT_KIND_UNREAD:
		return "The station's record was not read through for more than two days of running; look into the station's log"
	default:
		return "Something in the station's record was changed or cannot be read, so it proves nothing; have it repaired (server repair)"
	}
}
