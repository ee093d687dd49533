package plan

import (
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// positions are words for where a thing is. They tell things of one item apart,
// so the place keeps them, and the item's title gives them up instead.
var positions = [...]string{"front", "rear", "nearside", "offside", "inner", "outer", "upper", "lower"}

// smallWords are said as often as they are needed.
var smallWords = [...]string{"and", "or", "of", "the", "its", "a", "to", "in", "on", "at", "by", "for", "with"}

const digits = "0123456789"

// nameSpots gives every spot of an item its title: the item's, and for one of
// several the words for where, each word once: "Tread depth, first rear axle,
// nearside, inner".
func nameSpots(item *pb.Item, spots []spot) {
	said := make(map[string]int)
	for _, s := range spots {
		for _, part := range partsOf(s.place.GetTitle()) {
			said[strings.ToLower(part)]++
		}
	}
	for i, s := range spots {
		spots[i].title = item.GetTitle()
		if s.named {
			n := naming{item: item, spot: s, everywhere: func(part string) bool { return said[strings.ToLower(part)] >= len(spots) }}
			spots[i].title = n.title()
		}
	}
}

// naming works out the title of one of several things.
type naming struct {
	item       *pb.Item
	spot       spot
	everywhere func(part string) bool // tells that all things of the item say this
}

// title joins what the item says and what the place says.
func (n naming) title() string {
	what, where := partsOf(n.item.GetTitle()), partsOf(n.spot.place.GetTitle())
	more := n.notSaid(what[1:], where)
	if n.isOneOf(where) { // the place says itself which of several it is
		more = slices.DeleteFunc(more, func(part string) bool { return !isSide(part) })
		return upperFirst(strings.Join(append(where, more...), ", "))
	}
	kept := n.tellApart(where)
	return strings.Join(slices.Concat([]string{withoutPosition(what[0], kept)}, more, kept), ", ")
}

// notSaid returns those parts of the item's title that the place does not say,
// without the item's side where the thing has none.
func (n naming) notSaid(what, where []string) []string {
	var more []string
	for _, part := range what {
		sideless := n.spot.side == pb.Side_SIDE_UNSPECIFIED && part == nameSide(n.item.GetSide())
		if !sideless && !slices.Contains(where, part) {
			more = append(more, part)
		}
	}
	return more
}

// isOneOf tells that the item is about one thing or another, as a locker or
// shutter, and the place says which: both end in the same word.
func (n naming) isOneOf(where []string) bool {
	title := n.item.GetTitle()
	if !strings.Contains(title, " or ") || len(where) == 0 {
		return false
	}
	for _, part := range partsOf(strings.ReplaceAll(title, " or ", ", ")) {
		words := strings.Fields(part)
		if len(words) > 0 && holds(where[0], words[len(words)-1]) {
			return true
		}
	}
	return false
}

// tellApart returns the parts of a place's title without the words that the item
// says. A part that says nothing new, or the same of all things of the item, goes;
// a number stays, for it stands on the thing itself.
func (n naming) tellApart(where []string) []string {
	var kept []string
	for _, part := range where {
		words := strings.Fields(part)
		rest := slices.DeleteFunc(slices.Clone(words), func(w string) bool { return !isSmall(w) && holds(n.item.GetTitle(), w) })
		switch {
		case isSide(part):
			kept = append(kept, part)
		case len(rest) == 0 || len(rest) < len(words) && n.everywhere(part) && !strings.ContainsAny(part, digits):
		default:
			kept = append(kept, n.without(cut(words, strings.Fields(partsOf(n.item.GetTitle())[0]))))
		}
	}
	return kept
}

// cut takes a phrase out of words that hold the whole of it.
func cut(words, phrase []string) []string {
	for i := 0; i+len(phrase) <= len(words); i++ {
		if slices.EqualFunc(words[i:i+len(phrase)], phrase, strings.EqualFold) {
			return slices.Concat(words[:i], words[i+len(phrase):])
		}
	}
	return words
}

// without leaves out the words that the item says, but for positions, and calls
// a number that is left alone by its name.
func (n naming) without(words []string) string {
	rest := slices.DeleteFunc(slices.Clone(words), func(w string) bool {
		return !isSmall(w) && !isPosition(w) && holds(n.item.GetTitle(), w)
	})
	if len(rest) == 1 && strings.Trim(rest[0], digits) == "" {
		return "no. " + rest[0]
	}
	return strings.Join(rest, " ")
}

// withoutPosition takes off the front of a title the positions that the kept
// parts of the place say.
func withoutPosition(title string, kept []string) string {
	words := strings.Fields(title)
	for len(words) > 1 && isPosition(words[0]) && slices.ContainsFunc(kept, func(part string) bool { return holds(part, words[0]) }) {
		words = words[1:]
	}
	return upperFirst(strings.Join(words, " "))
}

// partsOf returns what stands between the commas of a title.
func partsOf(title string) []string {
	return strings.Split(title, ", ")
}

// holds tells that a text has a word, in small or capital letters, for one thing
// or several.
func holds(text, word string) bool {
	return slices.ContainsFunc(strings.Fields(text), func(w string) bool { return strings.EqualFold(bare(w), bare(word)) })
}

// bare is a word without a comma behind it and the s of several things.
func bare(word string) string {
	return strings.TrimSuffix(strings.TrimSuffix(strings.ToLower(word), ","), "s")
}

func isSide(part string) bool {
	return part == nameSide(pb.Side_SIDE_NEARSIDE) || part == nameSide(pb.Side_SIDE_OFFSIDE)
}

func isPosition(word string) bool { return slices.Contains(positions[:], strings.ToLower(word)) }

func isSmall(word string) bool { return slices.Contains(smallWords[:], strings.ToLower(word)) }
