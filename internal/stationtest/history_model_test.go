package stationtest_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/anishathalye/porcupine"
)

// What clients ask of a station, and what it answers, as the model sees it.
type (
	// recordOp records result number n at a vehicle.
	recordOp struct {
		n       byte
		vehicle int
	}
	// recorded is its answer; unknown when the station died before it answered.
	recorded struct {
		sequence int64
		repeated bool
		unknown  bool
	}
	// headOp reads the checkpoint; its answer is the number of events.
	headOp struct{}
	// stateOp reads the newest result of a vehicle; its answer is that and the
	// vehicle's newest event.
	stateOp struct{ vehicle int }
	newest  struct {
		n        byte // none when there is none
		sequence int64
	}
)

// none is the number of no result.
const none = 255

// vehicles are how many the results are spread over.
const vehicles = 2

func vehicleOf(n byte) int { return int(n) % vehicles }

// stationModel is a station in one line: a record of results, one event each, after
// base events of other kinds, of which began are the newest of each vehicle. Its
// state is the numbers of the results in the order of the record.
func stationModel(base int64, began [vehicles]int64) porcupine.Model {
	m := porcupine.NondeterministicModel{
		Init: func() []any { return []any{""} },
		Step: func(state, input, output any) []any {
			record := state.(string)
			switch in := input.(type) {
			case recordOp:
				return stepRecord(record, base, in, output.(recorded))
			case headOp:
				return stay(record, output.(int64) == base+int64(len(record)))
			case stateOp:
				return stay(record, output.(newest) == newestIn(record, in.vehicle, base, began))
			}
			return nil
		},
		Equal:             func(a, b any) bool { return a.(string) == b.(string) },
		DescribeOperation: func(input, output any) string { return fmt.Sprintf("%+v -> %+v", input, output) },
	}
	return m.ToModel()
}

func stay(record string, fits bool) []any {
	if fits {
		return []any{record}
	}
	return nil
}

// stepRecord stores a result once: sending it again gives its event again. One
// that was not answered may have been stored or not.
func stepRecord(record string, base int64, in recordOp, out recorded) []any {
	at := strings.IndexByte(record, in.n)
	after := record + string([]byte{in.n})
	switch {
	case out.unknown && at >= 0:
		return []any{record}
	case out.unknown:
		return []any{record, after}
	case at >= 0:
		return stay(record, out == recorded{sequence: base + int64(at) + 1, repeated: true})
	case out == recorded{sequence: base + int64(len(after))}:
		return []any{after}
	}
	return nil
}

func newestIn(record string, vehicle int, base int64, began [vehicles]int64) newest {
	for i := len(record) - 1; i >= 0; i-- {
		if vehicleOf(record[i]) == vehicle {
			return newest{record[i], base + int64(i) + 1}
		}
	}
	return newest{none, began[vehicle]}
}

// The model must be able to say no.
func TestStationModel_FindsWhatIsWrong(t *testing.T) {
	const base = 16
	op := func(client int, from, to int64, in, out any) porcupine.Operation {
		return porcupine.Operation{ClientId: client, Call: from, Return: to, Input: in, Output: out}
	}
	done := func(sequence int64) recorded { return recorded{sequence: sequence} }
	unknown := recorded{unknown: true}
	for name, tc := range map[string]struct {
		right   bool
		history []porcupine.Operation
	}{
		"one after the other": {true, []porcupine.Operation{
			op(0, 1, 2, recordOp{0, 0}, done(17)), op(0, 3, 4, recordOp{1, 1}, done(18)),
			op(0, 5, 6, headOp{}, int64(18)), op(0, 7, 8, stateOp{0}, newest{0, 17}),
		}},
		"side by side in the other order": {true, []porcupine.Operation{
			op(0, 1, 4, recordOp{0, 0}, done(18)), op(1, 2, 3, recordOp{2, 0}, done(17)), op(0, 5, 6, stateOp{0}, newest{0, 18}),
		}},
		"one event given twice": {false, []porcupine.Operation{
			op(0, 1, 4, recordOp{0, 0}, done(17)), op(1, 2, 3, recordOp{2, 0}, done(17)),
		}},
		"stored twice": {false, []porcupine.Operation{
			op(0, 1, 2, recordOp{0, 0}, unknown), op(0, 3, 4, recordOp{0, 0}, done(17)), op(0, 5, 6, headOp{}, int64(18)),
		}},
		"not answered and not stored": {true, []porcupine.Operation{
			op(0, 1, 2, recordOp{0, 0}, unknown), op(0, 3, 4, headOp{}, int64(16)), op(0, 5, 6, recordOp{0, 0}, done(17)),
		}},
		"not answered but stored": {true, []porcupine.Operation{
			op(0, 1, 2, recordOp{0, 0}, unknown), op(0, 3, 4, headOp{}, int64(17)), op(0, 5, 6, recordOp{0, 0}, recorded{17, true, false}),
		}},
		"stored after the station was dead": {false, []porcupine.Operation{
			op(0, 1, 2, recordOp{0, 0}, unknown), op(0, 3, 4, headOp{}, int64(16)), op(0, 5, 6, headOp{}, int64(17)),
		}},
		"acknowledged and lost": {false, []porcupine.Operation{
			op(0, 1, 2, recordOp{0, 0}, done(17)), op(0, 3, 4, headOp{}, int64(16)),
		}},
		"an old state": {false, []porcupine.Operation{
			op(0, 1, 2, recordOp{0, 0}, done(17)), op(0, 3, 4, recordOp{2, 0}, done(18)), op(1, 5, 6, stateOp{0}, newest{0, 17}),
		}},
		"a state that hides what the head counts": {false, []porcupine.Operation{
			op(0, 1, 9, recordOp{0, 0}, done(17)), op(1, 2, 3, headOp{}, int64(17)), op(1, 4, 5, stateOp{0}, newest{none, 15}),
		}},
	} {
		if got := porcupine.CheckOperations(stationModel(base, [vehicles]int64{15, 16}), tc.history); got != tc.right {
			t.Errorf("%s: the model says %v, want %v", name, got, tc.right)
		}
	}
}
