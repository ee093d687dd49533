package rpc

import (
	"strings"
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "bayround/proto/bayround/v1"
)

// requests are the descriptors of every message a caller may send.
func requests() []protoreflect.MessageDescriptor {
	var all []protoreflect.MessageDescriptor
	protoregistry.GlobalFiles.RangeFilesByPackage("bayround.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			methods := file.Services().Get(i).Methods()
			for j := range methods.Len() {
				all = append(all, methods.Get(j).Input())
			}
		}
		return true
	})
	return all
}

// fieldsOf calls visit for every field that a message of this kind can hold, at any depth.
func fieldsOf(message protoreflect.MessageDescriptor, visit func(protoreflect.FieldDescriptor)) {
	seen := map[protoreflect.FullName]bool{}
	var walk func(protoreflect.MessageDescriptor)
	walk = func(m protoreflect.MessageDescriptor) {
		if seen[m.FullName()] {
			return
		}
		seen[m.FullName()] = true
		for i := range m.Fields().Len() {
			field := m.Fields().Get(i)
			visit(field)
			if sub := field.Message(); sub != nil && !field.IsMap() {
				walk(sub)
			}
		}
	}
	walk(message)
}

func rulesOf(t *testing.T, field protoreflect.FieldDescriptor) *validate.FieldRules {
	t.Helper()
	rules, err := protovalidate.ResolveFieldRules(field)
	if err != nil {
		t.Fatal(err)
	}
	return rules
}

func TestPatternWords_KnowEveryPatternOfTheRequests(t *testing.T) {
	used := map[string]bool{}
	for _, request := range requests() {
		fieldsOf(request, func(field protoreflect.FieldDescriptor) {
			rules := rulesOf(t, field)
			for _, r := range []*validate.FieldRules{rules, rules.GetRepeated().GetItems()} {
				if pattern := r.GetString().GetPattern(); pattern != "" {
					used[pattern] = true
					if patternWords[pattern] == "" {
						t.Errorf("%s: the pattern %s has no words", field.FullName(), pattern)
					}
				}
			}
		})
	}
	for pattern := range patternWords {
		if !used[pattern] {
			t.Errorf("no request uses the pattern %s any more", pattern)
		}
	}
}

func TestInOurWords_SayWhatWouldBeRight(t *testing.T) {
	validator, err := protovalidate.New()
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name  string
		value *pb.ListReadinessRequest
		want  string
	}{
		{"a number too great", &pb.ListReadinessRequest{PageSize: 201}, "page_size must lie between 0 and 200, not 201"},
		{"a bad name", &pb.ListReadinessRequest{Station: "Quay"}, `station must be a name like "stations/skarholm-quay" (lower-case letters, digits and single hyphens), or empty, not "Quay"`},
		{"a long text", &pb.ListReadinessRequest{PageToken: strings.Repeat("x", 501)}, "page_token must have at most 500 characters"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			err := inOurWords(validator.Validate(tc.value))
			if err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("refusal = %v, want %q in it", err, tc.want)
			}
		})
	}
}
