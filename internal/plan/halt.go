package plan

import (
	"cmp"
	"slices"
	"strings"
)

// halt is one stand with the tasks done from it, in their order.
type halt struct {
	tasks    []int
	group    int
	block    int
	stop     string
	at       post
	how      stance
	lit      []string
	assisted bool
	walks    bool
	helper   float64
}

// placeHalts puts the tasks of a group where one person stands or sits for them.
func (r *route) placeHalts(g int, block int) {
	classes := map[string][]int{}
	var names []string
	for _, i := range r.groups[g].tasks {
		name := classOf(&r.tasks[i])
		if classes[name] == nil {
			names = append(names, name)
		}
		classes[name] = append(classes[name], i)
	}
	slices.Sort(names)
	var units [][]int
	for _, name := range names {
		tasks := classes[name]
		if name[0] == 'o' {
			units = append(units, r.cluster(tasks)...)
		} else {
			units = append(units, tasks)
		}
	}
	for _, unit := range untangle(r.tasks, units) {
		h := halt{tasks: r.inHalt(unit), group: g, block: block, stop: r.groups[g].stopID, lit: r.groups[g].lit}
		first := &r.tasks[unit[0]]
		h.at, h.assisted, h.walks, h.helper = first.at, first.assisted, first.walks, first.helper
		if h.at.room == outside || h.walks {
			h.helper = r.middle(unit)
			if !h.walks {
				h.at.along = h.helper
			}
		} else {
			h.helper = h.at.along // at hand, by the door
		}
		for _, i := range unit {
			how := r.tasks[i].how
			h.how = stance{h.how.kneel || how.kneel, h.how.flap || how.flap, h.how.roof || how.roof}
		}
		r.halts = append(r.halts, h)
	}
}

// classOf tells apart what is done from different kinds of stand, at the same place though it be.
func classOf(t *task) string {
	switch {
	case t.how.flap:
		return "flap" // opened once, and all that is under it is done from there
	case t.how.roof:
		return "o roof"
	case t.walks || t.at.room == outside:
		return "o"
	}
	return "inside" + strings.Repeat("+", int(t.at.room)*2+t.at.seat)
}

// standOf is where on the line somebody stands for a task.
func standOf(t *task) float64 {
	if t.walks {
		return t.helper
	}
	return t.at.along
}

// cluster splits tasks by their stands: those of one cluster lie within reach to either
// side of its middle. It splits at the widest gap, so that a stand that moves a little, or one
// that goes, leaves the others where they are.
func (r *route) cluster(tasks []int) [][]int {
	length := r.yard.line.Length()
	tasks = slices.Clone(tasks)
	along := func(i int) float64 { return standOf(&r.tasks[i]) }
	slices.SortStableFunc(tasks, func(a, b int) int { return cmp.Compare(along(a), along(b)) })
	// The line is round: it is cut open at the widest gap.
	cut, widest := 0, length-along(tasks[len(tasks)-1])+along(tasks[0])
	for i := 1; i < len(tasks); i++ {
		if gap := along(tasks[i]) - along(tasks[i-1]); gap > widest {
			cut, widest = i, gap
		}
	}
	tasks = slices.Concat(tasks[cut:], tasks[:cut])
	ahead := func(i int) float64 {
		d := along(i) - along(tasks[0])
		if d < 0 {
			d += length
		}
		return d
	}
	return splitWide(tasks, ahead, 2*r.gait.reachM+0.0005) // stands are whole millimetres
}

func splitWide(tasks []int, ahead func(int) float64, most float64) [][]int {
	if ahead(tasks[len(tasks)-1])-ahead(tasks[0]) <= most {
		return [][]int{tasks}
	}
	cut, widest := 1, -1.0
	for i := 1; i < len(tasks); i++ {
		if gap := ahead(tasks[i]) - ahead(tasks[i-1]); gap > widest {
			cut, widest = i, gap
		}
	}
	return append(splitWide(tasks[:cut:cut], ahead, most), splitWide(tasks[cut:], ahead, most)...)
}

// middle is the stand in the middle of those of some tasks that lie close together.
func (r *route) middle(tasks []int) float64 {
	length := r.yard.line.Length()
	from := standOf(&r.tasks[tasks[0]])
	low, high := 0.0, 0.0
	for _, i := range tasks[1:] {
		d := standOf(&r.tasks[i]) - from
		switch {
		case d > length/2:
			d -= length
		case d < -length/2:
			d += length
		}
		low, high = min(low, d), max(high, d)
	}
	stand := from + (low+high)/2
	switch {
	case length == 0:
		return 0
	case stand < 0:
		stand += length
	case stand >= length:
		stand -= length
	}
	return stand
}

// inHalt orders the tasks of one halt: what must not be missed first, then from top to
// bottom, as far as what must come before allows.
func (r *route) inHalt(tasks []int) []int {
	left := slices.Clone(tasks)
	slices.SortFunc(left, func(i, j int) int {
		a, b := r.tasks[i].step, r.tasks[j].step
		return cmp.Or(
			-compareBools(a.GetMustNotMiss(), b.GetMustNotMiss()),
			-cmp.Compare(a.GetPlace().GetAt().GetZM(), b.GetPlace().GetAt().GetZM()),
			cmp.Compare(a.GetItem(), b.GetItem()),
			cmp.Compare(a.GetTwin(), b.GetTwin()), // outer before inner
			cmp.Compare(a.GetPlace().GetId(), b.GetPlace().GetId()),
		)
	})
	order := make([]int, 0, len(left))
	for len(left) > 0 {
		next := max(0, slices.IndexFunc(left, func(i int) bool {
			return !slices.ContainsFunc(r.tasks[i].before, func(j int) bool { return slices.Contains(left, j) })
		}))
		order = append(order, left[next])
		left = slices.Delete(left, next, next+1)
	}
	return order
}

// compareBools puts false before true.
func compareBools(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}
