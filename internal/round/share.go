package round

import (
	"fmt"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// along are the items that a round of a routine takes along if it is begun now: this
// watch's share of the checks that are shared out.
func along(r *pb.Readiness, routine string) []string {
	for _, d := range r.GetRoutineDues() {
		if d.GetRoutine() == routine {
			return d.GetWithItems()
		}
	}
	return nil
}

// shareWords says of which checks this watch's share comes along with a round, and how
// many items of each; empty where none does.
func shareWords(r *pb.Readiness, with []string) string {
	var parts []string
	for _, d := range r.GetRoutineDues() {
		if n := len(d.GetShare()); n > 0 && len(with) > 0 {
			parts = append(parts, fmt.Sprintf("%d of the %s", n, d.GetTitle()))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "with " + strings.Join(parts, ", ")
}

// sharesOf is what distinguishes this watch's shares from others.
func sharesOf(r *pb.Readiness) string {
	var all []string
	for _, d := range r.GetRoutineDues() {
		all = append(all, d.GetWithItems()...)
	}
	return strings.Join(all, " ")
}
