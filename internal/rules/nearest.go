package rules

import (
	"strings"

	"github.com/agnivade/levenshtein"
)

// nearest gives the candidate that is most like word, or "" when none is like
// it: the one that differs in the smallest share of its letters, so that a long
// name of which a part was left out goes before a short one that is another
// word. Of equals it gives the first.
func nearest(word string, candidates []string) string {
	best, bestShare := "", 1.0
	for _, c := range candidates {
		d := levenshtein.ComputeDistance(strings.ToLower(word), strings.ToLower(c))
		if share := float64(d) / float64(max(len(word), len(c))); d < len(word)/2+2 && share < bestShare {
			best, bestShare = c, share
		}
	}
	return best
}

// didYouMean words a suggestion, or says what there is.
func didYouMean(word string, candidates []string) string {
	if c := nearest(word, candidates); c != "" {
		return "did you mean " + c + "?"
	}
	if len(candidates) == 0 || len(candidates) > 40 {
		return "take one that is there"
	}
	return "there is " + strings.Join(candidates, ", ")
}
