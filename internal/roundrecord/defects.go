package roundrecord

import (
	"slices"
	"strings"
	"time"

	pb "bayround/proto/bayround/v1"
)

// Told is a line of a list: what it is, and what is said of it.
type Told struct{ What, Said string }

// DefectOf is the defect that a finding of this round opened or found again; nil when
// the defects are not known, or none is.
func (r *Record) DefectOf(f *pb.Finding) *pb.Defect {
	for _, d := range r.Defects {
		same := func(g *pb.Finding) bool {
			return g.GetFault() != "" && g.GetFault() == f.GetFault() || g.GetPack() == f.GetPack() && g.GetRule() == f.GetRule()
		}
		if slices.Contains(f.GetStepIds(), d.GetStepId()) && slices.ContainsFunc(d.GetFindings(), same) {
			return d
		}
	}
	return nil
}

// DefectID is a defect as it is named in commands: wn11/3f2a9c.
func DefectID(d *pb.Defect) string {
	return strings.Replace(strings.TrimPrefix(d.GetName(), "vehicles/"), "/defects/", "/", 1)
}

// Since is what became of a finding until the page was made: who answered, under which limits
// it waits, who repaired it and what was done, who closed it. Where the fault went away
// and came back later, it is what became of it then.
func (r *Record) Since(f Found) []Told {
	d := r.DefectOf(f.Finding)
	if d == nil {
		return nil
	}
	if then := earlierLife(d, r.lastTime()); then != nil {
		told := []Told{{"Defect", DefectID(d) + ", put right then and found again on " + r.Instant(d.GetFirstFound())}}
		told = append(told, r.repaired(then.GetRepair())...)
		if then.GetClosed() != nil {
			told = append(told, Told{"Closed", r.Instant(then.GetClosed())})
		}
		return told
	}
	told := append([]Told{{"Defect", DefectID(d) + ", " + r.stands(d)}}, r.inVain(d)...)
	if a := d.GetAcknowledgement(); a != nil {
		said := "by " + r.Person(a.GetPerson()) + " on " + r.Instant(a.GetStationTime()) + ", planned for " + r.Instant(a.GetPlanned())
		if a.GetNote() != "" {
			said += ": " + a.GetNote()
		}
		told = append(told, Told{"Answered", said})
	}
	told = append(told, r.deferred(d.GetDeferral())...)
	told = append(told, r.repaired(d.GetRepair())...)
	if d.GetClosed() != nil {
		said := r.Instant(d.GetClosed())
		if by := r.Person(d.GetClosedBy()); by != "" {
			said += ", found sound by " + by
		}
		told = append(told, Told{"Closed", said})
	}
	return told
}

// earlierLife is the life of a defect in which it was found until an instant, when that
// is not the one it has now.
func earlierLife(d *pb.Defect, until time.Time) *pb.EarlierDefect {
	if !d.GetFirstFound().AsTime().After(until) {
		return nil
	}
	for _, life := range d.GetEarlier() { // newest first
		if !life.GetFirstFound().AsTime().After(until) {
			return life
		}
	}
	return nil
}

// inVain are the repairs of the present fault that did not hold, oldest first.
func (r *Record) inVain(d *pb.Defect) (told []Told) {
	for _, life := range slices.Backward(d.GetEarlier()) {
		if life.GetClosed() != nil || !life.GetFirstFound().AsTime().Equal(d.GetFirstFound().AsTime()) {
			continue
		}
		for _, one := range r.repaired(life.GetRepair()) {
			told = append(told, Told{one.What, one.Said + "; it did not hold"})
		}
	}
	return told
}

// lastTime is when the round's newest event happened.
func (r *Record) lastTime() time.Time {
	if len(r.Events) == 0 {
		return r.Made
	}
	return r.Events[len(r.Events)-1].GetStationTime().AsTime()
}

// stands is where a defect stands.
func (r *Record) stands(d *pb.Defect) string {
	switch d.GetState() {
	case pb.DefectState_DEFECT_STATE_ACKNOWLEDGED:
		return "answered, not repaired yet"
	case pb.DefectState_DEFECT_STATE_DEFERRED:
		return "deferred until " + r.Instant(d.GetDeferral().GetExpires())
	case pb.DefectState_DEFECT_STATE_RECTIFIED:
		return "repaired, to be checked again"
	case pb.DefectState_DEFECT_STATE_CLOSED:
		return "closed"
	}
	return "open"
}

func (r *Record) deferred(f *pb.Deferral) (told []Told) {
	if f == nil {
		return nil
	}
	said := "by " + r.Person(f.GetPerson()) + " on " + r.Instant(f.GetStationTime()) + " until " + r.Instant(f.GetExpires()) + ": " + f.GetReason()
	if f.GetEnded() != nil {
		said += "; ended before its time"
		if f.GetEndedBecause() != "" {
			said += ": " + f.GetEndedBecause()
		}
	}
	told = append(told, Told{"Deferred", said})
	for _, limit := range f.GetRestrictions() {
		told = append(told, Told{"Limit then", limit.GetText()})
	}
	return told
}

func (r *Record) repaired(repair *pb.Repair) []Told {
	if repair == nil {
		return nil
	}
	by := repair.GetDoneBy()
	if by == "" {
		by = r.Person(repair.GetPerson())
	}
	said := "by " + by + " on " + r.Instant(repair.GetStationTime()) + ": " + repair.GetDone()
	if len(repair.GetParts()) > 0 {
		said += " (" + strings.Join(repair.GetParts(), ", ") + ")"
	}
	return []Told{{"Repaired", said}}
}
