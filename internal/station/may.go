package station

import (
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/admit"
	"bayround/internal/fault"
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
// changed since. Nobody may do anything as nobody, and an empty assistant is none.
func (c *command) mayOnce(person string, deed admit.Deed, device *timestamppb.Timestamp) error {
	if person == "" || device != nil && c.time.Sub(device.AsTime()) > skewNoted {
		return nil
	}
	return c.state.may(person, deed)
}
