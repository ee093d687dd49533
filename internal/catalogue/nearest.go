package catalogue

import (
	"strings"

	"github.com/agnivade/levenshtein"
)

// longestGuess is the longest word that a likeness is looked for; longer ones
// are no slip of the pen.
const longestGuess = 80

// nearest gives the candidate that is most like word, or "" when none is like
// it. Of equals it gives the first.
func nearest(word string, candidates []string) string {
	if len(word) > longestGuess {
		return ""
	}
	same := len(sharedPrefix(word, candidates)) // alike in all of them: says nothing
	word = strings.ToLower(word[same:])
	best, bestDistance := "", len(word)/3+2
	for _, c := range candidates {
		if d := levenshtein.ComputeDistance(word, strings.ToLower(c[same:])); d < bestDistance {
			best, bestDistance = c, d
		}
	}
	return best
}

// sharedPrefix is what a word and all candidates begin with, up to a slash or
// underscore: "stations/" or "QUANTITY_".
func sharedPrefix(word string, candidates []string) string {
	shared := word
	for _, c := range candidates {
		for !strings.HasPrefix(c, shared) {
			shared = shared[:len(shared)-1]
		}
	}
	return shared[:strings.LastIndexAny(shared, "/_")+1]
}

// suggestion says which of the candidates was probably meant, or lists them when
// they are few enough to be read.
func suggestion(word string, candidates []string) string {
	const few = 24
	if c := nearest(word, candidates); c != "" {
		return "did you mean " + c + "?"
	}
	switch {
	case len(candidates) == 0:
		return "there are none yet"
	case len(candidates) <= few:
		return "there is " + strings.Join(candidates, ", ")
	}
	return "none of the " + count(len(candidates), "known name") + " is like it"
}
