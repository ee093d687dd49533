package notice

import "slices"

// Filter chooses notices. What is empty chooses all.
type Filter struct {
	Vehicles []string // resource names
	Kinds    []Kind
	Verdicts []string // a change of verdict is told that leads to one of these, or away from one
}

// Wants tells whether a notice is chosen.
func (f Filter) Wants(n Notice) bool {
	if len(f.Vehicles) > 0 && !slices.Contains(f.Vehicles, n.Vehicle) || len(f.Kinds) > 0 && !slices.Contains(f.Kinds, n.Kind) {
		return false
	}
	return len(f.Verdicts) == 0 || slices.Contains(f.Verdicts, n.Verdict) || slices.Contains(f.Verdicts, n.Was)
}
