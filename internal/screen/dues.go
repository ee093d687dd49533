package screen

import (
	"cmp"
	"slices"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// mostDues is how many checks that are due the foot of the display has room for.
const mostDues = 2

// worstDue is the check of a vehicle that matters first: the one overdue or due for
// longest, else the one that comes next; nil when nothing is due or coming. It makes no
// verdict, so it stands only where the verdict has left room.
func worstDue(r *pb.Readiness) *pb.RoutineDue {
	dues := slices.Clone(r.GetRoutineDues())
	if len(dues) == 0 {
		return nil
	}
	return slices.MinFunc(dues, compareDues)
}

func compareDues(a, b *pb.RoutineDue) int {
	return cmp.Or(cmp.Compare(b.GetState(), a.GetState()), a.GetDue().AsTime().Compare(b.GetDue().AsTime()))
}

// dueLines are the checks that are due now, of all vehicles, the worst first.
func dueLines(all []*pb.Readiness) (lines []defectLine) {
	type due struct {
		*pb.RoutineDue
		sign string
	}
	var dues []due
	for _, r := range all {
		for _, d := range r.GetRoutineDues() {
			if d.GetState() >= pb.DueState_DUE_STATE_DUE {
				dues = append(dues, due{d, verdict.Spoken(r)})
			}
		}
	}
	slices.SortStableFunc(dues, func(a, b due) int { return compareDues(a.RoutineDue, b.RoutineDue) })
	for _, d := range dues[:min(len(dues), mostDues)] {
		lines = append(lines, defectLine{CallSign: d.sign, Text: d.GetText()})
	}
	return lines
}
