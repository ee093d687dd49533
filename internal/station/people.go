package station

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/journal"
	pb "bayround/proto/bayround/v1"
)

// Who a person is – name and PIN – stands apart from the record: the event that puts
// a person in force holds a digest (Person.apart) in their place, and the journal
// can erase what it is of. In memory a person is whole; the row that says what is
// in force lists the digests, of former names too, so that an erasure finds all.
// Records made before names stood apart hold them openly, and go on doing so.

// erasedTitle is the name of who was erased.
const erasedTitle = "erased person"

// erasedPerson is what is left of a person.
func erasedPerson(name string) *pb.Person {
	return &pb.Person{Name: name, Title: erasedTitle, Erased: true}
}

// personEvent is the event that puts a person in force as given: one who is given
// as erased, by the station of record, is erased here, too.
func personEvent(p *pb.Person) *pb.JournalEvent {
	if p.GetErased() {
		return &pb.JournalEvent{Event: &pb.JournalEvent_PersonErased{PersonErased: &pb.PersonErased{Person: p.GetName(), Reason: "erased at the station of record"}}}
	}
	return &pb.JournalEvent{Event: &pb.JournalEvent_PersonApplied{PersonApplied: p}}
}

// whole is a person as everybody is shown it: what it keeps apart is in its place.
func whole(p *pb.Person) *pb.Person {
	if len(p.GetApart()) == 0 {
		return p
	}
	p = proto.CloneOf(p)
	p.Apart = nil
	return p
}

// setApart prepares an event to be recorded: who a person is goes apart. The event
// itself gets the digest beside the name, for the state; recorded is what the
// journal is given. An erasure takes everything that stands apart of the person.
func (c *command) setApart(ev *pb.JournalEvent) (recorded *pb.JournalEvent, err error) {
	switch e := ev.GetEvent().(type) {
	case *pb.JournalEvent_PersonApplied:
		content, err := proto.Marshal(&pb.PersonApart{Title: e.PersonApplied.GetTitle(), PinArgon2Id: e.PersonApplied.GetPinArgon2Id(), BadgeHmacSha256: e.PersonApplied.GetBadgeHmacSha256()})
		if err != nil {
			return nil, notUTF8(err)
		}
		apart := journal.NewApart(content)
		digest := apart.Digest()
		c.apart = append(c.apart, apart)
		open := proto.CloneOf(e.PersonApplied)
		open.Apart = digest[:]
		e.PersonApplied = open
		recorded = proto.CloneOf(ev)
		open = recorded.GetPersonApplied()
		open.Title, open.PinArgon2Id, open.BadgeHmacSha256 = "", "", ""
		return recorded, nil
	case *pb.JournalEvent_PersonErased:
		c.erase = append(c.erase, c.state.refOf(e.PersonErased.GetPerson()).digests()...)
	}
	return ev, nil
}

// refOf is where a thing came from, by what was put in force up to now.
func (st *state) refOf(name string) ref {
	if st.draft != nil {
		return st.draft.refs[name]
	}
	return st.lib.refs[name]
}

// with is what is known of where a person came from when the person is put in
// force anew.
func (r ref) with(p *pb.Person) ref {
	return ref{apart: r.apart + string(p.GetApart()), open: r.open || len(p.GetApart()) == 0}
}

// inForceRow is the row of where a thing came from.
func (r ref) inForceRow() record {
	row := record{}.number(1, r.sequence).text(2, r.defaults).text(3, r.apart)
	if r.open {
		row = row.number(4, 1)
	}
	return row.number(5, r.erased)
}

// readRef is the inverse of inForceRow.
func readRef(f fields) ref {
	return ref{sequence: f.number(1), defaults: f.text(2), apart: f.text(3), open: f.number(4) == 1, erased: f.number(5)}
}

// digests are those of everything that stands apart of a person.
func (r ref) digests() [][32]byte {
	var all [][32]byte
	for rest := r.apart; len(rest) >= 32; rest = rest[32:] {
		all = append(all, [32]byte([]byte(rest[:32])))
	}
	return all
}

// person fills in what the event that put a person in force keeps apart. What was
// erased since, or is missing, leaves nobody to be shown.
func (l *loader) person(ev *pb.JournalEvent) error {
	p := ev.GetPersonApplied()
	if p == nil || len(p.GetApart()) == 0 {
		return nil
	}
	if len(p.GetApart()) != 32 {
		return unreadable(fmt.Sprintf("event %d", ev.GetSequence()), errEvent)
	}
	content, found, err := l.journal.Apart([32]byte(p.GetApart()))
	if err != nil {
		return err
	}
	if !found {
		p.Title, p.Erased, p.Roles = erasedTitle, true, nil
		return nil
	}
	apart := &pb.PersonApart{}
	if err := proto.Unmarshal(content, apart); err != nil {
		return unreadable(fmt.Sprintf("what event %d keeps apart", ev.GetSequence()), err)
	}
	p.Title, p.PinArgon2Id, p.BadgeHmacSha256 = apart.GetTitle(), apart.GetPinArgon2Id(), apart.GetBadgeHmacSha256()
	return nil
}

// active refuses a person who is unknown, or who was erased: who is erased does
// nothing any more. What was done before reaches the station late all the same;
// device is when it was done, by the device's clock, the zero time when it did not say.
func (l *library) active(name string, device time.Time) error {
	p := l.set.People[name]
	switch erased := l.refs[name].erased; {
	case p == nil:
		return unknown("person", name)
	case p.GetErased() && (device.IsZero() || !device.Before(time.Unix(0, erased))):
		return fault.New(fault.Precondition, "PERSON_ERASED", "%s was erased; nobody acts under that id any more", name)
	}
	return nil
}

// deviceTimeOf is when a device says that something was done; zero when it does not.
func deviceTimeOf(req timed) time.Time {
	if req.GetDeviceTime() == nil {
		return time.Time{}
	}
	return req.GetDeviceTime().AsTime()
}
