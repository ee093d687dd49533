// Package notice says what those who depend on a station are told when a vehicle comes
// to stand otherwise, and how that looks as a CloudEvent (CloudEvents 1.0, the JSON
// event format and the HTTP protocol binding). It sends nothing.
//
// A notice bears the same id however often it is made from the same change, so that
// whoever gets it twice can drop the second. Of one vehicle, notices are made in the
// order of what happened, and of one change in the order of Kinds.
package notice

import (
	"slices"
	"strings"
	"time"

	pb "bayround/proto/bayround/v1"
)

// Kind is what a notice tells of. It is the CloudEvents type behind Prefix.
type Kind string

// The kinds.
const (
	VerdictChanged Kind = "verdict.changed" // also what stood when a subscription began
	DefectFound    Kind = "defect.found"
	DefectClosed   Kind = "defect.closed"   // or repaired, and not checked again yet
	DeferralEnding Kind = "deferral.ending" // a deferral is about to lapse; at each warning of the pack
	DeferralOver   Kind = "deferral.over"   // a deferral has lapsed, or was ended before its time
	ChecksOverdue  Kind = "checks.overdue"  // answers have become too old
	CallSignMoved  Kind = "callsign.moved"  // it answers to another call sign, or to none
)

// Kinds are all kinds, in the order in which they are told. A new kind is added here
// and to the changes that Of looks for.
func Kinds() []Kind {
	return []Kind{VerdictChanged, DefectFound, DefectClosed, DeferralEnding, DeferralOver, ChecksOverdue, CallSignMoved}
}

// Notice is one thing to be told. Its JSON is the data of the event: words for people
// and names for programs, and of people nothing.
type Notice struct {
	ID       string    `json:"-"`
	At       time.Time `json:"-"`
	Sequence int64     `json:"sequence"` // newest event of the vehicle
	Kind     Kind      `json:"kind"`
	Vehicle  string    `json:"vehicle"`
	CallSign string    `json:"call_sign"` // its own, as configured
	// AnswersTo is the call sign it answers to now; empty when another vehicle answers to
	// its own, so that it must not be sent under it.
	AnswersTo string    `json:"answers_to"`
	Station   string    `json:"station"`
	Verdict   string    `json:"verdict"`         // as it is now, in every kind
	Since     time.Time `json:"since"`           // when this verdict began
	Until     time.Time `json:"until,omitzero"`  // when it changes by itself, with nothing done
	Was       string    `json:"was,omitempty"`   // the verdict before; left out when nobody was told one
	Texts     []string  `json:"reasons"`         // of the verdict, worst first
	Limits    []string  `json:"limits"`          // under which the vehicle may respond
	Defect    *Defect   `json:"defect,omitzero"` // of a defect kind, or of a deferral's
	Overdue   []Step    `json:"overdue,omitempty"`
	// LeftOut counts the reasons, limits and overdue checks for which there was no room.
	LeftOut int `json:"left_out,omitempty"`
}

// Defect is the defect that a notice is about.
type Defect struct {
	Name  string    `json:"name"`
	Step  string    `json:"step"`
	Grade string    `json:"grade"`  // MINOR, MAJOR or DANGEROUS
	Takes string    `json:"effect"` // what it takes away
	Text  string    `json:"text"`
	First time.Time `json:"first_found"`
	// WaitsUntil is when its deferral lapses, or did; left out in other kinds.
	WaitsUntil time.Time `json:"waits_until,omitzero"`
}

// Step is a check whose answer has become too old.
type Step struct {
	Step  string    `json:"step"`
	Title string    `json:"title"`
	Since time.Time `json:"since,omitzero"`
}

// Change is a vehicle that came to stand otherwise.
type Change struct {
	Before *pb.Readiness // nil when nobody was told yet
	Now    *pb.Readiness
	At     time.Time // when
	ID     string    // of this change; notices append to it
}

// Of says what a change means to those who depend on the vehicle.
func Of(c Change) []Notice {
	var all []Notice
	if c.Before.GetVerdict() != c.Now.GetVerdict() {
		n := c.notice(VerdictChanged, "verdict")
		n.Was = word(c.Before.GetVerdict().String())
		all = append(all, n)
	}
	for _, d := range missing(c.Now.GetOpenDefects(), c.Before.GetOpenDefects()) {
		all = append(all, c.ofDefect(DefectFound, "found", d))
	}
	for _, d := range missing(c.Before.GetOpenDefects(), c.Now.GetOpenDefects()) {
		all = append(all, c.ofDefect(DefectClosed, "closed", d))
	}
	all = append(all, c.deferrals()...)
	if late := c.overdue(); len(late) > 0 {
		n := c.notice(ChecksOverdue, "overdue")
		n.Overdue = late
		all = append(all, n)
	}
	if c.Before != nil && c.Before.GetAnswersTo() != c.Now.GetAnswersTo() {
		all = append(all, c.notice(CallSignMoved, "callsign"))
	}
	for i := range all {
		all[i].fit()
	}
	return all
}

func (c Change) notice(k Kind, what string) Notice {
	n := Notice{
		ID: c.ID + "-" + what, At: c.At, Sequence: c.Now.GetSequence(), Kind: k,
		Vehicle: c.Now.GetVehicle(), CallSign: c.Now.GetCallSign(), AnswersTo: c.Now.GetAnswersTo(), Station: c.Now.GetStation(),
		Verdict: word(c.Now.GetVerdict().String()), Since: c.Now.GetSince().AsTime(), Texts: []string{}, Limits: []string{},
	}
	if c.Now.GetUntil() != nil {
		n.Until = c.Now.GetUntil().AsTime()
	}
	for _, r := range c.Now.GetReasons() {
		n.Texts = append(n.Texts, r.GetText())
	}
	for _, r := range c.Now.GetRestrictions() {
		n.Limits = append(n.Limits, r.GetText())
	}
	return n
}

func (c Change) ofDefect(k Kind, what string, d *pb.Defect) Notice {
	n := c.notice(k, what+"-"+d.GetName()[strings.LastIndexByte(d.GetName(), '/')+1:])
	n.Defect = &Defect{Name: d.GetName(), Step: d.GetStepId(), First: d.GetFirstFound().AsTime()}
	if len(d.GetFindings()) > 0 {
		worst := d.GetFindings()[0]
		n.Defect.Grade, n.Defect.Takes = word(worst.GetGrade().String()), word(worst.GetEffect().String())
		n.Defect.Text = worst.GetText()
	}
	return n
}

// missing are the defects that are not among others. One that was closed and found
// again is another.
func missing(defects, others []*pb.Defect) (left []*pb.Defect) {
	for _, d := range defects {
		if !slices.ContainsFunc(others, func(o *pb.Defect) bool {
			return o.GetName() == d.GetName() && o.GetFirstFound().AsTime().Equal(d.GetFirstFound().AsTime())
		}) {
			left = append(left, d)
		}
	}
	return left
}

// overdue are the steps whose answers have become too old by this change.
func (c Change) overdue() (late []Step) {
	known := map[string]bool{}
	for _, s := range stale(c.Before) {
		known[s.GetStepId()] = true
	}
	for _, s := range stale(c.Now) {
		if known[s.GetStepId()] {
			continue
		}
		step := Step{Step: s.GetStepId(), Title: s.GetTitle()}
		if s.GetSince() != nil {
			step.Since = s.GetSince().AsTime()
		}
		late = append(late, step)
	}
	return late
}

func stale(r *pb.Readiness) (steps []*pb.UnprovenStep) {
	for _, reason := range r.GetReasons() {
		for _, s := range reason.GetUnproven().GetSteps() {
			if s.GetCause() == pb.UnprovenCause_UNPROVEN_CAUSE_STALE {
				steps = append(steps, s)
			}
		}
	}
	return steps
}

// word is an enum value without its type; empty for one that says nothing.
func word(value string) string {
	for _, kind := range []string{"VERDICT_", "GRADE_", "EFFECT_"} {
		value = strings.TrimPrefix(value, kind)
	}
	if value == "UNSPECIFIED" {
		return ""
	}
	return value
}
