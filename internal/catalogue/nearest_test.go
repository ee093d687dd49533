package catalogue

import "testing"

func TestNearest(t *testing.T) {
	for _, tc := range []struct {
		name, word string
		candidates []string
		want       string
	}{
		{"one letter", "titel", []string{"name", "title"}, "title"},
		{"case", "fluidkind", []string{"FluidKind"}, "FluidKind"},
		{"nothing like it", "colour", []string{"name", "title"}, ""},
		{"what all begin with does not count", "QUANTITY_FOO", []string{"QUANTITY_DAYS", "QUANTITY_MASS"}, ""},
		{"nor with one candidate", "stations/x", []string{"stations/quay"}, ""},
		{"but the rest does", "stations/quai", []string{"stations/quay"}, "stations/quay"},
		{"first of equals", "b", []string{"a", "c"}, "a"},
		{"no candidates", "a", nil, ""},
		{"empty word", "", []string{"title"}, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if got := nearest(tc.word, tc.candidates); got != tc.want {
				t.Errorf("nearest to %q of %v is %q, want %q", tc.word, tc.candidates, got, tc.want)
			}
		})
	}
}
