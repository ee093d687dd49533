package station

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/admit"
	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// may refuses a person whose roles do not allow a deed, by the one table of that. Who
// was erased has no roles any more; whether they may still be heard says active.
func (st *state) may(person string, deed admit.Deed) error {
	p := st.lib.set.People[person]
	rule, may := admit.PersonMay(p.GetRoles(), deed)
	if may || p.GetErased() {
		return nil
	}
	return fault.New(fault.Precondition, rule.Reason, "%s %s", p.GetTitle(), rule.Words)
}

// mayOnce is may for what a tablet may deliver late: then the tablet has looked at the
// person's roles when it was done, and what was done is not lost because they have
// changed since. What counts is the role the person had then; where the record does not
// show it, the event says so. Nobody may do anything as nobody, and an empty assistant is none.
func (c *command) mayOnce(person string, deed admit.Deed, device *timestamppb.Timestamp) error {
	if person == "" {
		return nil
	}
	if device == nil || c.time.Sub(device.AsTime()) <= skewNoted || !late(c.sender) {
		return c.state.may(person, deed)
	}
	had, err := c.roles(person, device.AsTime())
	if err != nil {
		return err
	}
	if _, may := admit.PersonMay(had, deed); !may {
		c.unproven = append(c.unproven, person)
	}
	return nil
}

// rolesAt tells which roles a person had at an instant, by the record; none when it does
// not show that.
type rolesAt func(person string, at time.Time) ([]pb.Role, error)

// rolesAt reads them.
func (s *Station) rolesAt(person string, at time.Time) ([]pb.Role, error) {
	sequence, err := s.sequenceAt(context.Background(), at) // some dozen reads
	if err != nil || sequence == 0 {
		return nil, unlessGone(err) // or from before the record began
	}
	l := loader{journal: s.journal, at: uint64(sequence)}
	value, err := l.journal.Row(inForceRows+person, l.at)
	if err != nil || value == nil {
		return nil, err
	}
	f, err := readFields(value)
	if err != nil {
		return nil, unreadable("row "+inForceRows+person, err)
	}
	ev, err := l.event(readRef(f).sequence)
	if err != nil {
		return nil, unlessGone(err)
	}
	return ev.GetPersonApplied().GetRoles(), nil // of who was erased by then there are none
}

// unlessGone is an error, but for one that says that what was asked for was dropped.
func unlessGone(err error) error {
	if fault.Is(err, fault.Precondition) || fault.Is(err, fault.NotFound) {
		return nil
	}
	return err
}
