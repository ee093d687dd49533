package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"bayround/internal/command"
)

// yamlReader takes a YAML file apart and collects everything that is wrong with
// it, each with line and column.
type yamlReader struct {
	file     string
	problems []string
}

// wrong notes what is wrong at a node and what would be right.
func (y *yamlReader) wrong(at *yaml.Node, format string, args ...any) {
	y.problems = append(y.problems, fmt.Sprintf("%s:%d:%d: %s", y.file, at.Line, at.Column, fmt.Sprintf(format, args...)))
}

// err is everything that is wrong; nil when nothing is.
func (y *yamlReader) err() error {
	if len(y.problems) == 0 {
		return nil
	}
	return command.MisusedBy(errors.New(strings.Join(y.problems, "\n")))
}

// document returns the root of the one document in content, or nil when there is none.
func (y *yamlReader) document(content []byte) *yaml.Node {
	decoder := yaml.NewDecoder(bytes.NewReader(content))
	var root, second yaml.Node
	if err := decoder.Decode(&root); err != nil {
		y.problems = append(y.problems, fmt.Sprintf("%s: this is no YAML: %v", y.file, err))
		return nil
	}
	if err := decoder.Decode(&second); !errors.Is(err, io.EOF) {
		y.wrong(&second, "one file is one round; take what follows into a file of its own")
	}
	return root.Content[0]
}

// fields reads a mapping: each key by the function that stands under it.
func (y *yamlReader) fields(n *yaml.Node, read map[string]func(*yaml.Node)) {
	y.entries(n, func(key, value *yaml.Node) {
		if f := read[key.Value]; f != nil {
			f(value)
			return
		}
		known := make([]string, 0, len(read))
		for word := range read {
			known = append(known, word)
		}
		slices.Sort(known)
		y.wrong(key, "%q is not known here; known are %s", key.Value, strings.Join(known, ", "))
	})
}

// entries calls read for each entry of a mapping; no key may stand twice.
func (y *yamlReader) entries(n *yaml.Node, read func(key, value *yaml.Node)) {
	n = target(n)
	if n.Kind != yaml.MappingNode {
		y.wrong(n, "here must be words with values, as in \"word: value\"")
		return
	}
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		if seen[key.Value] {
			y.wrong(key, "%q stands here twice", key.Value)
			continue
		}
		seen[key.Value] = true
		read(key, target(value))
	}
}

// list calls read for each entry of a list; a single value is a list of one.
func (y *yamlReader) list(n *yaml.Node, read func(*yaml.Node)) {
	n = target(n)
	if n.Kind != yaml.SequenceNode {
		read(n)
		return
	}
	for _, entry := range n.Content {
		read(target(entry))
	}
}

// target follows an alias to what it stands for.
func target(n *yaml.Node) *yaml.Node {
	if n.Kind == yaml.AliasNode {
		return n.Alias
	}
	return n
}

// text reads a single value as it is written.
func (y *yamlReader) text(n *yaml.Node) string {
	if n.Kind != yaml.ScalarNode || n.Tag == "!!null" {
		y.wrong(n, "here must be one value")
		return ""
	}
	return n.Value
}

// oneOf reads a word out of a list.
func (y *yamlReader) oneOf(n *yaml.Node, words ...string) string {
	text := y.text(n)
	if !slices.Contains(words, text) {
		y.wrong(n, "%q is not known here; say %s", text, strings.Join(words, ", "))
	}
	return text
}

func (y *yamlReader) flag(n *yaml.Node) bool {
	return y.oneOf(n, "true", "false") == "true"
}

func (y *yamlReader) number(n *yaml.Node) float64 {
	value, err := strconv.ParseFloat(y.text(n), 64)
	if err != nil {
		y.wrong(n, "%q is no number", n.Value)
	}
	return value
}

func (y *yamlReader) duration(n *yaml.Node) time.Duration {
	d, err := time.ParseDuration(y.text(n))
	if err != nil || d < 0 {
		y.wrong(n, "%q is no length of time; say for instance 90s, 15m or 12h", n.Value)
	}
	return d
}

// amount is a number with its unit, as a person writes it.
type amount struct {
	value float64
	unit  string
}

// String writes it as it is read.
func (a amount) String() string {
	return strings.TrimSpace(strconv.FormatFloat(a.value, 'g', -1, 64) + " " + a.unit)
}

// amount reads a number and its unit with a space between.
func (y *yamlReader) amount(n *yaml.Node) amount {
	number, unit, both := strings.Cut(strings.TrimSpace(y.text(n)), " ")
	value, err := strconv.ParseFloat(number, 64)
	if err != nil || !both {
		y.wrong(n, "%q is no value with a unit; say for instance 8.5 bar", n.Value)
	}
	return amount{value: value, unit: strings.TrimSpace(unit)}
}
