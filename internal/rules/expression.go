package rules

import (
	"math"
	"regexp"
	"strings"

	"cel.dev/cel-go/cel"
	celast "cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/operators"
	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/common/types/ref"
	"cel.dev/cel-go/interpreter"
)

// expression is a checked expression, ready to be worked out. It never changes.
type expression struct {
	program cel.Program
	reads   givens   // what it needs of every observation
	touches givens   // what it looks at, needed or not
	wholly  bool     // it reads more of a trend than repeated readings
	faults  []string // fault ids it holds as literals
	kind    *cel.Type
}

// idLiteral matches literals that can only be meant as an id of the catalogue.
var idLiteral = regexp.MustCompile(`^[A-Z]{3,4}-[0-9]{3}(-[0-9]{2})?$`)

// compile checks one expression and makes it ready. What it must give is
// wanted; nil leaves that to the caller.
func (w view) compile(source string, wanted *cel.Type) (*expression, []complaint) {
	x := w.passed[source]
	if x == nil {
		checked, complaints := w.check(source)
		if len(complaints) > 0 {
			return nil, complaints
		}
		if x, complaints = w.ready(source, checked); len(complaints) > 0 {
			return nil, complaints
		}
		w.passed[source] = x
	}
	if wanted != nil && !x.kind.IsExactType(wanted) {
		return nil, []complaint{wrongKind(x.kind, wanted)}
	}
	return x, nil
}

// check parses an expression and checks its types.
func (w view) check(source string) (*cel.Ast, []complaint) {
	parsed, issues := w.Parse(source)
	if issues.Err() != nil {
		return nil, w.explain(issues, nil)
	}
	checked, issues := w.Check(parsed)
	if issues.Err() != nil {
		return nil, w.explain(issues, parsed)
	}
	return checked, nil
}

// ready bounds the cost of a checked expression, looks through it and plans it.
func (w view) ready(source string, checked *cel.Ast) (*expression, []complaint) {
	if c := tooCostly(w.Env, checked); c != nil {
		return nil, []complaint{*c}
	}
	x, complaints := w.inspect(checked)
	if len(complaints) > 0 {
		return nil, complaints
	}
	options := []cel.ProgramOption{cel.EvalOptions(cel.OptOptimize)}
	if strings.Contains(source, "/") {
		options = append(options, cel.CustomDecoratorV2(finiteDivision))
	}
	program, err := w.Program(checked, options...)
	if err != nil {
		return nil, []complaint{{wrong: oneLine(err.Error()), right: "write it in another way"}}
	}
	x.program = program
	return x, nil
}

// inspect looks through a checked expression for what it reads and which ids it names.
func (w view) inspect(checked *cel.Ast) (*expression, []complaint) {
	x := &expression{kind: checked.OutputType()}
	tree := checked.NativeRep()
	var complaints []complaint
	var mentions givens
	var use trendUse
	celast.PreOrderVisit(tree.Expr(), celast.NewExprVisitor(func(e celast.Expr) {
		switch e.Kind() {
		case celast.SelectKind:
			sel := e.AsSelect()
			reads, mentioned := selected(tree.GetType(sel.Operand().ID()), sel.FieldName(), sel.IsTestOnly())
			x.touches |= reads
			mentions |= mentioned
			if !sel.IsTestOnly() {
				use.note(tree.GetType(sel.Operand().ID()), sel.FieldName())
			}
		case celast.LiteralKind:
			id, ok := e.AsLiteral().(types.String)
			if !ok || !idLiteral.MatchString(string(id)) {
				return
			}
			if c := w.known.unknown(string(id)); c != nil {
				at := tree.SourceInfo().GetStartLocation(e.ID())
				c.line, c.column = at.Line(), at.Column()+1
				complaints = append(complaints, *c)
			}
			if w.known.faults[string(id)] != nil {
				x.faults = append(x.faults, string(id))
			}
		case celast.CallKind:
			if e.AsCall().FunctionName() == "days_until" {
				x.touches |= givenTrend | givenSlope
				use.reads++
			}
			if c := literalIDs(tree, e); c != nil {
				complaints = append(complaints, *c)
			}
		}
	}))
	x.reads, x.wholly = x.touches&^mentions, use.wholly()
	return x, complaints
}

// literalIDs gives a complaint when the faults handed to seen or count_seen
// are not written out: a slip in them could not be found.
func literalIDs(tree *celast.AST, e celast.Expr) *complaint {
	call := e.AsCall()
	if name := call.FunctionName(); name != "seen" && name != "count_seen" || len(call.Args()) != 2 {
		return nil
	}
	id := call.Args()[1]
	ids := []celast.Expr{id}
	if call.FunctionName() == "count_seen" {
		ids = nil
		if id.Kind() == celast.ListKind {
			ids = id.AsList().Elements()
		}
	}
	written := len(ids) > 0
	for _, id := range ids {
		literal, ok := types.String(""), false
		if id.Kind() == celast.LiteralKind {
			literal, ok = id.AsLiteral().(types.String)
		}
		written = written && ok && idLiteral.MatchString(string(literal))
	}
	if written {
		return nil
	}
	at := tree.SourceInfo().GetStartLocation(e.ID())
	return &complaint{
		line: at.Line(), column: at.Column() + 1,
		wrong: call.FunctionName() + " wants fault ids written out",
		right: `for instance seen(o, "LMP-010-01") or count_seen(group, ["LMP-010-01", "LMP-010-02"])`,
	}
}

// unknown gives a complaint when the catalogue has no such item or fault.
func (k *vocabulary) unknown(id string) *complaint {
	if k.items[id] != nil || k.faults[id] != nil {
		return nil
	}
	return &complaint{wrong: `the catalogue has no "` + id + `"`, right: didYouMean(id, k.ids)}
}

// value works the expression out. The error is in words for a finding.
func (x *expression) value(s *scene) (ref.Val, error) {
	if missing := x.reads &^ s.given; missing != 0 {
		return nil, notGiven(missing)
	}
	v, _, err := x.program.Eval(s)
	return v, err
}

// holds works out a condition.
func (x *expression) holds(s *scene) (bool, error) {
	v, err := x.value(s)
	if err != nil {
		return false, err
	}
	return v == types.True, nil
}

// finiteDivision makes a division that gives no finite number an error: a
// comparison with it would be false and so pass in silence.
func finiteDivision(i interpreter.InterpretableV2) (interpreter.InterpretableV2, error) {
	if call, ok := i.(interpreter.InterpretableCall); ok && call.Function() == operators.Divide {
		return division{call}, nil
	}
	return i, nil
}

// division is a call of the operator / whose result must be finite.
type division struct{ interpreter.InterpretableCall }

// Exec works the division out.
func (d division) Exec(frame *interpreter.ExecutionFrame) ref.Val {
	return finite(d.InterpretableCall.Exec(frame))
}

// Eval works the division out.
func (d division) Eval(vars interpreter.Activation) ref.Val {
	return finite(d.InterpretableCall.Eval(vars))
}

// finite turns a number that is not finite into an error.
func finite(v ref.Val) ref.Val {
	if d, ok := v.(types.Double); ok && (math.IsNaN(float64(d)) || math.IsInf(float64(d), 0)) {
		return types.NewErr("division by zero")
	}
	return v
}
