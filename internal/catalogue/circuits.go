package catalogue

import (
	"fmt"
	"slices"
)

// checkCircuits checks the lamp circuits, and the words that items call them by.
// Unless the whole set could be read, nothing is said of what seems missing.
func (in *inspector) checkCircuits(whole bool) {
	circuits := in.loaded.Catalogue.GetCircuits()
	var ids []string
	first := map[string]string{}
	for i, circuit := range circuits {
		path := fmt.Sprintf("circuits[%d]", i)
		if before, known := first[circuit.GetId()]; known && circuit.GetId() != "" {
			in.again(path, "circuit "+circuit.GetId(), before)
			continue
		}
		first[circuit.GetId()] = path
		ids = append(ids, circuit.GetId())
	}
	for i, circuit := range circuits {
		for j, other := range circuit.GetNotWith() {
			path := fmt.Sprintf("circuits[%d].not_with[%d]", i, j)
			switch {
			case other == circuit.GetId():
				in.wrong(path, fmt.Sprintf("circuit %s cannot be judged together with itself", other), "take it away, or name another circuit")
			case whole && !slices.Contains(ids, other):
				in.wrong(path, fmt.Sprintf("circuit %s cannot be judged together with %s, which is no circuit", circuit.GetId(), shown(other)), suggestion(other, ids))
			}
		}
	}
	if whole && len(ids) > 0 {
		in.checkLampsLit(ids)
	}
}

// checkLampsLit checks that there is a circuit for every word of lamps_lit.
func (in *inspector) checkLampsLit(ids []string) {
	for i, item := range in.loaded.Catalogue.GetItems() {
		for j, word := range item.GetState().GetLampsLit() {
			if !slices.Contains(ids, word) {
				in.wrong(fmt.Sprintf("items[%d].state.lamps_lit[%d]", i, j), fmt.Sprintf("%s wants the circuit %s lit, which the catalogue does not have", item.GetId(), shown(word)), suggestion(word, ids))
			}
		}
	}
}
