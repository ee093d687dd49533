package rpc

import (
	"errors"
	"fmt"
	"strings"

	"buf.build/go/protovalidate"

	"bayround/internal/fault"
)

// Reasons of refusals that this package makes itself.
const (
	reasonBadFields  = "FIELDS_BREAK_RULES"
	reasonUnreadable = "MESSAGE_UNREADABLE"
)

// inOurWords turns what the validator found into a fault that names each field
// and says what would be right.
func inOurWords(err error) error {
	if err == nil {
		return nil
	}
	var invalid *protovalidate.ValidationError
	if !errors.As(err, &invalid) {
		return fmt.Errorf("holding a request against its rules: %w", err)
	}
	f := fault.New(fault.Invalid, reasonBadFields, "the request is not right")
	for _, v := range invalid.Violations {
		f = f.At(pathOf(v), "%s", wordsFor(v))
	}
	if len(f.Fields) > 0 {
		f.Message = fmt.Sprintf("the request is not right: %s %s", f.Fields[0].Path, f.Fields[0].Message)
		if more := len(f.Fields) - 1; more > 0 {
			f.Message += fmt.Sprintf(" (and %d more)", more)
		}
	}
	return f
}

// pathOf is the path of the field, as in the proto.
func pathOf(v *protovalidate.Violation) string {
	if path := protovalidate.FieldPathString(v.Proto.GetField()); path != "" {
		return path
	}
	return "request"
}

// wordsFor says in our words what would be right. What has no words of ours keeps
// the validator's; rules that are ours (cel) carry our words already.
func wordsFor(v *protovalidate.Violation) string {
	rule := v.Proto.GetRuleId()
	if words, ok := patternWords[ruleText(v)]; ok && rule == "string.pattern" {
		return "must be " + words + given(v)
	}
	if words, ok := ruleWords[rule]; ok {
		return words
	}
	if words := limitWords(rule, ruleText(v)); words != "" {
		return words + given(v)
	}
	return plainer(v.Proto.GetMessage()) + given(v)
}

// plainer shortens the validator's words where it speaks like a formula.
func plainer(words string) string {
	if between, ok := strings.CutPrefix(words, "must be greater than or equal to "); ok {
		if least, most, both := strings.Cut(between, " and less than or equal to "); both {
			return "must lie between " + least + " and " + most
		}
	}
	if list, ok := strings.CutPrefix(words, "must be in list ["); ok {
		return "must be one of " + strings.TrimSuffix(list, "]")
	}
	return words
}

// ruleText is the value of the rule that was broken, for instance the pattern or the limit.
func ruleText(v *protovalidate.Violation) string {
	if !v.RuleValue.IsValid() {
		return ""
	}
	return v.RuleValue.String()
}

// given shows what came instead, when it is short enough to help.
func given(v *protovalidate.Violation) string {
	const longest = 60
	if !v.FieldValue.IsValid() {
		return ""
	}
	switch value := v.FieldValue.Interface().(type) {
	case string:
		if value != "" && len(value) <= longest {
			return fmt.Sprintf(", not %q", value)
		}
	case int32, int64, float64:
		return fmt.Sprintf(", not %v", value)
	}
	return ""
}

// limitWords puts lengths and limits into words. The rule is named as in
// buf.validate, for instance "double.lte".
func limitWords(rule, limit string) string {
	kind, check, _ := strings.Cut(rule, ".")
	counted := map[string]string{"string": "characters", "bytes": "bytes", "repeated": "entries"}[kind]
	switch check {
	case "min_len", "min_items":
		if limit == "1" {
			return "must not be empty"
		}
		return fmt.Sprintf("must have at least %s %s", limit, counted)
	case "max_len", "max_items":
		return fmt.Sprintf("must have at most %s %s", limit, counted)
	case "gt":
		return "must be more than " + limit
	case "gte":
		return "must be at least " + limit
	case "lt":
		return "must be less than " + limit
	case "lte":
		return "must be at most " + limit
	}
	return ""
}

// unreadable is the refusal of bytes that are no message of the kind expected.
func unreadable() error {
	return fault.New(fault.Invalid, reasonUnreadable,
		"the bytes are not a readable message of this call; was the client built from another proto?")
}
