package rules

import (
	"strings"

	celast "cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/operators"
	"cel.dev/cel-go/common/types"

	pb "bayround/proto/bayround/v1"
)

// field is one number of an observation, as a limit takes it: as it is, rounded,
// or in another unit. Nil is a number that is put together in another way.
type field struct {
	of    string  // field of Observation
	which string  // part of the reading, for values; empty otherwise
	scale float64 // what one of the field's unit is in the number's
}

// wholeFields are the fields that limits are mostly about; never changed.
var wholeFields = map[string]bool{
	"level": true, "value": true, "share_of_target": true,
	"tread_band_mm": true, "tread_central_mm": true, "tread_least_mm": true,
}

// fieldIn finds which number of an observation an expression stands for: a field
// alone, or that in psi, in bar, rounded, or times or by a number written out.
func (w view) fieldIn(source string) *field {
	parsed, issues := w.Parse(source)
	if issues.Err() != nil {
		return nil
	}
	return fieldAt(parsed.NativeRep().Expr())
}

func fieldAt(e celast.Expr) *field {
	switch e.Kind() {
	case celast.SelectKind:
		sel := e.AsSelect()
		switch {
		case isO(sel.Operand()) && wholeFields[sel.FieldName()] && !sel.IsTestOnly():
			return &field{of: sel.FieldName(), scale: 1}
		case isValues(sel.Operand()):
			return &field{of: "values", which: sel.FieldName(), scale: 1}
		}
	case celast.CallKind:
		return fieldInCall(e.AsCall())
	}
	return nil
}

func fieldInCall(call celast.CallExpr) *field {
	args := call.Args()
	if len(args) == 0 {
		return nil
	}
	if call.FunctionName() == operators.Index {
		if part, ok := literal(args[1]).(types.String); ok && isValues(args[0]) {
			return &field{of: "values", which: string(part), scale: 1}
		}
		return nil
	}
	f := fieldAt(args[0])
	if f == nil {
		return nil
	}
	factor, written := types.Double(0), false
	if len(args) == 2 {
		factor, written = literal(args[1]).(types.Double)
	}
	switch name := call.FunctionName(); {
	case name == "round":
	case name == "psi":
		f.scale /= kilopascalsPerPsi
	case name == "bar":
		f.scale /= kilopascalsPerBar
	case name == operators.Multiply && written:
		f.scale *= float64(factor)
	case name == operators.Divide && written && factor != 0:
		f.scale /= float64(factor)
	default:
		return nil
	}
	return f
}

func isO(e celast.Expr) bool { return e.Kind() == celast.IdentKind && e.AsIdent() == "o" }

func isValues(e celast.Expr) bool {
	return e.Kind() == celast.SelectKind && e.AsSelect().FieldName() == "values" && isO(e.AsSelect().Operand())
}

func literal(e celast.Expr) any {
	if e.Kind() != celast.LiteralKind {
		return nil
	}
	return e.AsLiteral()
}

// part is the part of a reading the number is; empty for the first one.
func (f *field) part() string {
	if f == nil {
		return ""
	}
	return f.which
}

// uncertainty gives the standard uncertainty of the number; false when nobody knows it.
func (f *field) uncertainty(o *pb.Observation) (u float64, known bool) {
	if f == nil {
		return 0, false
	}
	switch {
	case f.of == "level": // nobody says how well a mark is read
		return 0, false
	case f.of == "values":
		u, known = o.GetUncertainties()[f.which]
	case f.of == "value":
		u, known = o.GetStandardUncertainty(), o.GetHasUncertainty()
	case f.of == "share_of_target":
		u, known = o.GetStandardUncertainty()/abs(o.GetTarget()), o.GetHasUncertainty()
	default:
		u, known = o.GetTreadUncertaintyMm(), o.GetTreadUncertaintyMm() > 0
	}
	u *= abs(f.scale)
	return u, known && isFinite(u)
}

// bias gives what the gauge may have read too high, in the unit of the number.
func (f *field) bias(o *pb.Observation) float64 {
	off := o.GetMayReadHighBy()
	if f == nil || off == 0 || f.of == "level" {
		return 0
	}
	switch parts := o.GetStep().GetParts(); {
	case f.of == "share_of_target":
		off /= o.GetTarget()
	case f.of == "values":
		for _, p := range parts { // the other parts are not all read with that gauge
			if p.GetId() == f.which && p.GetQuantity() != parts[0].GetQuantity() {
				return 0
			}
		}
	}
	return off * f.scale
}

// name is the number's name with its unit, as numbers of findings have it; empty
// when it has none.
func (f *field) name(o *pb.Observation) string {
	parts := o.GetStep().GetParts()
	switch {
	case f == nil || f.scale != 1:
		return ""
	case f.of == "values":
		for _, p := range parts {
			if p.GetId() == f.which {
				return p.GetId() + quantityOf(p).suffix
			}
		}
		return f.which
	case f.of == "value" && len(parts) > 0:
		return parts[0].GetId() + quantityOf(parts[0]).suffix
	}
	return f.of
}

// quantityFactor is what one of the number's unit is in the unit of the series
// that its step keeps; 0 when the number is not what the series follows.
func (f *field) quantityFactor(o *pb.Observation) float64 {
	parts := o.GetStep().GetParts()
	switch {
	case f == nil || f.scale == 0:
		return 0
	case f.of == "share_of_target":
		return o.GetTarget() / f.scale
	case f.of == "values" && (len(parts) == 0 || parts[0].GetId() != f.which):
		return 0
	case strings.HasPrefix(f.of, "tread_"), f.of == "level", f.of == "value", f.of == "values":
		return 1 / f.scale
	}
	return 0
}
