package round

import (
	"testing"

	pb "bayround/proto/bayround/v1"
)

// Source: 1 l is 1000 ml (SI); pieces are whole.
func TestWholeUnits(t *testing.T) {
	const ml, pieces = pb.StockUnit_STOCK_UNIT_ML, pb.StockUnit_STOCK_UNIT_PIECES
	for _, tc := range []struct {
		text string
		unit pb.StockUnit
		want int64
		ok   bool
	}{
		{"20", ml, 20_000, true},
		{" 0.5 ", ml, 500, true},
		{"0.001", ml, 1, true},
		{"1.001", ml, 1001, true},
		{"999999.999", ml, 999_999_999, true},
		{"0.0001", ml, 0, false},
		{"1.0005", ml, 0, false},
		{"1000001", ml, 0, false},
		{"-1", ml, 0, false},
		{"", ml, 0, false},
		{"1e3", ml, 0, false},
		{"12", pieces, 12, true},
		{"0", pieces, 0, true},
		{"1.5", pieces, 0, false},
		{"1000000001", pieces, 0, false},
	} {
		if got, ok := wholeUnits(tc.text, tc.unit); ok != tc.ok || ok && got != tc.want {
			t.Errorf("%q in %v: %d, %v, want %d, %v", tc.text, tc.unit, got, ok, tc.want, tc.ok)
		}
	}
}
