package station

import pb "bayround/proto/bayround/v1"

// ClaimDamage lets the record be in doubt, as when something in it cannot be read, or
// takes the doubt away.
func (s *Station) ClaimDamage(holds bool) {
	s.doubt(pb.RecordDoubtKind_RECORD_DOUBT_KIND_DAMAGED, holds)
}
