package catalogue

import (
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"

	"buf.build/go/protoyaml"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Messages that are written as one value.
const (
	durationName  protoreflect.FullName = "google.protobuf.Duration"
	timestampName protoreflect.FullName = "google.protobuf.Timestamp"
)

// longestDuration is more than anything here stays good for.
const longestDuration = 10 * 366 * 24 * time.Hour

// scalar says what is wrong with the text of a single value, and what would be
// right; two empty strings when it is right.
func scalar(text string, field protoreflect.FieldDescriptor) (wrong, right string) {
	switch field.Kind() {
	case protoreflect.BoolKind:
		if text != "true" && text != "false" {
			return "it is neither true nor false", "write true or false"
		}
	case protoreflect.Int32Kind, protoreflect.Int64Kind:
		return wholeNumber(text, field.Kind())
	case protoreflect.DoubleKind:
		if v, err := strconv.ParseFloat(text, 64); err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
			return "it is no number", "write a decimal number such as 8.5, without its unit"
		}
	case protoreflect.EnumKind:
		return enumWord(text, field.Enum())
	case protoreflect.StringKind:
		if strings.ContainsFunc(text, func(r rune) bool { return unicode.IsControl(r) && r != '\n' }) {
			return "it holds a character that cannot be shown", "take it out"
		}
	case protoreflect.MessageKind:
		if field.Message().FullName() == durationName {
			return durationText(text)
		}
		if _, err := time.Parse(time.RFC3339Nano, text); err != nil {
			return "it is no time", "write it as 2026-11-25T07:30:00Z"
		}
	}
	return "", ""
}

func wholeNumber(text string, kind protoreflect.Kind) (wrong, right string) {
	bits := 64
	if kind == protoreflect.Int32Kind {
		bits = 32
	}
	if _, err := strconv.ParseInt(text, 10, bits); err != nil {
		return "it is no whole number", "write digits only, without its unit"
	}
	return "", ""
}

func durationText(text string) (wrong, right string) {
	d, err := protoyaml.ParseDuration(text)
	if err != nil {
		return "it is no duration", "write hours as 14h, minutes as 15m, seconds as 30s"
	}
	if s := d.GetSeconds(); s < 0 || s > int64(longestDuration/time.Second) {
		return "it is below zero or over ten years", "write hours as 14h, minutes as 15m, seconds as 30s"
	}
	return "", ""
}

// enumWord checks a word against an enum's values. The value that says nothing
// is no value to write down.
func enumWord(text string, enum protoreflect.EnumDescriptor) (wrong, right string) {
	names := enumNames(enum)
	if value := enum.Values().ByName(protoreflect.Name(text)); value != nil {
		if value.Number() == 0 {
			return "it says nothing", "write " + choices(names)
		}
		return "", ""
	}
	for _, name := range names { // the short word is the likeliest slip
		if strings.HasSuffix(name, "_"+strings.ToUpper(text)) {
			return "the word is not known", "did you mean " + name + "?"
		}
	}
	if close := nearest(text, names); close != "" {
		return "the word is not known", "did you mean " + close + "?"
	}
	return "the word is not known", "write " + choices(names)
}

// enumNames lists an enum's values but the one that says nothing.
func enumNames(enum protoreflect.EnumDescriptor) []string {
	var names []string
	for i := range enum.Values().Len() {
		if value := enum.Values().Get(i); value.Number() != 0 {
			names = append(names, string(value.Name()))
		}
	}
	return names
}
