package catalogue

import (
	"errors"
	"fmt"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/reflect/protoreflect"
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
		wrong, right := breach(v)
		c.add(descend(d.root, splitPath(path)), path, wrong, right)
	}
}

// breach says one broken rule: what is wrong, what would be right.
func breach(v *protovalidate.Violation) (wrong, right string) {
	rule, message := v.Proto.GetRuleId(), v.Proto.GetMessage()
	field := v.FieldDescriptor
	name := fieldName(v)
	switch {
	case field == nil && rule == "required": // a oneof: nothing of it is given
		return "none of the fields is given that exclude each other", "give " + message
	case field == nil || (!strings.Contains(rule, ".") && rule != "required"):
		return message, ""
	case missing(v):
		return name + " is missing", wanted(v)
	}
	switch rule {
	case "string.pattern":
		return fmt.Sprintf("%s is %s", name, shown(v.FieldValue.String())), "write " + patternWords(v.RuleValue.String())
	case "string.max_len":
		return fmt.Sprintf("%s is %d characters long", name, len([]rune(v.FieldValue.String()))), fmt.Sprintf("at most %v fit", v.RuleValue)
	case "string.in":
		return fmt.Sprintf("%s is %s", name, shown(v.FieldValue.String())), "write " + either(textList(v.RuleValue))
	case "repeated.max_items":
		return fmt.Sprintf("%s has %d entries", name, v.FieldValue.List().Len()), fmt.Sprintf("at most %v are allowed", v.RuleValue)
	case "repeated.unique":
		return "an entry of " + name + " is given twice", "keep one of them"
	}
	if field.Message() != nil || field.IsList() {
		return message, "" // a rule of the message as a whole, in our own words
	}
	return fmt.Sprintf("%s is %v", name, v.FieldValue), strings.TrimPrefix(message, "value ")
}

// fieldName is the last name on the way to the field.
func fieldName(v *protovalidate.Violation) string {
	elements := v.Proto.GetField().GetElements()
	if len(elements) == 0 {
		return "the file"
	}
	return elements[len(elements)-1].GetFieldName()
}

// missing tells whether a rule is broken because nothing was given.
func missing(v *protovalidate.Violation) bool {
	switch v.Proto.GetRuleId() {
	case "required", "string.min_len", "repeated.min_items", "enum.not_in":
		return true
	case "string.pattern", "string.in", "string.uuid":
		return v.FieldValue.String() == ""
	}
	return false
}

// wanted says what to give for a field that is missing.
func wanted(v *protovalidate.Violation) string {
	field := v.FieldDescriptor
	switch {
	case field.IsList():
		return "give at least one"
	case field.Kind() == protoreflect.EnumKind:
		return "give " + either(enumNames(field.Enum()))
	case v.Proto.GetRuleId() == "string.pattern":
		return "give " + patternWords(v.RuleValue.String())
	case v.Proto.GetRuleId() == "string.in":
		return "give " + either(textList(v.RuleValue))
	default:
		return "give it"
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
	case "^[A-Z]{3,4}-[0-9]{3}$":
		return "the id of an item, such as FLU-010"
	case "^[A-Z]{3,4}-[0-9]{3}-[0-9]{2}$":
		return "the id of a fault, such as FLU-010-01"
	case "^[A-Za-z0-9]+([-.][A-Za-z0-9]+)*$":
		return "letters and digits with single hyphens or dots, such as tread-below-1-mm"
	case "^(A[1-8]|[B-HJ-NP-WY]|U)$":
		return "a speed symbol, such as M"
	}
	for _, collection := range []string{"stations", "vehicles", "gauges", "people", "routines", "packs"} {
		if strings.HasPrefix(pattern, "^"+collection+"/") {
			return collection + "/ and a name in small letters, digits and single hyphens"
		}
	}
	return "what matches " + pattern
}
