package station

import (
	"fmt"
	"strconv"

	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// maxDifferences is how many differences are told one by one.
const maxDifferences = 40

// shownValue is how many characters of a value are told.
const shownValue = 80

// differences tells in which fields two messages of one kind differ, one a
// line, the old value and the new. What was taken away is "nothing". Entries of
// lists are told apart by their own key (name, id or place) where they have one.
func differences(before, after proto.Message) []string {
	d := differ{}
	d.message("", before.ProtoReflect(), after.ProtoReflect())
	if more := len(d.lines) - maxDifferences; more > 0 {
		d.lines = append(d.lines[:maxDifferences], fmt.Sprintf("and %d more", more))
	}
	return d.lines
}

type differ struct{ lines []string }

func (d *differ) message(path string, before, after protoreflect.Message) {
	fields := before.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		at := path + string(f.Name())
		switch {
		case f.IsList():
			d.list(at, f, before.Get(f).List(), after.Get(f).List())
		case f.IsMap(): // configuration has none
		case isSecret(f):
			d.secret(at, before.Get(f).String(), after.Get(f).String())
		case isPlainMessage(f) && before.Has(f) && after.Has(f):
			d.message(at+".", before.Get(f).Message(), after.Get(f).Message())
		default:
			d.value(at, said(f, before), said(f, after))
		}
	}
}

// isSecret tells that a field says who a person is. What differs is told in an
// answer that the record keeps, so that it could not be erased.
func isSecret(f protoreflect.FieldDescriptor) bool {
	person := (*pb.Person)(nil).ProtoReflect().Descriptor()
	return f.Parent() == person && (f.Name() == "title" || f.Name() == "pin_argon2id" || f.Name() == "badge_hmac_sha256")
}

// secret tells of a value that must not be read whether it is there.
func (d *differ) secret(path, before, after string) {
	switch {
	case before == after:
	case before == "":
		d.value(path, nothing, "given")
	case after == "":
		d.value(path, "given", nothing)
	default:
		d.value(path, "given", "another one given")
	}
}

// isPlainMessage tells that a field holds a message of ours, and not a time or
// a duration, which read as one value.
func isPlainMessage(f protoreflect.FieldDescriptor) bool {
	return f.Message() != nil && f.Message().ParentFile().Package() != "google.protobuf"
}

func (d *differ) value(path, before, after string) {
	if before != after {
		d.lines = append(d.lines, fmt.Sprintf("%s: %s → %s", path, before, after))
	}
}

// list compares entries by their keys, or by their place where they have none.
func (d *differ) list(path string, f protoreflect.FieldDescriptor, before, after protoreflect.List) {
	if f.Message() == nil {
		d.value(path, saidList(f, before), saidList(f, after))
		return
	}
	was, order := entriesOf(before)
	is, added := entriesOf(after)
	for _, key := range order {
		at := path + "[" + key + "]"
		if now, still := is[key]; still {
			d.message(at+".", was[key], now)
		} else {
			d.value(at, brief(was[key]), nothing)
		}
	}
	for _, key := range added {
		if _, known := was[key]; !known {
			d.value(path+"["+key+"]", nothing, brief(is[key]))
		}
	}
}

// nothing is what stands for a value that is not there.
const nothing = "nothing"

func entriesOf(l protoreflect.List) (entries map[string]protoreflect.Message, order []string) {
	entries = map[string]protoreflect.Message{}
	for i := range l.Len() {
		m := l.Get(i).Message()
		key := keyOf(m)
		if _, taken := entries[key]; taken || key == "" {
			key = strconv.Itoa(i)
		}
		entries[key] = m
		order = append(order, key)
	}
	return entries, order
}

// keyOf is what an entry of a list is known by.
func keyOf(m protoreflect.Message) string {
	fields := m.Descriptor().Fields()
	for _, name := range []protoreflect.Name{"name", "id", "step_id"} {
		if f := fields.ByName(name); f != nil && f.Kind() == protoreflect.StringKind && !f.IsList() {
			return m.Get(f).String()
		}
	}
	if f := fields.ByName("place"); f != nil && f.Message() != nil {
		return keyOf(m.Get(f).Message())
	}
	return ""
}

// brief is a whole entry in a few words.
func brief(m protoreflect.Message) string {
	if f := m.Descriptor().Fields().ByName("title"); f != nil && f.Kind() == protoreflect.StringKind {
		return cut(strconv.Quote(m.Get(f).String()))
	}
	return cut("{" + prototext.MarshalOptions{}.Format(m.Interface()) + "}")
}

// said is one field as people read it.
func said(f protoreflect.FieldDescriptor, m protoreflect.Message) string {
	if f.HasPresence() && !m.Has(f) {
		return nothing
	}
	return saidValue(f, m.Get(f))
}

func saidValue(f protoreflect.FieldDescriptor, v protoreflect.Value) string {
	switch f.Kind() {
	case protoreflect.StringKind:
		return cut(strconv.Quote(v.String()))
	case protoreflect.EnumKind:
		if known := f.Enum().Values().ByNumber(v.Enum()); known != nil {
			return string(known.Name())
		}
		return strconv.Itoa(int(v.Enum()))
	case protoreflect.MessageKind:
		return saidMessage(v.Message())
	}
	return v.String()
}

func saidMessage(m protoreflect.Message) string {
	switch known := m.Interface().(type) {
	case *durationpb.Duration:
		return known.AsDuration().String()
	case *timestamppb.Timestamp:
		return clockWords(known.AsTime())
	}
	return brief(m)
}

func saidList(f protoreflect.FieldDescriptor, l protoreflect.List) string {
	text := "["
	for i := range l.Len() {
		if i > 0 {
			text += ", "
		}
		text += saidValue(f, l.Get(i))
	}
	return cut(text + "]")
}

func cut(text string) string {
	if runes := []rune(text); len(runes) > shownValue {
		return string(runes[:shownValue]) + "…"
	}
	return text
}
