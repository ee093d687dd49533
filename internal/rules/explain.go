package rules

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
)

// What CEL says, and how we find the word it complains of.
var (
	undefinedField = regexp.MustCompile(`^undefined field '([^']*)'`)
	undeclaredName = regexp.MustCompile(`^undeclared reference to '([^']*)'`)
	noOverload     = regexp.MustCompile(`^found no matching overload for '([^']*)' applied to '(.*)'$`)
)

// mostComplaints is how many of one expression are told: a slip in a
// bracket makes many, and the first ones say it.
const mostComplaints = 8

// explain turns CEL's issues into complaints. parsed is nil for syntax errors.
func (w view) explain(issues *cel.Issues, parsed *cel.Ast) []complaint {
	found := issues.Errors()
	if len(found) > mostComplaints {
		found = found[:mostComplaints]
	}
	complaints := make([]complaint, 0, len(found))
	for _, issue := range found {
		c := w.explainOne(issue, parsed)
		if l := issue.Location; l != nil && l.Line() > 0 {
			c.line, c.column = l.Line(), l.Column()+1
		}
		complaints = append(complaints, c)
	}
	if len(complaints) == 0 { // an issue that holds no error of its own
		complaints = append(complaints, complaint{wrong: oneLine(issues.Err().Error()), right: "write it in another way"})
	}
	return complaints
}

func (w view) explainOne(issue *common.Error, parsed *cel.Ast) complaint {
	message := oneLine(issue.Message)
	if m := undefinedField.FindStringSubmatch(message); m != nil {
		owner, fields := w.fieldsAround(issue.ExprID, parsed)
		return complaint{wrong: fmt.Sprintf("%s no field %q", owner, m[1]), right: didYouMean(m[1], fields)}
	}
	if m := undeclaredName.FindStringSubmatch(message); m != nil {
		return w.unknownName(m[1])
	}
	if m := noOverload.FindStringSubmatch(message); m != nil {
		return mismatch(m[1], m[2])
	}
	if rest, ok := strings.CutPrefix(message, "Syntax error: "); ok {
		return complaint{wrong: "it is not a CEL expression: " + rest, right: `write it as in o.has_value && o.value < 690.0`}
	}
	return complaint{wrong: message, right: "see the package comment of internal/rules for what an expression may hold"}
}

// unknownName explains a name that is neither variable nor function nor enum.
func (w view) unknownName(name string) complaint {
	c := complaint{wrong: fmt.Sprintf("there is no %q here", name)}
	if i := strings.LastIndexByte(name, '.'); i >= 0 {
		c.right = didYouMean(name, enumValues(name[:i]))
		return c
	}
	known := slices.Clone(w.variables)
	for _, f := range []string{"seen", "count_seen", "least", "greatest", "spread", "round", "feature", "psi", "bar", "size", "has"} {
		if distance(name, f) <= 2 {
			known = append(known, f)
		}
	}
	c.right = didYouMean(name, known)
	if nearest(name, known) == "" {
		c.right = "the variables are " + strings.Join(w.variables, ", ")
	}
	return c
}

// enumValues lists the values of an enum, or of the one most like it.
func enumValues(enum string) []string {
	d, err := protoregistry.GlobalTypes.FindEnumByName(protoreflect.FullName("bayround.v1." + enum))
	if err != nil {
		return nil
	}
	values := d.Descriptor().Values()
	names := make([]string, values.Len())
	for i := range names {
		names[i] = enum + "." + string(values.Get(i).Name())
	}
	return names
}

// mismatch explains an operator or function that does not take what it was given.
func mismatch(function, signature string) complaint {
	name := strings.ReplaceAll(function, "_", "")
	c := complaint{wrong: fmt.Sprintf("%s does not go with %s", name, signature)}
	switch {
	case strings.Contains(signature, "int") && strings.Contains(signature, "double"):
		c.right = "write whole numbers as 2.0, or double(x), where they meet numbers with decimals"
	case function == "_&&_" || function == "_||_" || function == "!_" || function == "_?_:_":
		c.right = "give it conditions, for instance o.value < 690.0"
	default:
		c.right = "see the package comment of internal/rules for what each function takes"
	}
	return c
}

// wrongKind explains an expression that gives something else than is wanted.
func wrongKind(got, wanted *cel.Type) complaint {
	c := complaint{line: 1, column: 1, wrong: fmt.Sprintf("it gives %s, not %s", got, wanted)}
	if wanted.IsExactType(cel.BoolType) {
		c.right = "make it a condition, for instance o.value < 690.0"
	}
	return c
}

// oneLine keeps a message of several lines readable in a list.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
