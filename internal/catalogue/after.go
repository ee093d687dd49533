package catalogue

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// checkAfter checks what items must be done after: that it exists, that no item
// waits for itself by any way round, and that none waits for an engine that is
// further on than it needs it. Unless the whole set could be read, nothing is said
// of what seems missing. It stops when more is wrong than anybody mends at once.
func (in *inspector) checkAfter(whole bool) {
	items := in.loaded.Catalogue.GetItems()
	s := &sequence{in: in, items: items, at: map[string]int{}, seen: make([]int8, len(items)), reached: make([]int, len(items))}
	for i, item := range items {
		if _, known := s.at[item.GetId()]; !known {
			s.at[item.GetId()] = i
		}
	}
	if whole {
		s.checkKnown()
	}
	for i := range items {
		s.walk(i)
	}
}

// sequence is what is known of the items while it is found out which come after which.
type sequence struct {
	in      *inspector
	items   []*pb.Item
	at      map[string]int // by id
	seen    []int8         // unseen, open or done, of each item
	open    []int          // the way from where the walk began
	closed  bool           // a ring was found on this way: the way back says nothing new
	reached []int          // how far the engine must have come before each item
}

const (
	unseen int8 = 0
	open   int8 = 1
	done   int8 = 2
)

// checkKnown complains about ids of items that the catalogue does not have.
func (s *sequence) checkKnown() {
	ids := slices.Sorted(maps.Keys(s.at))
	for i, item := range s.items {
		until := item.GetStaysUntil()
		if _, known := s.at[until]; until != "" && (!known || until == item.GetId()) {
			others := slices.DeleteFunc(slices.Clone(ids), func(id string) bool { return id == item.GetId() })
			s.in.wrong(fmt.Sprintf("items[%d].stays_until", i), fmt.Sprintf("what %s leaves undone cannot be put back at %s, which is no other item", item.GetId(), shown(until)), suggestion(until, others))
		}
		for j, id := range item.GetAfter() {
			if _, known := s.at[id]; known || id == "" {
				continue
			}
			if len(s.in.problems) > maxFileProblems {
				return
			}
			s.in.wrong(after(i, j), fmt.Sprintf("%s comes after %s, which the catalogue does not have", item.GetId(), shown(id)), suggestion(id, ids))
		}
	}
}

// after is the path of an entry.
func after(item, entry int) string { return fmt.Sprintf("items[%d].after[%d]", item, entry) }

// walk follows an item to all that must be done before it.
func (s *sequence) walk(i int) {
	if s.seen[i] != unseen {
		return
	}
	if len(s.open) == 0 {
		s.closed = false
	}
	s.seen[i], s.open = open, append(s.open, i)
	item, needs := s.items[i], engineStage[s.items[i].GetState().GetEngine()]
	s.reached[i] = needs
	for j, id := range item.GetAfter() {
		before, known := s.at[id]
		if !known {
			continue
		}
		if s.seen[before] == open {
			s.ring(i, j, before)
			continue
		}
		s.walk(before)
		if needs > 0 && s.reached[before] > needs && len(s.in.problems) <= maxFileProblems {
			s.in.wrong(after(i, j), fmt.Sprintf("%s needs the engine %s and comes after %s, which waits until it is %s", item.GetId(), engineWords[needs], id, engineWords[s.reached[before]]), "take it away, or change the engine state of one of them")
		}
		s.reached[i] = max(s.reached[i], s.reached[before])
	}
	s.seen[i], s.open = done, s.open[:len(s.open)-1]
}

// ring complains that an item comes after itself, and names the way round; once
// for each way walked.
func (s *sequence) ring(i, j, before int) {
	if s.closed {
		return
	}
	s.closed = true
	start := slices.Index(s.open, before)
	names := make([]string, 0, len(s.open)-start+1)
	for _, k := range s.open[start:] {
		names = append(names, s.items[k].GetId())
	}
	names = append(names, s.items[before].GetId())
	s.in.wrong(after(i, j), "items wait for each other: "+strings.Join(names, " comes after "), "take one of these away")
}

// engineStage is how far the engine has come in each state that an item can need;
// what only needs it stopped can be done before and after.
var engineStage = map[pb.EngineState]int{
	pb.EngineState_ENGINE_STATE_COLD:         1,
	pb.EngineState_ENGINE_STATE_COLD_START:   2,
	pb.EngineState_ENGINE_STATE_RUNNING:      3,
	pb.EngineState_ENGINE_STATE_RUNNING_WARM: 4,
}

// engineWords says the stages.
var engineWords = map[int]string{1: "cold", 2: "started", 3: "running", 4: "warm"}
