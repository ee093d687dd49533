package catalogue

import (
	"strings"
	"testing"

	contract "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "bayround/proto/bayround/v1"
)

// eachField calls visit for every field that a file can hold.
func eachField(md protoreflect.MessageDescriptor, seen map[protoreflect.FullName]bool, visit func(protoreflect.FieldDescriptor)) {
	if seen[md.FullName()] || written(md) {
		return
	}
	seen[md.FullName()] = true
	for i := range md.Fields().Len() {
		field := md.Fields().Get(i)
		visit(field)
		if field.Message() != nil {
			eachField(field.Message(), seen, visit)
		}
	}
}

func TestPatternWords_NoPatternOfTheContractIsForgotten(t *testing.T) {
	found := 0
	eachField((&pb.StationFile{}).ProtoReflect().Descriptor(), map[protoreflect.FullName]bool{}, func(field protoreflect.FieldDescriptor) {
		rules, err := protovalidate.ResolveFieldRules(field)
		if err != nil {
			t.Fatalf("%s: %v", field.FullName(), err)
		}
		for _, r := range []*contract.FieldRules{rules, rules.GetRepeated().GetItems()} {
			pattern := r.GetString().GetPattern()
			if pattern == "" {
				continue
			}
			found++
			if words := patternWords(pattern); strings.Contains(words, pattern) {
				t.Errorf("%s: the pattern %s has no words", field.FullName(), pattern)
			}
		}
	})
	if found < 20 {
		t.Errorf("%d patterns found in the contract, want the twenty and more that it has", found)
	}
}

// Shape knows lists, messages and single values; a file that could hold a map
// would pass by it unseen.
func TestShape_ContractHasNoMapsInFiles(t *testing.T) {
	eachField((&pb.StationFile{}).ProtoReflect().Descriptor(), map[protoreflect.FullName]bool{}, func(field protoreflect.FieldDescriptor) {
		if field.IsMap() {
			t.Errorf("%s is a map, which shape does not know", field.FullName())
		}
		if neverGiven(field) {
			return
		}
		switch field.Kind() {
		case protoreflect.BoolKind, protoreflect.Int32Kind, protoreflect.Int64Kind, protoreflect.DoubleKind,
			protoreflect.EnumKind, protoreflect.StringKind, protoreflect.MessageKind:
		default:
			t.Errorf("%s is a %s, which scalar does not know", field.FullName(), field.Kind())
		}
	})
}
