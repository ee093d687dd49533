package round

import pb "bayround/proto/bayround/v1"

// A station whose record has lost its newest entries takes nothing until it is
// repaired, and what it tells is older than what was told before. So the outbox
// waits, nothing is taken over, and the tablet's own verdict goes on.

// behindWords say it to whoever stands at the tablet.
const behindWords = "The station’s record has lost its newest entries, and it takes nothing until it is repaired. What is recorded here is kept on this tablet and sent then."

// behind tells that the station has said so, with its readiness, when it was heard
// last.
func (h *hearing) behind() bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, r := range h.states {
		for _, reason := range r.GetReasons() {
			if reason.GetRecord().GetKind() == pb.RecordDoubtKind_RECORD_DOUBT_KIND_BEHIND {
				return true
			}
		}
	}
	return false
}
