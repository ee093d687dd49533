package signature

import (
	"cmp"
	"crypto/sha256"
	"slices"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// sum is the hash of a message in its one form; nil, which nothing fits, for text that
// is not UTF-8.
func sum(m proto.Message) []byte {
	b, err := appendWire(nil, m.ProtoReflect())
	if err != nil {
		return nil
	}
	hash := sha256.Sum256(b)
	return hash[:]
}

// appendWire appends a message in protobuf's wire form with its fields in the order of
// their numbers, which proto.Marshal does not promise: it puts the fields of a choice
// last. There are no maps in what is signed.
func appendWire(b []byte, m protoreflect.Message) ([]byte, error) {
	var set []protoreflect.FieldDescriptor
	m.Range(func(f protoreflect.FieldDescriptor, _ protoreflect.Value) bool {
		set = append(set, f)
		return true
	})
	slices.SortFunc(set, func(f, g protoreflect.FieldDescriptor) int { return cmp.Compare(f.Number(), g.Number()) })
	for _, f := range set {
		var err error
		if b, err = appendField(b, m, f); err != nil {
			return nil, err
		}
	}
	return append(b, m.GetUnknown()...), nil
}

func appendField(b []byte, m protoreflect.Message, f protoreflect.FieldDescriptor) ([]byte, error) {
	if f.Message() == nil {
		one := m.New()
		one.Set(f, m.Get(f))
		return proto.MarshalOptions{Deterministic: true}.MarshalAppend(b, one.Interface())
	}
	parts := []protoreflect.Message{}
	if f.IsList() {
		for list, i := m.Get(f).List(), 0; i < list.Len(); i++ {
			parts = append(parts, list.Get(i).Message())
		}
	} else {
		parts = append(parts, m.Get(f).Message())
	}
	for _, part := range parts {
		inner, err := appendWire(nil, part)
		if err != nil {
			return nil, err
		}
		b = protowire.AppendBytes(protowire.AppendTag(b, f.Number(), protowire.BytesType), inner)
	}
	return b, nil
}
