package catalogue

import "go.yaml.in/yaml/v3"

// complaints gathers what is wrong in one file.
type complaints struct {
	file string
	list Problems
	full bool // maxFileProblems reached; the rest is dropped, and the last problem says so
}

// add notes that something is wrong at a node.
func (c *complaints) add(at *yaml.Node, path, wrong, right string) {
	switch {
	case c.full:
		return
	case len(c.list) == maxFileProblems:
		c.full = true
		path, wrong, right = "", "more is wrong from here on", "mend the others first"
	}
	p := Problem{File: c.file, Path: path, Wrong: wrong, Right: right}
	if at != nil {
		p.Line, p.Column = at.Line, at.Column
	}
	c.list = append(c.list, p)
}
