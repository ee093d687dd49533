package catalogue

import (
	"errors"
	"fmt"
	"strings"

	contract "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "bayround/proto/bayround/v1"
)

// validate checks a decoded file against the rules in the proto and says every
// breach in plain words, at the place where it stands.
func validate(c *complaints, d *document) {
	err := protovalidate.Validate(d.message)
	if err == nil {
		return
	}
	invalid, ok := errors.AsType[*protovalidate.ValidationError](err)
	if !ok {
		c.add(d.root, "", "the file cannot be checked against the rules of its fields: "+err.Error(), "")
		return
	}
	for _, v := range invalid.Violations {
		path := protovalidate.FieldPathString(v.Proto.GetField())
		steps := splitPath(path)
		at, spelt := descend(d.root, steps)
		wrong, right := breach(v, spelt)
		c.add(at, path, wrong, right)
	}
}

// Words for what stands where a hash belongs. It is never shown: what stands there in
// error may be the PIN or the badge itself.
const (
	pinWords   = "the whole line that `kiosk pin` prints, or leave it out"
	badgeWords = "the whole line that `server badge` prints, or leave it out"
)

// secret says what a field with a hash is not, and what would be right; empty for other fields.
func secret(field string) (not, right string) {
	switch field {
	case "pin_argon2id":
		return " is no Argon2id PHC string", pinWords
	case "badge_hmac_sha256":
		return " is no hash of a badge", badgeWords
	}
	return "", ""
}

// breach says one broken rule: what is wrong, what would be right. Spelt tells
// whether the file spells the value out.
func breach(v *protovalidate.Violation, spelt bool) (wrong, right string) {
	rule, name := v.Proto.GetRuleId(), fieldName(v)
	if v.FieldDescriptor == nil && rule == "required" {
		return "neither " + strings.Join(oneofFields(v.Proto.GetField().GetElements()), " nor ") + " is given", "give one of them"
	}
	if missing(v, spelt) {
		return name + " is missing", wanted(v)
	}
	value := v.FieldValue
	switch rule {
	case "string.pattern":
		if not, right := secret(name); not != "" {
			return name + not, "write " + right
		}
		return name + " is " + shown(value.String()), "write " + patternWords(v.RuleValue.String())
	case "string.in":
		return name + " is " + shown(value.String()), "write " + either(textList(v.RuleValue))
	case "string.max_len":
		return fmt.Sprintf("%s is %d characters long", name, len([]rune(value.String()))), fmt.Sprintf("at most %v fit", v.RuleValue)
	case "repeated.max_items":
		return fmt.Sprintf("%s has %d entries", name, value.List().Len()), fmt.Sprintf("at most %v are allowed", v.RuleValue)
	case "repeated.unique":
		return "an entry of " + name + " is given twice", "keep one of them"
	case "bool.const":
		return fmt.Sprintf("%s is %v", name, value), fmt.Sprintf("write %v, or leave the line out", v.RuleValue)
	case "duration.gt":
		return name + " is no time at all", "write hours as 14h"
	}
	switch value.Interface().(type) {
	case bool, int32, int64, float64, string, protoreflect.EnumNumber:
		return fmt.Sprintf("%s is %v", name, value), demand(v)
	default: // a rule of ours about a message as a whole
		if md := messageAt(v.Proto.GetField().GetElements()); md != nil {
			name = "this " + noun(md)
		}
		return name + " cannot stand as it is", v.Proto.GetMessage()
	}
}

// demand is what a rule on one value asks for, as a clause of its own.
func demand(v *protovalidate.Violation) string {
	return "it " + strings.TrimPrefix(v.Proto.GetMessage(), "value ")
}

// fieldName is the last name on the way to the field.
func fieldName(v *protovalidate.Violation) string {
	elements := v.Proto.GetField().GetElements()
	if len(elements) == 0 {
		return "the file"
	}
	return elements[len(elements)-1].GetFieldName()
}

// messageAt finds what message stands at the end of a path; nil when it is none.
func messageAt(path []*contract.FieldPathElement) protoreflect.MessageDescriptor {
	md := (&pb.StationFile{}).ProtoReflect().Descriptor()
	for _, element := range path {
		field := md.Fields().ByName(protoreflect.Name(element.GetFieldName()))
		if field == nil || field.Message() == nil {
			return nil
		}
		md = field.Message()
	}
	return md
}

// oneofFields lists the fields of the oneof that a violation is about: its name
// stands last on the path.
func oneofFields(path []*contract.FieldPathElement) []string {
	last := len(path) - 1
	md := messageAt(path[:last])
	if md == nil {
		return nil
	}
	oneof := md.Oneofs().ByName(protoreflect.Name(path[last].GetFieldName()))
	if oneof == nil {
		return nil
	}
	var names []string
	for i := range oneof.Fields().Len() {
		names = append(names, string(oneof.Fields().Get(i).Name()))
	}
	return names
}

// missing tells whether a rule is broken because nothing was given.
func missing(v *protovalidate.Violation, spelt bool) bool {
	switch v.Proto.GetRuleId() {
	case "required", "string.min_len", "repeated.min_items", "enum.not_in":
		return true
	case "string.pattern", "string.in":
		return v.FieldValue.String() == ""
	}
	return !spelt && v.FieldDescriptor != nil && v.FieldDescriptor.Message() == nil
}

// wanted says what to give for a field that is missing.
func wanted(v *protovalidate.Violation) string {
	rule, field := v.Proto.GetRuleId(), v.FieldDescriptor
	switch {
	case rule == "string.pattern":
		return "give " + patternWords(v.RuleValue.String())
	case rule == "string.in":
		return "give " + either(textList(v.RuleValue))
	case rule == "string.min_len" || field == nil:
		return "give it"
	case field.IsList():
		return "give at least one"
	case field.Message() != nil && !written(field.Message()):
		return "give its fields, such as " + either(fieldNames(field.Message(), 3))
	case field.Kind() == protoreflect.EnumKind:
		return "give " + choices(enumNames(field.Enum()))
	case rule == "required":
		return "give it"
	default:
		return demand(v)
	}
}

// textList is the texts of a list in a rule.
func textList(v protoreflect.Value) []string {
	list, ok := v.Interface().(protoreflect.List)
	if !ok {
		return nil
	}
	texts := make([]string, list.Len())
	for i := range texts {
		texts[i] = list.Get(i).String()
	}
	return texts
}

// patternWords says a pattern of the proto in words, with an example. A test
// sees to it that none is forgotten.
func patternWords(pattern string) string {
	switch pattern {
	case "^[a-z0-9]+(-[a-z0-9]+)*$":
		return "small letters and digits with single hyphens, such as engine-flap"
	case "^[a-z0-9]+(_[a-z0-9]+)*$":
		return "small letters and digits with single underscores, such as air_brakes"
	case "^[a-z]+( [a-z]+)*$":
		return "small letters with single spaces, such as crew seat"
	case "^([a-z]+( [a-z]+)*)?$":
		return "small letters with single spaces, such as day, or leave it out"
	case "^([01][0-9]|2[0-3]):[0-5][0-9]$":
		return "a time of day such as \"07:30\", in quotation marks"
	case "^([0-9]{4}-[0-9]{2}-[0-9]{2})?$":
		return "a day such as \"2026-01-31\", in quotation marks"
	case "^[A-Z]{3,4}-[0-9]{3}$":
		return "the id of an item, such as FLU-010"
	case "^[A-Z]{3,4}(-[0-9]{3})?$":
		return "the id of an item, such as BRA-010, or the letters of a family, such as BRA"
	case "^[A-Z]{3,4}-[0-9]{3}-[0-9]{2}$":
		return "the id of a fault, such as FLU-010-01"
	case "^[A-Za-z0-9]+([-.][A-Za-z0-9]+)*$":
		return "letters and digits with single hyphens or dots, such as tread-below-1-mm"
	case "^([0-9a-f]{64})?$":
		return badgeWords
	case "^(A[1-8]|[B-HJ-NP-WY]|U)$":
		return "a speed symbol, such as M"
	}
	if strings.HasPrefix(pattern, `^(\$argon2id\$`) {
		return pinWords
	}
	for _, collection := range []string{"stations", "vehicles", "gauges", "people", "routines", "packs"} {
		if strings.HasPrefix(pattern, "^"+collection+"/") {
			return collection + "/ and a name in small letters, digits and single hyphens"
		}
	}
	return "what matches " + pattern
}
