package round

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// answerDue is how long a report may stay without any answer before its reporter is
// told so unasked. Source: common practice.
const answerDue = 24 * time.Hour

// Answer is what has become of a defect that somebody reported.
type Answer struct {
	*pb.Defect
	CallSign string // of its vehicle
	New      bool   // the reporter has not read it on this tablet
}

// Answers are what became of the defects that who is signed in has reported.
type Answers struct {
	All  []Answer // the unread first, then what is open, then the newest
	New  int      // how many of them nobody has read
	Seen string   // stands for all of them as they are shown
	Open bool     // they are on the screen
}

// lookAtAnswers reads what became of what a person reported: whatever is not closed, was
// closed lately, or was not read.
func (d *Desk) lookAtAnswers(ctx context.Context, sc *scene, person string) ([]Answer, error) {
	resp, err := d.twin.ListDefects(ctx, &pb.ListDefectsRequest{Reporter: person, PageSize: 200, States: []pb.DefectState{
		pb.DefectState_DEFECT_STATE_OPEN, pb.DefectState_DEFECT_STATE_ACKNOWLEDGED, pb.DefectState_DEFECT_STATE_DEFERRED,
		pb.DefectState_DEFECT_STATE_RECTIFIED, pb.DefectState_DEFECT_STATE_CLOSED,
	}})
	if err != nil {
		return nil, fmt.Errorf("read what became of the reports of %s: %w", person, err)
	}
	var all []Answer
	for _, defect := range resp.GetDefects() {
		if isClosed(defect) && (putRightBySelf(defect) || d.now().Sub(defect.GetClosed().AsTime()) >= station.ClosedToldFor) {
			continue
		}
		vehicle, _, _ := strings.Cut(defect.GetName(), "/defects/")
		if v := sc.vehicle(vehicle); v != nil { // otherwise of another station
			all = append(all, Answer{Defect: defect, CallSign: v.GetCallSign()})
		}
	}
	return all, nil
}

func isClosed(d *pb.Defect) bool { return d.GetState() == pb.DefectState_DEFECT_STATE_CLOSED }

// rank puts the unread first, then what is open.
func (a Answer) rank() int {
	switch {
	case a.New:
		return 0
	case !isClosed(a.Defect):
		return 1
	}
	return 2
}

// putRightBySelf tells that who reported a defect also ended it, and nobody else had a
// part in it: then there is nothing to be told.
func putRightBySelf(d *pb.Defect) bool {
	return d.GetClosedBy() == d.GetFoundBy() && d.GetRepair() == nil && d.GetAcknowledgement() == nil && d.GetDeferral() == nil && d.GetStop() == nil && inVain(d) == nil
}

// inVain is the newest repair of the fault as it is now, when that did not hold.
func inVain(d *pb.Defect) *pb.Repair {
	if lives := d.GetEarlier(); len(lives) > 0 && lives[0].GetClosed() == nil {
		return lives[0].GetRepair()
	}
	return nil
}

// answered lists the instants at which somebody did something about a defect.
func answered(d *pb.Defect) []*timestamppb.Timestamp {
	return []*timestamppb.Timestamp{
		d.GetAcknowledgement().GetStationTime(), d.GetDeferral().GetStationTime(), d.GetDeferral().GetEnded(),
		d.GetRepair().GetStationTime(), inVain(d).GetStationTime(),
	}
}

// newestOf is when something last became of a defect.
func newestOf(d *pb.Defect) time.Time {
	newest := d.GetFirstFound().AsTime()
	for _, at := range append(answered(d), d.GetClosed()) {
		if at != nil && at.AsTime().After(newest) {
			newest = at.AsTime()
		}
	}
	return newest
}

// answerStamp stands for what has become of a defect; empty while there is nothing to
// be told: found a short while ago, and nobody has answered. Times that each station
// gives by its own clock are no part of it.
func answerStamp(d *pb.Defect, now time.Time) string {
	var stamp strings.Builder
	if n := len(d.GetEarlier()); n > 0 {
		fmt.Fprintf(&stamp, "%d:", n)
	}
	for _, at := range answered(d) {
		if at != nil {
			fmt.Fprintf(&stamp, "%d.", at.AsTime().UnixNano())
		}
	}
	switch {
	case isClosed(d):
		stamp.WriteString("closed")
	case strings.Contains(stamp.String(), "."):
		fmt.Fprintf(&stamp, "%d", d.GetState())
	case now.Sub(d.GetFirstFound().AsTime()) >= answerDue:
		stamp.WriteString("unanswered")
	default:
		return ""
	}
	return stamp.String()
}

// answersTo is whom answers are shown to; empty where none are.
func (d *Desk) answersTo() string {
	if d.session.Phase > PhaseBefore {
		return ""
	}
	return d.session.Driver
}

// answersView is what is shown of the answers; nil where nobody is signed in.
func (d *Desk) answersView() *Answers {
	s := d.session
	if d.answersTo() == "" {
		return nil
	}
	view := &Answers{All: d.marked(d.scene.answers), Open: s.Answers}
	seen := sha256.New()
	for _, a := range view.All {
		stamp := answerStamp(a.Defect, d.now())
		if a.New {
			view.New++
		}
		if stamp == "" {
			d.wake(a.GetFirstFound().AsTime().Add(answerDue))
		}
		fmt.Fprintln(seen, a.GetName(), stamp)
	}
	view.Seen = hex.EncodeToString(seen.Sum(nil)[:8])
	return view
}

// marked says of answers which of them who is signed in has not read, those first.
func (d *Desk) marked(answers []Answer) []Answer {
	all := slices.Clone(answers)
	for i, a := range all {
		stamp := answerStamp(a.Defect, d.now())
		all[i].New = stamp != "" && d.session.Read[d.session.Driver][a.GetName()] != stamp
	}
	slices.SortStableFunc(all, func(a, b Answer) int {
		return cmp.Or(cmp.Compare(a.rank(), b.rank()), newestOf(b.Defect).Compare(newestOf(a.Defect)))
	})
	return all
}

// meetAnswers puts the answers before who has just signed in, if there is one to be read.
func (d *Desk) meetAnswers(ctx context.Context) {
	d.stale = true
	all, err := d.lookAtAnswers(ctx, d.scene, d.session.Driver)
	if err != nil { // signing in must not fail because of it; the start page says it later
		d.log.Error("what became of a driver's reports cannot be read", "cause", err)
		return
	}
	d.session.Answers = slices.ContainsFunc(d.marked(all), func(a Answer) bool { return a.New })
}

// showAnswers opens the page of the answers.
func (d *Desk) showAnswers(context.Context, Act) error {
	if d.session.Driver == "" {
		return fault.New(fault.Precondition, "NOBODY_SIGNED_IN", "sign in first: the answers are for who reported")
	}
	d.session.Answers = true
	return nil
}

// readAnswers notes that the answers on the screen were read, and leaves their page.
func (d *Desk) readAnswers(_ context.Context, a Act) error {
	s := d.session
	if s.Driver == "" || !s.Answers {
		return fault.New(fault.Precondition, "ACT_OUT_OF_PLACE", "this cannot be done here; the screen has moved on")
	}
	if seen := a.Values["seen"]; seen != d.answersView().Seen {
		return fault.New(fault.Precondition, "ANSWERS_CHANGED", "something has come in since; look at it, then touch Read again")
	}
	read := map[string]string{}
	for _, one := range d.scene.answers {
		if stamp := answerStamp(one.Defect, d.now()); stamp != "" {
			read[one.GetName()] = stamp
		}
	}
	if s.Read == nil {
		s.Read = map[string]map[string]string{}
	}
	s.Read[s.Driver], s.Answers, d.stale = read, false, true
	return nil
}

// leaveAnswers leaves the page of the answers; what was not read waits on the start page.
func (d *Desk) leaveAnswers(context.Context, Act) error {
	d.session.Answers = false
	return nil
}
