package screen

import (
	"fmt"
	"net/http"
	"regexp"
	"strings"
	"time"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// pastDefects is a page of defects: their figures, those that are open and the last
// ones that were closed.
type pastDefects struct {
	*pb.GetDefectFiguresResponse
	Now    []defectRow
	Closed []defectRow
}

// defectRow is one defect of a list.
type defectRow struct {
	*pb.Defect
	CallSign string // of its vehicle; empty where the page is about one vehicle
	Address  string
	Outcome  string
	Age      string // since it was found
	Came     string // that it came back, and what was done before; empty when it did not
}

// What is the defect in one line.
func (r defectRow) What() string { return whatWords(r.Defect) }

// fleetDefects answers GET /defects.
func (s *Server) fleetDefects(r *http.Request, p *past) error {
	p.Kicker, p.Heading = "All vehicles", "Defects"
	return s.fillDefects(r, p, "")
}

// vehicleDefects answers GET /defects/{vehicle}.
func (s *Server) vehicleDefects(r *http.Request, p *past) error {
	c, err := p.about(r)
	if err != nil {
		return err
	}
	p.Kicker, p.Heading = c.GetCallSign()+" · "+c.GetTitle(), "Defects"
	return s.fillDefects(r, p, c.GetName())
}

func (s *Server) fillDefects(r *http.Request, p *past, vehicle string) error {
	all, from, err := s.config.Archive.Defects(r.Context(), vehicle)
	if err != nil {
		return err
	}
	p.From, p.Defects = from, &pastDefects{GetDefectFiguresResponse: all.Figures}
	for _, d := range all.Open {
		p.Defects.Now = append(p.Defects.Now, p.defectRow(d))
	}
	for _, d := range all.Closed {
		p.Defects.Closed = append(p.Defects.Closed, p.defectRow(d))
	}
	return nil
}

func (p *past) defectRow(d *pb.Defect) defectRow {
	vehicle, id, _ := strings.Cut(d.GetName(), "/defects/")
	row := defectRow{
		Defect: d, Address: "/defects/" + lastPart(vehicle) + "/" + id, Outcome: p.Outcome(d),
		Age: lasting(p.View.Now.Sub(instant(d.GetFirstFound()))), Came: p.cameBack(d),
	}
	if p.About == "" {
		row.CallSign = lastPart(vehicle)
		for _, v := range p.View.Vehicles {
			if v.Configuration.GetName() == vehicle {
				row.CallSign = v.Configuration.GetCallSign()
			}
		}
	}
	if at := instant(d.GetClosed()); d.GetState() == pb.DefectState_DEFECT_STATE_CLOSED {
		row.Age = p.At(at)
	}
	return row
}

// cameBack says that a defect came back, and what was done about it before.
func (p pane) cameBack(d *pb.Defect) string {
	if d.GetRepeats() == 0 {
		return ""
	}
	words := "It came back " + times(d.GetRepeats()) + "."
	for _, life := range d.GetEarlier()[:min(len(d.GetEarlier()), 3)] {
		if done := life.GetRepair().GetDone(); done != "" {
			words += " Repaired " + p.Since(life.GetRepair().GetStationTime()) + ": " + said(done)
			if life.GetClosed() == nil {
				words += "; it did not hold"
			}
			words += "."
		}
	}
	return words
}

// ageWords say how old defects of a group are.
func ageWords(a *pb.DefectAge) string {
	switch {
	case a.GetOverDays() == 0:
		return "up to " + counted(int(a.GetUpToDays()), "day")
	case a.GetUpToDays() == 0:
		return "over " + counted(int(a.GetOverDays()), "day")
	}
	return fmt.Sprintf("%d to %d days", a.GetOverDays(), a.GetUpToDays())
}

// gravely says how many of a group are dangerous or major; empty when none is.
func gravely(a *pb.DefectAge) string {
	var words []string
	if n := a.GetDangerous(); n > 0 {
		words = append(words, fmt.Sprintf("%d dangerous", n))
	}
	if n := a.GetMajor(); n > 0 {
		words = append(words, fmt.Sprintf("%d major", n))
	}
	return strings.Join(words, ", ")
}

// tookWords say how long something took.
func tookWords(t *pb.DefectTimes) string {
	if t.GetDefects() == 0 {
		return "none yet"
	}
	h := func(hours float64) string { return lasting(time.Duration(hours * float64(time.Hour))) }
	return fmt.Sprintf("half within %s, nine in ten within %s, the longest %s (of %d)", h(t.GetMedianH()), h(t.GetNineInTenH()), h(t.GetLongestH()), t.GetDefects())
}

// pastDefect is the page of one defect.
type pastDefect struct {
	*pb.Defect
	Row     defectRow
	Next    []nextLine
	Limits  []string // in force while it waits
	Life    []lifeLine
	Photos  []thumb
	Place   string // step it was found at
	Release bool   // it stops the vehicle: there is a page to release it
}

// defectID is the last part of a defect's name.
var defectID = regexp.MustCompile(`^[a-z0-9-]+$`)

// Explained tells that rules say now why it is a defect.
func (d pastDefect) Explained() bool {
	return d.GetStop() == nil && d.GetState() != pb.DefectState_DEFECT_STATE_CLOSED
}

// oneDefect answers GET /defects/{vehicle}/{defect}.
func (s *Server) oneDefect(r *http.Request, p *past) error {
	c, err := p.about(r)
	if err != nil {
		return err
	}
	id := r.PathValue("defect")
	if !defectID.MatchString(id) {
		return fault.New(fault.NotFound, "DEFECT_UNKNOWN", "there is no defect %q", id)
	}
	resp, from, err := s.config.Archive.Defect(r.Context(), c.GetName()+"/defects/"+id)
	if err != nil {
		return err
	}
	d := resp.GetDefect()
	p.Kicker, p.From, p.Heading = c.GetCallSign(), from, whatWords(d)
	one := &pastDefect{
		Defect: d, Row: p.defectRow(d), Next: p.NextLines(resp), Life: p.Life(d), Place: d.GetStepId(),
		Release: d.GetStop() != nil && d.GetState() != pb.DefectState_DEFECT_STATE_CLOSED,
	}
	if d.GetState() == pb.DefectState_DEFECT_STATE_DEFERRED {
		for _, limit := range d.GetDeferral().GetRestrictions() {
			one.Limits = append(one.Limits, limit.GetText())
		}
	}
	for i, sum := range d.GetPhotos() {
		one.Photos = append(one.Photos, thumb{sum, fmt.Sprintf("Photo %d of the defect; if it is not seen here, it was taken with another tablet and the station is not reached, or has not got it yet", i+1)})
	}
	p.Defect = one
	return nil
}

// nextLine is something that a defect needs next, and whose turn it is.
type nextLine struct{ Who, What string }

// NextLines say what a defect needs next and by whom; none once it is closed.
func (p pane) NextLines(resp *pb.GetDefectResponse) []nextLine {
	d := resp.GetDefect()
	switch {
	case d.GetState() == pb.DefectState_DEFECT_STATE_CLOSED:
		return nil
	case d.GetStop() != nil:
		return p.nextOfStop(d, resp.GetReleaseMissing())
	case d.GetState() == pb.DefectState_DEFECT_STATE_RECTIFIED:
		return []nextLine{{"The next driver", "checks the step again. Found sound, the defect is closed."}}
	case d.GetState() == pb.DefectState_DEFECT_STATE_DEFERRED:
		lines := []nextLine{{"The workshop", "repairs it before " + p.Since(d.GetDeferral().GetExpires()) + ". From that second on it waits no longer: " + effectWords(d.GetDeferral().GetWhenOver()) + "."}}
		if d.GetAcknowledgement() == nil {
			lines = append(lines, nextLine{"The workshop", "has not answered the reporter yet."})
		}
		return lines
	}
	answer := nextLine{"The workshop", "answers the reporter with a date, and repairs it."}
	if a := d.GetAcknowledgement(); a != nil {
		answer.What = "repairs it, expected by " + p.Since(a.GetPlanned()) + "."
		if instant(a.GetPlanned()).Before(p.Now) {
			answer.What = "repairs it. That was expected by " + p.Since(a.GetPlanned()) + " and is overdue; ask there."
		}
	}
	return []nextLine{answer, {"An officer", rightWords(p, resp.GetRight())}}
}

func (p pane) nextOfStop(d *pb.Defect, missing string) []nextLine {
	switch {
	case d.GetState() != pb.DefectState_DEFECT_STATE_RECTIFIED:
		return []nextLine{{"The workshop", "repairs it and records what it did."}, {"Then another person", "checks it again and releases the vehicle."}}
	case missing != "":
		return []nextLine{{"Not who repaired it", p.Sentence(missing)}}
	}
	return []nextLine{{"Not who repaired it", "Checks it again and releases the vehicle."}}
}

func rightWords(p pane, right *pb.DeferralRight) string {
	if !right.GetAllowed() {
		return "cannot let it wait: " + said(right.GetWhyNot()) + "."
	}
	words := "may let it wait until " + p.Since(right.GetLatest()) + " at the latest"
	if right.GetNeedsRestriction() {
		words += ", under a limit"
	}
	return words + "."
}
