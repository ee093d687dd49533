package plan

import (
	"cmp"
	"math"
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// task is a step on a walk.
type task struct {
	step     *pb.CheckStep
	phase    phase
	before   []int // tasks of the same phase that must come before it
	depth    int   // longest chain of such tasks
	assisted bool
	layer    int // in its phase; odd: with the assistant
	lit      []string
	setting  int // of its block, from 1; 0 when no lamp must burn
	at       post
	how      stance
	helper   float64 // where on the line the assistant stands
	walks    bool    // the assistant walks and the driver sits in the cab
	halt     int
}

// group is what is never interrupted: all halts of one phase and layer at one stop with
// one setting of the lamps.
type group struct {
	tasks  []int
	stop   int32
	stopID string
	lit    []string
	halts  []int
}

// block is a phase and layer; blocks follow each other.
type block struct {
	phase  phase
	layer  int
	groups []int
}

// setLayers says which tasks of a phase come before, with and after the assistant, who is
// needed in one stretch: last in the first phase, first in those that follow. Only what must
// precede an assisted task, or be at the first stop, comes before it there.
func setLayers(tasks []task, k calendar) {
	first := phaseClosing + 1
	for i := range tasks {
		if tasks[i].assisted {
			first = min(first, tasks[i].phase)
		}
	}
	order := byDepth(tasks)
	last := map[phase]int{}
	for _, i := range order {
		t := &tasks[i]
		for _, j := range t.before {
			t.layer = max(t.layer, tasks[j].layer)
		}
		if (t.layer%2 == 1) != t.assisted {
			t.layer++
		}
		if t.assisted {
			last[t.phase] = max(last[t.phase], t.layer)
		}
	}
	needed := make([]bool, len(tasks)) // something assisted comes after it
	for _, i := range slices.Backward(order) {
		t := &tasks[i]
		for _, j := range t.before {
			needed[j] = needed[j] || needed[i] || t.assisted
		}
		late := k.isClosing(t.step) || t.phase != first && !k.isFirst(t.step)
		if !t.assisted && !needed[i] && late && last[t.phase] > 0 {
			t.layer = last[t.phase] + 1
		}
	}
	for _, i := range order { // what must come behind one that was put off
		for _, j := range tasks[i].before {
			tasks[i].layer = max(tasks[i].layer, tasks[j].layer)
		}
	}
}

// byDepth numbers how deep tasks lie behind others of their phase, and returns them in an
// order that keeps what must come before.
func byDepth(tasks []task) []int {
	order := make([]int, 0, len(tasks))
	met := make([]bool, len(tasks))
	var visit func(i int)
	visit = func(i int) {
		if met[i] {
			return
		}
		met[i] = true
		for _, j := range tasks[i].before {
			visit(j)
			tasks[i].depth = max(tasks[i].depth, tasks[j].depth+1)
		}
		order = append(order, i)
	}
	for i := range tasks {
		visit(i)
	}
	return order
}

// setSettings finds the settings of the lamps of each block.
func setSettings(tasks []task, w wiring) {
	type key struct {
		phase phase
		layer int
	}
	byBlock := map[key]map[string][]int{}
	for i := range tasks {
		t := &tasks[i]
		if t.lit = litFor(t.step); len(t.lit) == 0 {
			continue
		}
		k := key{t.phase, t.layer}
		if byBlock[k] == nil {
			byBlock[k] = map[string][]int{}
		}
		word := strings.Join(t.lit, " ")
		byBlock[k][word] = append(byBlock[k][word], i)
	}
	for _, signatures := range byBlock {
		words := make([]string, 0, len(signatures))
		for word := range signatures {
			words = append(words, word)
		}
		// In the order in which the catalogue numbers their items.
		firstItem := func(word string) string {
			i := slices.MinFunc(signatures[word], func(a, b int) int { return cmp.Compare(tasks[a].step.GetItem(), tasks[b].step.GetItem()) })
			return tasks[i].step.GetItem()
		}
		slices.SortFunc(words, func(a, b string) int { return cmp.Or(cmp.Compare(firstItem(a), firstItem(b)), cmp.Compare(a, b)) })
		sets := make([][]string, len(words))
		for i, word := range words {
			sets[i] = strings.Fields(word)
		}
		for i, setting := range w.settings(sets) {
			for _, j := range signatures[words[i]] {
				tasks[j].setting = setting + 1
			}
		}
	}
}

// gather puts tasks into groups and blocks, both in their order.
func gather(tasks []task, k calendar) (groups []group, blocks []block) {
	order := make([]int, len(tasks))
	for i := range order {
		order[i] = i
	}
	compare := func(i, j int) int {
		a, b := &tasks[i], &tasks[j]
		return cmp.Or(cmp.Compare(a.phase, b.phase), cmp.Compare(a.layer, b.layer), cmp.Compare(k.stopOf(a.step), k.stopOf(b.step)),
			cmp.Compare(a.step.GetStop(), b.step.GetStop()), cmp.Compare(a.setting, b.setting))
	}
	slices.SortStableFunc(order, compare)
	for len(order) > 0 {
		t := &tasks[order[0]]
		if len(blocks) == 0 || blocks[len(blocks)-1].phase != t.phase || blocks[len(blocks)-1].layer != t.layer {
			blocks = append(blocks, block{phase: t.phase, layer: t.layer})
		}
		end := 1
		for end < len(order) && compare(order[0], order[end]) == 0 {
			end++
		}
		here := &blocks[len(blocks)-1]
		here.groups = append(here.groups, len(groups))
		groups = append(groups, group{tasks: slices.Clone(order[:end]), stop: k.stopOf(t.step), stopID: t.step.GetStop()})
		order = order[end:]
	}
	return groups, blocks
}

// untangle splits units of tasks so that no two must each come before the other. A unit that is in a
// circle lets go of what lies deepest; tasks one by one can be in no circle.
func untangle(tasks []task, units [][]int) [][]int {
	for {
		reach := reachOf(tasks, units)
		split := false
		var next [][]int
		for u, unit := range units {
			shallow := math.MaxInt
			for _, i := range unit {
				shallow = min(shallow, tasks[i].depth)
			}
			var now, later []int
			for _, i := range unit {
				if tasks[i].depth == shallow {
					now = append(now, i)
				} else {
					later = append(later, i)
				}
			}
			if !reach[u][u] || len(later) == 0 {
				next = append(next, unit)
				continue
			}
			next = append(next, now, later)
			split = true
		}
		if units = next; !split {
			return units
		}
	}
}

// reachOf tells which unit must come before which, by way of others too.
func reachOf(tasks []task, units [][]int) [][]bool {
	of := map[int]int{}
	reach := make([][]bool, len(units))
	for u, unit := range units {
		reach[u] = make([]bool, len(units))
		for _, i := range unit {
			of[i] = u
		}
	}
	for u, unit := range units {
		for _, i := range unit {
			for _, j := range tasks[i].before {
				if v, here := of[j]; here && v != u {
					reach[v][u] = true
				}
			}
		}
	}
	closeReach(reach)
	return reach
}

// closeReach adds what is reached by way of others.
func closeReach(reach [][]bool) {
	for m := range reach {
		for a := range reach {
			if reach[a][m] {
				for b := range reach {
					reach[a][b] = reach[a][b] || reach[m][b]
				}
			}
		}
	}
}
