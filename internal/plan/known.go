package plan

import (
	"encoding/binary"

	"bayround/internal/plan/sop"
)

// solutions are those of problems that were solved before, by all that a problem is made of. Where many choices of steps
// are tried one after the other, most stretches stay as they were.
type solutions map[string]sop.Solution

// solve solves a problem of the halts of a stretch. nil remembers nothing.
func (s solutions) solve(cost [][]int64, pairs [][2]int, groups [][]int) (sop.Solution, error) {
	key := ""
	if s != nil {
		key = keyOf(cost, pairs, groups)
		if found, known := s[key]; known {
			return found, nil
		}
	}
	p, err := sop.NewGrouped(cost, pairs, groups)
	if err != nil {
		return sop.Solution{}, err
	}
	found := p.Solve(budgetFor(len(groups)), nil)
	if s != nil {
		s[key] = found
	}
	return found, nil
}

// keyOf is different for different problems: each list stands behind its length.
func keyOf(cost [][]int64, pairs [][2]int, groups [][]int) string {
	n := len(cost)
	key := binary.AppendUvarint(make([]byte, 0, 4*n*n), uint64(n))
	for _, row := range cost {
		for _, c := range row {
			key = binary.AppendUvarint(key, uint64(c))
		}
	}
	key = binary.AppendUvarint(key, uint64(len(pairs)))
	for _, pair := range pairs {
		key = binary.AppendUvarint(binary.AppendUvarint(key, uint64(pair[0])), uint64(pair[1]))
	}
	for _, nodes := range groups {
		key = binary.AppendUvarint(key, uint64(len(nodes)))
		for _, i := range nodes {
			key = binary.AppendUvarint(key, uint64(i))
		}
	}
	return string(key)
}
