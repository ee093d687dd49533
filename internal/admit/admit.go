// Package admit says which programs may call what at a station. It holds the one
// table of that; what does not stand in it nobody may call. It knows nothing of
// certificates: who somebody is, is found out elsewhere.
package admit

import (
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// The roles, in short for the table.
const (
	tablet        = pb.ClientRole_CLIENT_ROLE_TABLET
	system        = pb.ClientRole_CLIENT_ROLE_SYSTEM
	workshop      = pb.ClientRole_CLIENT_ROLE_WORKSHOP
	officer       = pb.ClientRole_CLIENT_ROLE_OFFICER
	administrator = pb.ClientRole_CLIENT_ROLE_ADMINISTRATOR
)

// Rule says who may call one method.
type Rule struct {
	// Method as on the wire: /bayround.v1.RoundService/OpenRound.
	Method string
	// Anyone may call it, without a certificate.
	Anyone bool
	// Roles that may, in the order of their numbers.
	Roles []pb.ClientRole
}

// Roles are all roles that a client can have, in the order of their numbers.
func Roles() []pb.ClientRole {
	return []pb.ClientRole{tablet, system, workshop, officer, administrator}
}

// Word is a role in a word: tablet, system, workshop, officer, administrator.
func Word(r pb.ClientRole) string {
	if !slices.Contains(Roles(), r) {
		return "nobody"
	}
	return strings.ToLower(strings.TrimPrefix(r.String(), "CLIENT_ROLE_"))
}

// RoleOf is the inverse of Word.
func RoleOf(word string) (pb.ClientRole, bool) {
	for _, r := range Roles() {
		if Word(r) == word {
			return r, true
		}
	}
	return pb.ClientRole_CLIENT_ROLE_UNSPECIFIED, false
}

// May tells whether somebody may call a method: with a role, or as nobody in
// particular, with CLIENT_ROLE_UNSPECIFIED.
func May(role pb.ClientRole, method string) bool {
	i, found := slices.BinarySearchFunc(table, method, func(r Rule, method string) int { return strings.Compare(r.Method, method) })
	return found && (table[i].Anyone || slices.Contains(table[i].Roles, role))
}

// Table is the whole table, by method.
func Table() []Rule {
	return slices.Clone(table)
}
