package station

import (
	"fmt"
	"iter"
	"path/filepath"
	"slices"

	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/journal"
	pb "bayround/proto/bayround/v1"
)

// piece is a run of events that one source gives.
type piece struct {
	journal.Stretch
	from *copied // nil = the store
}

// pieces lists everything that there is.
func (m *mending) pieces() (all []piece) {
	for _, s := range m.salvage.Stretches {
		all = append(all, piece{Stretch: s})
	}
	for _, c := range m.copies {
		if c.head == nil {
			continue
		}
		if c.proven >= c.first() {
			all = append(all, piece{journal.Stretch{First: c.first(), Last: c.proven, Proven: true}, c})
		}
		if c.last > c.proven {
			all = append(all, piece{journal.Stretch{First: c.proven + 1, Last: c.last}, c})
		}
	}
	return all
}

// planned joins pieces from the first event on, as far as they reach. What is proven
// comes before what is not, the store before copies, and of these the one that goes
// farthest.
func (m *mending) planned(unproven bool) (plan []piece) {
	all := m.pieces()
	m.unproven = unproven
	for next := uint64(1); next <= m.known.Size; {
		best := piece{}
		for _, p := range all {
			if p.First <= next && next <= p.Last && (p.Proven || unproven) && p.better(best) {
				best = p
			}
		}
		if best.Last == 0 {
			break
		}
		best.First, best.Last = next, min(best.Last, m.known.Size)
		for _, p := range all {
			if p.First > next && p.takesOver(best) {
				best.Last = min(best.Last, p.First-1)
			}
		}
		plan = append(plan, best)
		next = best.Last + 1
	}
	return plan
}

func (p piece) better(than piece) bool {
	switch {
	case than.Last == 0 || p.Proven != than.Proven:
		return than.Last == 0 || p.Proven
	case (p.from == nil) != (than.from == nil):
		return p.from == nil
	}
	return p.Last > than.Last
}

// takesOver tells whether a piece is used from where it begins, although another
// would go on: what is proven, and what the record itself still holds.
func (p piece) takesOver(from piece) bool {
	return p.Proven && (!from.Proven || p.from == nil && from.from != nil)
}

// commandsOf gives the commands of a piece.
func (m *mending) commandsOf(p piece) iter.Seq2[journal.Stored, error] {
	if p.from == nil {
		return m.salvage.Commands(p.Stretch)
	}
	return func(yield func(journal.Stored, error) bool) {
		for c, err := range storedIn(p.from.name) {
			switch {
			case err == nil && c.First < p.First:
				continue
			case err == nil && c.First > p.Last:
				return
			}
			if !yield(m.stripped(c), err) || err != nil || c.Last() >= p.Last {
				return
			}
		}
	}
}

// stripped is a command of a copy without what the record had dropped when its time
// was over: a copy from before does not bring it back.
func (m *mending) stripped(c journal.Stored) journal.Stored {
	gone := slices.ContainsFunc(m.salvage.Dropped, func(s journal.Span) bool { return s.First <= c.First && c.First <= s.Last })
	if !gone {
		return c
	}
	c.Events, c.Receipt, c.Apart = slices.Clone(c.Events), nil, nil
	for i := range c.Events {
		if event := &c.Events[i]; event.Record != nil {
			event.Leaf, event.Record = tlog.RecordHash(event.Record), nil
		}
	}
	return c
}

// missing lists what is in no source that the plan could use.
func (m *mending) missing() (gaps []journal.Stretch) {
	all, next := m.pieces(), uint64(1)
	if !m.unproven {
		all = slices.DeleteFunc(all, func(p piece) bool { return !p.Proven })
	}
	for next <= m.known.Size {
		end, begins := uint64(0), m.known.Size+1
		for _, p := range all {
			switch {
			case p.First <= next && next <= p.Last:
				end = max(end, p.Last)
			case p.First > next:
				begins = min(begins, p.First)
			}
		}
		if end == 0 {
			gaps = append(gaps, journal.Stretch{First: next, Last: begins - 1})
			end = begins - 1
		}
		next = end + 1
	}
	return gaps
}

// sources says what each source gave.
func (m *mending) sources() (all []MendSource) {
	store := MendSource{Name: "the record's own store", Used: m.told.used[nil]}
	for _, s := range m.salvage.Stretches {
		if store.First == 0 {
			store.First = s.First
		}
		store.Last = s.Last
	}
	if m.salvage.Trouble != nil {
		store.Trouble = m.salvage.Trouble.Error()
	}
	all = append(all, store)
	for _, c := range m.copies {
		s := MendSource{Name: c.title(), Used: m.told.used[c]}
		if c.head != nil && c.last >= c.first() {
			s.First, s.Last = c.first(), c.last
		}
		if c.err != nil {
			s.Trouble = c.err.Error()
		}
		all = append(all, s)
	}
	return all
}

// title is how a copy is called: by its device, when it was offered by one.
func (c *copied) title() string {
	if filepath.Base(filepath.Dir(c.name)) == RefillFolder {
		return "the copy of " + filepath.Base(c.name[:len(c.name)-len(refillSuffix)])
	}
	return c.name
}

// refilled says which events come from copies; nil when none do.
func (m *mending) refilled() *pb.RecordRefilled {
	var r *pb.RecordRefilled
	for _, c := range m.copies {
		run := m.told.times[c]
		if m.told.used[c] == 0 {
			continue
		}
		if r == nil {
			r = &pb.RecordRefilled{FirstSequence: int64(run.First)}
		}
		r.FirstSequence, r.LastSequence = min(r.GetFirstSequence(), int64(run.First)), max(r.GetLastSequence(), int64(run.Last))
		r.Sources = append(r.Sources, fmt.Sprintf("%s: %d events, %d to %d", filepath.Base(c.title()), m.told.used[c], run.First, run.Last))
	}
	return r
}
