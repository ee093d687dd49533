package rules

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common"
	celast "cel.dev/cel-go/common/ast"
	"github.com/agnivade/levenshtein"
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
		return w.unknownName(m[1], issue.ExprID, parsed)
	}
	if m := noOverload.FindStringSubmatch(message); m != nil {
		return mismatch(m[1], m[2])
	}
	if rest, ok := strings.CutPrefix(message, "Syntax error: "); ok {
		return complaint{wrong: "it is not a CEL expression: " + rest, right: "write it as in o.has_value && o.value < 690.0"}
	}
	return complaint{wrong: message, right: "write it as in o.has_value && o.value < 690.0"}
}

// unknownName explains a name that is neither variable nor function nor enum.
func (w view) unknownName(name string, id int64, parsed *cel.Ast) complaint {
	if values := enumValues(name); values != nil {
		asked := fieldOf(id, parsed)
		return complaint{wrong: fmt.Sprintf("%s has no value %q", name, asked), right: didYouMean(asked, values)}
	}
	known := slices.Clone(w.variables)
	others := enumNames()
	for _, u := range usages {
		others = append(others, u.name)
	}
	for _, other := range others {
		if levenshtein.ComputeDistance(name, other) <= 2 { // there are many: only one very near is meant
			known = append(known, other)
		}
	}
	c := complaint{wrong: fmt.Sprintf("there is no %q here", name), right: "the variables are " + strings.Join(w.variables, ", ")}
	if near := nearest(name, known); near != "" {
		c.right = "did you mean " + near + "?"
	}
	return c
}

// fieldOf gives the name that is selected from an expression.
func fieldOf(operand int64, parsed *cel.Ast) string {
	field := ""
	celast.PreOrderVisit(parsed.NativeRep().Expr(), celast.NewExprVisitor(func(e celast.Expr) {
		if e.Kind() == celast.SelectKind && e.AsSelect().Operand().ID() == operand {
			field = e.AsSelect().FieldName()
		}
	}))
	return field
}

// enumValues lists the values of an enum of ours; nil when it is none.
func enumValues(enum string) []string {
	d, err := protoregistry.GlobalTypes.FindEnumByName(protoreflect.FullName("bayround.v1." + enum))
	if err != nil {
		return nil
	}
	values := d.Descriptor().Values()
	names := make([]string, values.Len())
	for i := range names {
		names[i] = string(values.Get(i).Name())
	}
	return names
}

// enumNames lists our enums.
func enumNames() []string {
	var names []string
	protoregistry.GlobalTypes.RangeEnums(func(e protoreflect.EnumType) bool {
		if d := e.Descriptor(); d.ParentFile().Package() == "bayround.v1" {
			names = append(names, string(d.Name()))
		}
		return true
	})
	slices.Sort(names)
	return names
}

// mismatch explains an operator or function that does not take what it was given.
func mismatch(function, signature string) complaint {
	name := strings.ReplaceAll(function, "_", "")
	c := complaint{wrong: fmt.Sprintf("%s does not go with %s", name, signature)}
	switch {
	case strings.Contains(signature, "int") && strings.Contains(signature, "double"):
		c.right = "write whole numbers as 2.0, or double(x), where they meet numbers with decimals"
	case function == "_?_:_":
		c.right = "write it as condition ? this : that, with this and that of one kind"
	default:
		c.right = "give it two of one kind"
	}
	for _, u := range usages {
		if u.name == function {
			c.right = "write it as in " + u.written
		}
	}
	return c
}

// wrongKind explains an expression that gives something else than is wanted.
func wrongKind(got, wanted *cel.Type) complaint {
	c := complaint{line: 1, column: 1, wrong: fmt.Sprintf("it gives %s, not %s", got, wanted)}
	if wanted.IsExactType(cel.BoolType) {
		c.right = "make it a condition, for instance o.value < 690.0"
	}
	if wanted.IsExactType(cel.DoubleType) {
		c.right = "give a number with decimals, for instance 1.6, 20.0 or double(o.affected)"
	}
	return c
}

// oneLine keeps a message of several lines readable in a list.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
