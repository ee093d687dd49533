package admit

import (
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "bayround/proto/bayround/v1"
)

// ProofRule says on whose word a station believes that people have proven who they
// are in one way.
type ProofRule struct {
	Proof pb.Proof
	// Roles of programs that may say so, in the order of their numbers.
	Roles []pb.ClientRole
}

// ProofTable is the whole table, by proof. What does not stand in it nobody may claim.
func ProofTable() []ProofRule {
	return []ProofRule{
		{pb.Proof_PROOF_PIN, []pb.ClientRole{tablet}}, // it alone holds the hashes, and asks for the PIN
		{pb.Proof_PROOF_BADGE_AND_PIN, []pb.ClientRole{tablet}},
		{pb.Proof_PROOF_CERTIFICATE, []pb.ClientRole{officer, administrator}},
	}
}

// MayClaim tells whether a program with a role is believed that somebody has proven
// who they are in some way.
func MayClaim(role pb.ClientRole, claimed pb.Proof) bool {
	return slices.ContainsFunc(ProofTable(), func(r ProofRule) bool { return r.Proof == claimed && slices.Contains(r.Roles, role) })
}

// Claims are the ways in which a request says that people have proven who they are,
// wherever in it that stands.
func Claims(request proto.Message) (claimed []pb.Proof) {
	collect(request.ProtoReflect(), &claimed)
	return claimed
}

func collect(m protoreflect.Message, into *[]pb.Proof) {
	m.Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		for _, one := range single(field, value) {
			switch {
			case field.Message() != nil:
				collect(one.Message(), into)
			case field.Enum().FullName() == pb.Proof_PROOF_UNSPECIFIED.Descriptor().FullName():
				*into = append(*into, pb.Proof(one.Enum()))
			}
		}
		return true
	})
}

// single are the values of a field that holds messages or enums, one by one. The
// contract has no maps.
func single(field protoreflect.FieldDescriptor, value protoreflect.Value) (all []protoreflect.Value) {
	if field.IsMap() || field.Message() == nil && field.Enum() == nil {
		return nil
	}
	if !field.IsList() {
		return []protoreflect.Value{value}
	}
	for i := range value.List().Len() {
		all = append(all, value.List().Get(i))
	}
	return all
}
