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

// Distances of the textbook pairs kitten-sitting (3) and Saturday-Sunday (3):
// R. A. Wagner and M. J. Fischer, The String-to-String Correction Problem, JACM
// 21 (1974), gives the recurrence; the pairs are common practice.
func TestDistance(t *testing.T) {
	for _, tc := range []struct {
		a, b string
		want int
	}{{"kitten", "sitting", 3}, {"saturday", "sunday", 3}, {"", "abc", 3}, {"abc", "", 3}, {"same", "same", 0}} {
		if got := distance(tc.a, tc.b); got != tc.want {
			t.Errorf("from %q to %q: %d, want %d", tc.a, tc.b, got, tc.want)
		}
	}
}
