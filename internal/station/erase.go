package station

import (
	"context"
	"fmt"
	"time"

	"bayround/internal/admit"
	"bayround/internal/fault"
	"bayround/internal/journal"
	pb "bayround/proto/bayround/v1"
)

// ErasePerson erases who a person is: name and PIN, those of former times, too. What
// the person did stays in the record under the bare id. It cannot be undone, and
// it reaches nothing but this station's store: copies made before keep the name.
func (s *Station) ErasePerson(ctx context.Context, req *pb.ErasePersonRequest) (*pb.ErasePersonResponse, error) {
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.ErasePersonResponse, error) {
		if err := c.state.mayErase(req); err != nil {
			return nil, err
		}
		ev := &pb.JournalEvent{Person: req.GetBy(), Event: &pb.JournalEvent_PersonErased{PersonErased: &pb.PersonErased{
			Person: req.GetPerson(), Reason: req.GetReason(),
		}}}
		if err := c.happen(ev, nil); err != nil {
			return nil, err
		}
		return &pb.ErasePersonResponse{Person: c.state.lib.set.People[req.GetPerson()], Sequence: ev.GetSequence()}, nil
	})
	if err == nil {
		s.past.forget()
	}
	return resp, err
}

// mayErase refuses to erase who is not there, who is at work, and what cannot be
// erased.
func (st *state) mayErase(req *pb.ErasePersonRequest) error {
	if err := st.lib.active(req.GetBy(), time.Time{}); err != nil {
		return err
	}
	if err := st.may(req.GetBy(), admit.Erase); err != nil {
		return err
	}
	p := st.lib.set.People[req.GetPerson()]
	switch {
	case p == nil:
		return unknown("person", req.GetPerson()).At("person", "not on this station's list")
	case p.GetErased():
		return fault.New(fault.Precondition, "PERSON_ERASED", "%s was erased before; nothing is left to erase", req.GetPerson())
	case req.GetBy() == req.GetPerson():
		return invalid("ERASED_BY_ONESELF", "by", "nobody erases themselves; somebody else must do it")
	}
	if st.lib.refs[req.GetPerson()].open {
		return fault.New(fault.Precondition, "NAME_IN_RECORD",
			"%s was put in force by a version of the station that wrote names into the record itself, and the record cannot be changed; only a new record, begun in an empty folder, is without the name", req.GetPerson())
	}
	return st.mayLeave(req.GetPerson())
}

// mayLeave refuses while somebody drives or assists in a round.
func (st *state) mayLeave(person string) error {
	for _, vehicle := range sortedKeys(st.vehicles) {
		for _, name := range sortedKeys(st.vehicles[vehicle].rounds) {
			r := st.vehicles[vehicle].rounds[name].round
			if r.GetDriver() == person || r.GetAssistant() == person {
				return fault.New(fault.Precondition, "PERSON_IN_ROUND", "%s is in %s of %s, which has not ended; end it first", person, name, vehicle)
			}
		}
	}
	return nil
}

// eraseAgain erases what a copy of the record has brought back although its person
// was erased since: copies are made before and after.
func (s *Station) eraseAgain(ctx context.Context, erased [][32]byte) error {
	var back [][32]byte
	for _, digest := range erased {
		_, found, err := s.journal.Apart(digest)
		if err != nil {
			return err
		}
		if found {
			back = append(back, digest)
		}
	}
	if len(back) == 0 {
		return nil
	}
	s.log.Info("erasing anew what was brought back of people who were erased", "texts", len(back))
	id := fmt.Sprintf("erase-again/%x", back[0])
	_, err := s.journal.Append(ctx, journal.Command{ID: id}, func(uint64) (journal.Entry, error) {
		return journal.Entry{Erase: back}, nil
	})
	return err
}
