package station

import (
	"errors"
	"fmt"

	"bayround/internal/catalogue"
	"bayround/internal/fault"
	"bayround/internal/rules"
)

// refusedFiles is the refusal of files, with everything that is wrong in them.
func refusedFiles(err error) error {
	var problems catalogue.Problems
	if !errors.As(err, &problems) || len(problems) == 0 {
		return err
	}
	f := fault.New(fault.Invalid, "CONFIGURATION_REFUSED", "%s; nothing was put in force: %s", countWords(len(problems)), problems[0])
	for _, p := range problems {
		text := p.Wrong
		if p.Right != "" {
			text += "; " + p.Right
		}
		f = f.At(placeWords(p), "%s", text)
	}
	return f
}

func countWords(n int) string {
	if n == 1 {
		return "1 thing is wrong"
	}
	return fmt.Sprintf("%d things are wrong", n)
}

// withRules adds to problems what is wrong with the rules, where nothing was
// said of the same place yet.
func withRules(problems catalogue.Problems, loaded *catalogue.Loaded, set *catalogue.Library) catalogue.Problems {
	if set.Catalogue == nil {
		return problems
	}
	said := map[string]bool{}
	for _, p := range problems {
		said[placeWords(p)] = true
	}
	_, err := rules.Compile(sortedValues(set.Packs), set.Catalogue)
	for _, p := range placed(loaded, err) {
		if !said[placeWords(p)] {
			problems = append(problems, p)
		}
	}
	return problems
}

func placeWords(p catalogue.Problem) string {
	return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column)
}

// unusable says why a library could not judge its vehicles.
func unusable(loaded *catalogue.Loaded, l *library) catalogue.Problems {
	if l.broken != nil {
		return placed(loaded, l.broken)
	}
	var problems catalogue.Problems
	for _, name := range sortedKeys(l.models) {
		problems = append(problems, placed(loaded, l.models[name].brokenBy)...)
	}
	return problems
}

// placed says where in the files the trouble with the rules stands. What is not
// in the files was in force before, and is named instead.
func placed(loaded *catalogue.Loaded, err error) catalogue.Problems {
	var wrong rules.Errors
	if err == nil {
		return nil
	}
	if !errors.As(err, &wrong) {
		return catalogue.Problems{{Wrong: err.Error()}}
	}
	problems := make(catalogue.Problems, len(wrong))
	for i, e := range wrong {
		path := ""
		if e.RuleIndex >= 0 {
			path = fmt.Sprintf("rules[%d]", e.RuleIndex)
			if e.Field != "" {
				path += "." + e.Field
			}
		}
		who := fmt.Sprintf("%s, rule %q", e.Pack, e.Rule)
		if e.RuleIndex < 0 {
			path, who = e.Field, e.Pack
		}
		p := catalogue.Problem{Path: path, Wrong: who + ": " + e.Wrong, Right: e.Right}
		if p.File, p.Line, p.Column = loaded.Place(e.Pack, path); p.File == "" {
			p.File = e.Pack + " as it is in force"
		}
		if e.Line > 0 {
			p.Wrong += fmt.Sprintf(" (line %d, column %d of the expression)", e.Line, e.Column)
		}
		problems[i] = p
	}
	return problems
}
