package trust

import (
	"crypto/x509"
	"errors"
	"fmt"
	"regexp"

	"bayround/internal/admit"
	pb "bayround/proto/bayround/v1"
)

// Identity is who a certificate is about.
type Identity struct {
	Role pb.ClientRole
	// Name, of a tablet its device name.
	Name string
	// Enrolment is the id of the admission that the certificate belongs to.
	Enrolment string
}

// stationURI is what a station's own certificate is about.
const stationURI = "bayround://station"

// longestName bounds names, as the contract does.
const longestName = 64

var (
	identityPattern = regexp.MustCompile(`^bayround://([a-z]{1,20})/([a-z0-9]+(?:-[a-z0-9]+)*)/([0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})$`)
	namePattern     = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)
)

var errIdentity = errors.New("it names nobody: its one URI must read bayround://{role}/{name}/{enrolment}")

// String is the identity as it stands in a certificate.
func (i Identity) String() string {
	return "bayround://" + admit.Word(i.Role) + "/" + i.Name + "/" + i.Enrolment
}

// parseIdentity is the inverse of String, and accepts nothing else.
func parseIdentity(text string) (Identity, error) {
	parts := identityPattern.FindStringSubmatch(text)
	if parts == nil || len(parts[2]) > longestName {
		return Identity{}, errIdentity
	}
	role, known := admit.RoleOf(parts[1])
	if !known {
		return Identity{}, fmt.Errorf("%w; %q is no role", errIdentity, parts[1])
	}
	return Identity{Role: role, Name: parts[2], Enrolment: parts[3]}, nil
}

// uriOf is the one URI of a certificate; empty when there is not exactly one.
func uriOf(c *x509.Certificate) string {
	if len(c.URIs) != 1 {
		return ""
	}
	return c.URIs[0].String()
}
