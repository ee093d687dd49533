package command

import (
	"regexp"
	"slices"
	"strings"
)

// Line is the command that a person gave: what a refusal calls a field of a request by.
type Line struct {
	// Use is how the command is used, with its arguments in capitals: "move CALL-SIGN".
	Use string
	// HasFlag tells whether it has a flag of a name, without the hyphens.
	HasFlag func(name string) bool
}

// otherwise are the flags that give a field under a name of their own.
var otherwise = map[string][]string{
	"awaiting_officer": {"unsigned"},
	"opened_before":    {"to"},
	"page_size":        {"limit", "most"},
	"page_token":       {"page"},
	"restrictions":     {"limit"},
	"until":            {"days"},
	"vehicle":          {"to"},
}

// argument is an argument in how a command is used.
var argument = regexp.MustCompile(`\b[A-Z]+(-[A-Z]+)*\b`)

// typed is the flag or the argument that gives a field, and the field's own path where a
// person types none. Flags are called after fields, mostly by a part of their words:
// --odometer gives odometer_km, --from opened_from, STEP step_id.
func (l Line) typed(path string) string {
	arguments := argument.FindAllString(l.Use, -1)
	if path == "name" && len(arguments) > 0 { // of what the whole request is about
		return arguments[0]
	}
	field, _, _ := strings.Cut(path[strings.LastIndexByte(path, '.')+1:], "[")
	for _, name := range names(field) {
		if l.HasFlag != nil && l.HasFlag(name) {
			return "--" + name
		}
		if name = strings.ToUpper(name); slices.Contains(arguments, name) {
			return name
		}
	}
	return path
}

// names are what a field may be called on a command line, the likeliest first.
func names(field string) (all []string) {
	words := strings.Split(field, "_")
	put := func(words []string) {
		name := strings.Join(words, "-")
		all = append(all, name, strings.TrimSuffix(name, "s")) // one of a list is named at a time
	}
	put(words)
	all = append(all, otherwise[field]...)
	for n := len(words) - 1; n > 0; n-- {
		put(words[:n])
		put(words[len(words)-n:])
	}
	return all
}
