package catalogue

import (
	"fmt"
	"strings"
)

// count writes a number with its noun: "1 item", "3 items".
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// either joins alternatives: "a", "a or b", "a, b or c".
func either(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " or " + words[last]
}

// choices joins the words of an enum; of many it gives the first few.
func choices(names []string) string {
	const few, shownOfMany = 12, 5
	if len(names) <= few {
		return either(names)
	}
	prefix := names[0][:strings.LastIndexByte(names[0], '_')+1]
	for !strings.HasPrefix(names[len(names)-1], prefix) {
		prefix = prefix[:strings.LastIndexByte(strings.TrimSuffix(prefix, "_"), '_')+1]
	}
	return fmt.Sprintf("%s or another of the %d words that begin with %s", strings.Join(names[:shownOfMany], ", "), len(names), prefix)
}
