package station

import (
	"context"
	"fmt"
	"iter"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/journal"
	"bayround/internal/merkle"
	pb "bayround/proto/bayround/v1"
)

// telling is what the events of a plan tell.
type telling struct {
	Survey
	tree     merkle.Edge
	differs  []uint64                    // what signed checkpoints count that these events do not lead to
	losses   []*pb.RecordLossAccepted    // that persons have accepted
	unproven bool                        // something of it does not prove itself
	texts    map[[32]byte]journal.Apart  // what stands apart, from all sources
	erased   map[[32]byte]bool           // of that, what nobody is to be shown any more
	people   map[string]bool             // who was put in force and not erased
	digests  map[string][][32]byte       // of what stands apart of each person, oldest first
	used     map[*copied]uint64          // events taken from each source; nil = the store
	times    map[*copied]journal.Stretch // first and last of them
}

// through goes through the plan once.
func (m *mending) through(ctx context.Context) (*telling, error) {
	t := &telling{
		Survey: Survey{Devices: map[string]time.Time{}}, texts: map[[32]byte]journal.Apart{}, erased: map[[32]byte]bool{},
		people: map[string]bool{}, digests: map[string][][32]byte{}, used: map[*copied]uint64{}, times: map[*copied]journal.Stretch{},
	}
	for _, a := range m.salvage.Apart {
		t.texts[a.Digest()] = a
	}
	for _, digest := range m.salvage.Erased {
		t.erased[digest] = true
	}
	for _, p := range m.plan {
		t.unproven = t.unproven || !p.Proven
		for c, err := range m.commandsOf(p) {
			if err == nil {
				err = ctx.Err()
			}
			if err == nil {
				err = t.take(c, p)
			}
			if err == nil {
				err = t.compare(m.roots)
			}
			if err != nil {
				return nil, err
			}
		}
		if t.tree.Size() != p.Last {
			return nil, fmt.Errorf("of events %d to %d only those up to %d could be read again", p.First, p.Last, t.tree.Size())
		}
	}
	return t, nil
}

// take takes in one command, which must be the next.
func (t *telling) take(c journal.Stored, p piece) error {
	if c.First != t.tree.Size()+1 || c.Last() > p.Last {
		return fmt.Errorf("events %d to %d of command %q do not join on to event %d", c.First, c.Last(), c.Command.ID, t.tree.Size())
	}
	for _, a := range c.Apart {
		t.texts[a.Digest()] = a
	}
	for i, event := range c.Events {
		leaf := event.Leaf
		if event.Record != nil {
			leaf = tlog.RecordHash(event.Record)
		}
		if _, err := t.tree.Add(leaf); err != nil {
			return err
		}
		if event.Record == nil {
			continue
		}
		ev, err := parseEvent(c.First+uint64(i), event.Record)
		if err != nil {
			return err
		}
		t.event(ev)
	}
	t.used[p.from] += uint64(len(c.Events))
	run := t.times[p.from]
	if run.First == 0 {
		run.First = c.First
	}
	run.Last = c.Last()
	t.times[p.from] = run
	return nil
}

// compare holds what was taken in so far against the signed checkpoint of so many
// events, if there is one.
func (t *telling) compare(roots map[uint64]tlog.Hash) error {
	want, signed := roots[t.tree.Size()]
	if !signed {
		return nil
	}
	root, err := t.tree.Root()
	if err == nil && root != want {
		t.differs = append(t.differs, t.tree.Size())
	}
	return err
}

func (t *telling) event(ev *pb.JournalEvent) {
	t.note(ev)
	if loss := ev.GetRecordLossAccepted(); loss != nil {
		t.losses = append(t.losses, loss)
	}
	if p := ev.GetPersonApplied(); p != nil {
		t.people[p.GetName()] = true
		if len(p.GetApart()) == 32 {
			t.digests[p.GetName()] = append(t.digests[p.GetName()], [32]byte(p.GetApart()))
		}
	}
	if gone := ev.GetPersonErased().GetPerson(); gone != "" {
		t.people[gone] = false
		for _, digest := range t.digests[gone] {
			t.erased[digest] = true
		}
		t.digests[gone] = nil
	}
}

// nameless lists people of whom only the id is left.
func (t *telling) nameless() (names []string) {
	for _, name := range sortedKeys(t.digests) {
		if all := t.digests[name]; len(all) > 0 {
			newest := all[len(all)-1]
			if _, found := t.texts[newest]; !found && !t.erased[newest] {
				names = append(names, name)
			}
		}
	}
	return names
}

// commands gives the commands of the plan with what stands apart of them, as far as it
// is there and was not erased.
func (m *mending) commands() iter.Seq2[journal.Stored, error] {
	return func(yield func(journal.Stored, error) bool) {
		for _, p := range m.plan {
			for c, err := range m.commandsOf(p) {
				c.Apart = m.told.apartOf(c)
				if !yield(c, err) || err != nil {
					return
				}
			}
		}
	}
}

func (t *telling) apartOf(c journal.Stored) (apart []journal.Apart) {
	for i, event := range c.Events {
		ev, err := parseEvent(c.First+uint64(i), event.Record)
		if err != nil || len(ev.GetPersonApplied().GetApart()) != 32 {
			continue
		}
		digest := [32]byte(ev.GetPersonApplied().GetApart())
		if text, found := t.texts[digest]; found && !t.erased[digest] {
			apart = append(apart, text)
		}
	}
	return apart
}
