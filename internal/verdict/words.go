package verdict

import (
	"fmt"

	pb "bayround/proto/bayround/v1"
)

// Words is a verdict as every screen, sheet and table says it: what is read first,
// and what must be read with it, if anything. What nobody knows, a verdict of a later
// version included, is not proven.
func Words(v pb.Verdict) (word, rest string) {
	switch v {
	case pb.Verdict_VERDICT_FIT:
		return "FIT TO RESPOND", ""
	case pb.Verdict_VERDICT_RESTRICTED:
		return "FIT WITH LIMITS", ""
	case pb.Verdict_VERDICT_MOVE_ONLY:
		return "MOVE ONLY", "NOT TO RESPOND"
	case pb.Verdict_VERDICT_UNFIT:
		return "DO NOT MOVE", ""
	default:
		return "NOT PROVEN", ""
	}
}

// Said is Words of a readiness: where nobody knows, with how much is missing.
func Said(r *pb.Readiness) (word, rest string) {
	word, rest = Words(r.GetVerdict())
	switch r.GetVerdict() {
	case pb.Verdict_VERDICT_FIT, pb.Verdict_VERDICT_RESTRICTED, pb.Verdict_VERDICT_MOVE_ONLY, pb.Verdict_VERDICT_UNFIT:
		return word, rest // what is missing as well is among the reasons
	}
	switch n := len(Missing(r)); n {
	case 0:
		return word, rest
	case 1:
		return word, "1 item open"
	default:
		return word, fmt.Sprintf("%d items open", n)
	}
}

// OneLine is what Words or Said return, one behind the other.
func OneLine(word, rest string) string {
	if rest == "" {
		return word
	}
	return word + " – " + rest
}

// Missing is the required steps of a readiness that prove nothing, in walking order.
func Missing(r *pb.Readiness) []*pb.UnprovenStep {
	for _, reason := range r.GetReasons() { // one reason names them all
		if u := reason.GetUnproven(); u != nil {
			return u.GetSteps()
		}
	}
	return nil
}
