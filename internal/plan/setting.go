package plan

import (
	"cmp"
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// usualNotWith says which circuits cannot be judged together, for a catalogue that has no
// circuits: as the default one has it (walk.yaml; common practice).
var usualNotWith = map[string]string{
	"side": "dipped main brake fog scene", "dipped": "main", "main": "blue", "indicators": "hazard amber blue", "hazard": "amber blue",
	"brake": "fog", "reverse": "scene", "blue": "amber", "interior": "scene",
	"all": "side dipped main indicators hazard brake reverse fog blue amber interior scene",
}

// wiring knows the lamp circuits of a catalogue.
type wiring struct {
	notWith map[[2]string]bool // both ways
	titles  map[string]string
	held    map[string]bool // somebody must hold it on
}

func newWiring(circuits []*pb.Circuit) wiring {
	w := wiring{notWith: map[[2]string]bool{}, titles: map[string]string{}, held: map[string]bool{}}
	not := func(a, b string) { w.notWith[[2]string{a, b}], w.notWith[[2]string{b, a}] = true, true }
	for _, c := range circuits {
		w.titles[c.GetId()], w.held[c.GetId()] = c.GetTitle(), c.GetHeld()
		for _, other := range c.GetNotWith() {
			not(c.GetId(), other)
		}
	}
	if len(circuits) == 0 {
		for a, others := range usualNotWith {
			for _, b := range strings.Fields(others) {
				not(a, b)
			}
		}
	}
	return w
}

// title is what a driver calls a circuit.
func (w wiring) title(id string) string { return cmp.Or(w.titles[id], id) }

// together tells that two sets of circuits can be judged together.
func (w wiring) together(a, b []string) bool {
	for _, x := range a {
		if slices.ContainsFunc(b, func(y string) bool { return w.notWith[[2]string{x, y}] }) {
			return false
		}
	}
	return true
}

// mostColourings is how many choices are looked at before a number of settings is given up.
const mostColourings = 200_000

// settings puts what wants some circuits lit into as few settings as there can be: a
// setting burns at one time. signatures are sets of circuits, each once, in the order in which
// they are to be judged; the answer is the setting of each, from 0. Of several ways with as few
// settings, each signature in turn gets the earliest setting that it can.
func (w wiring) settings(signatures [][]string) []int {
	chosen := make([]int, len(signatures))
	for most := 1; most < len(signatures); most++ {
		left := mostColourings
		if w.colour(signatures, chosen, 0, most, &left) {
			return chosen
		}
	}
	for i := range chosen {
		chosen[i] = i
	}
	return chosen
}

// colour chooses settings below most from the i-th signature on. false: there are none, or none was found in time.
func (w wiring) colour(signatures [][]string, chosen []int, i, most int, left *int) bool {
	if i == len(signatures) {
		return true
	}
	used := 0
	for _, s := range chosen[:i] {
		used = max(used, s+1)
	}
	for s := range min(used+1, most) {
		if *left--; *left < 0 {
			return false
		}
		free := true
		for j, other := range chosen[:i] {
			free = free && (other != s || w.together(signatures[i], signatures[j]))
		}
		chosen[i] = s
		if free && w.colour(signatures, chosen, i+1, most, left) {
			return true
		}
	}
	return false
}

// litFor returns the circuits that must burn for a step, sorted.
func litFor(step *pb.CheckStep) []string {
	lit := slices.Clone(step.GetState().GetLampsLit())
	slices.Sort(lit)
	return slices.Compact(lit)
}

// switched is how many circuits are switched on to go from one setting to another; needed tells
// that something must be switched at all: what burns beside what is wanted must go out.
func switched(from, to []string) (on int, needed bool) {
	if len(to) == 0 || slices.Equal(from, to) {
		return 0, false
	}
	for _, c := range to {
		if !slices.Contains(from, c) {
			on++
		}
	}
	return on, true
}
