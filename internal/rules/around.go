package rules

import (
	"cel.dev/cel-go/cel"
	celast "cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/operators"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "bayround/proto/bayround/v1"
)

// fieldsAround finds the message that a field was asked of, so that a slip in
// the field's name can be put right. The expression did not pass the check, so
// there are no types to look up; the plain path to the message is followed by
// hand. Where it is not plain, the fields of everything near are candidates.
func (w view) fieldsAround(id int64, parsed *cel.Ast) (owner string, fields []string) {
	var asked celast.Expr
	ranges := map[string]celast.Expr{} // what each variable of a macro runs over
	celast.PreOrderVisit(parsed.NativeRep().Expr(), celast.NewExprVisitor(func(e celast.Expr) {
		switch {
		case e.Kind() == celast.ComprehensionKind:
			ranges[e.AsComprehension().IterVar()] = e.AsComprehension().IterRange()
		case e.ID() == id && e.Kind() == celast.SelectKind:
			asked = e.AsSelect().Operand()
		}
	}))
	if asked != nil {
		if m := messageAt(asked, ranges, deepestNesting); m != nil {
			return string(m.Name()) + " has", fieldNames(m)
		}
	}
	near := append(fieldNames(observationMessage()), fieldNames((&pb.CheckStep{}).ProtoReflect().Descriptor())...)
	return "there is", append(near, fieldNames(vehicleMessage())...)
}

// messageAt gives the message an expression stands for, or whose list or map
// it is; nil where that is not plain. depth bounds variables that run over themselves.
func messageAt(e celast.Expr, ranges map[string]celast.Expr, depth int) protoreflect.MessageDescriptor {
	if depth == 0 {
		return nil
	}
	switch e.Kind() {
	case celast.IdentKind:
		switch name := e.AsIdent(); name {
		case "vehicle":
			return vehicleMessage()
		case "o", "group":
			return observationMessage()
		case "fault":
			return (&pb.Fault{}).ProtoReflect().Descriptor()
		default:
			if over := ranges[name]; over != nil {
				return messageAt(over, ranges, depth-1)
			}
		}
	case celast.SelectKind:
		m := messageAt(e.AsSelect().Operand(), ranges, depth-1)
		if m == nil {
			return nil
		}
		if f := m.Fields().ByName(protoreflect.Name(e.AsSelect().FieldName())); f != nil {
			return f.Message()
		}
	case celast.CallKind:
		if c := e.AsCall(); c.FunctionName() == operators.Index && len(c.Args()) == 2 {
			return messageAt(c.Args()[0], ranges, depth-1)
		}
	}
	return nil
}

func vehicleMessage() protoreflect.MessageDescriptor {
	return (&pb.VehicleConfiguration{}).ProtoReflect().Descriptor()
}

func observationMessage() protoreflect.MessageDescriptor {
	return (&pb.Observation{}).ProtoReflect().Descriptor()
}

func fieldNames(m protoreflect.MessageDescriptor) []string {
	names := make([]string, m.Fields().Len())
	for i := range names {
		names[i] = string(m.Fields().Get(i).Name())
	}
	return names
}
