package catalogue

import (
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// catalogueName is the name under which Place knows the catalogue.
const catalogueName = "catalogue"

// spot is a node of one file.
type spot struct {
	file string
	node *yaml.Node
}

// layout says where one resource stands in the files: its fragments, and the
// entries of the lists that were put together from several of them.
type layout struct {
	fragments []spot
	lists     map[string][]spot
}

// Place says where something stands in the files. Name is a resource name such
// as "packs/gb-use", or "catalogue"; path leads from there, for instance
// "rules[12].when" or "items[3].conditions", and may be empty. For what the
// files do not spell out, the nearest place around it is given; for a resource
// that was not loaded, an empty file and zeros.
func (l *Loaded) Place(name, path string) (file string, line, column int) {
	known := l.places[name]
	if known == nil || len(known.fragments) == 0 {
		return "", 0, 0
	}
	start, steps := known.start(splitPath(path))
	node, _ := descend(start.node, steps)
	return start.file, node.Line, node.Column
}

// start finds the spot a path begins at, and what of the path is left to go.
func (l *layout) start(steps []string) (spot, []string) {
	if len(steps) == 0 {
		return l.fragments[0], nil
	}
	if entries := l.lists[steps[0]]; len(steps) > 1 {
		if i, err := strconv.Atoi(steps[1]); err == nil && 0 <= i && i < len(entries) {
			return entries[i], steps[2:]
		}
	}
	for _, fragment := range l.fragments {
		if _, value := lookup(fragment.node, steps[0]); value != nil {
			return fragment, steps
		}
	}
	return l.fragments[0], nil
}

// splitPath cuts "rules[12].when" into rules, 12 and when.
func splitPath(path string) []string {
	return strings.FieldsFunc(path, func(r rune) bool { return r == '.' || r == '[' || r == ']' })
}

// descend follows a path from a node as far as it is spelt out, and tells
// whether that is to its end. A single value is given by itself, a field that
// holds more by its name.
func descend(node *yaml.Node, steps []string) (at *yaml.Node, spelt bool) {
	at = node
	for _, step := range steps {
		switch node.Kind {
		case yaml.MappingNode:
			key, value := lookup(node, step)
			if value == nil {
				return at, false
			}
			at, node = key, value
			if value.Kind == yaml.ScalarNode {
				at = value
			}
		case yaml.SequenceNode:
			i, err := strconv.Atoi(step)
			if err != nil || i < 0 || i >= len(node.Content) {
				return at, false
			}
			at, node = node.Content[i], node.Content[i]
		default:
			return at, false
		}
	}
	return at, true
}

// lookup finds a field of a mapping; nil when it is not there.
func lookup(node *yaml.Node, name string) (key, value *yaml.Node) {
	if node == nil || node.Kind != yaml.MappingNode {
		return nil, nil
	}
	for i := 0; i+1 < len(node.Content); i += 2 {
		if node.Content[i].Value == name {
			return node.Content[i], node.Content[i+1]
		}
	}
	return nil, nil
}

// child gives a field's value, or an empty node where the field is not there, so
// that paths can be followed without asking at every step.
func child(node *yaml.Node, name string) *yaml.Node {
	if _, value := lookup(node, name); value != nil {
		return value
	}
	return &yaml.Node{}
}
