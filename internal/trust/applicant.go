package trust

import (
	"crypto/ecdsa"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"strings"
	"sync"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// Applicant is a program that asks to be let in. It makes its key itself.
type Applicant struct {
	key     *ecdsa.PrivateKey
	request []byte

	mu        sync.Mutex
	seen      *x509.Certificate // guarded by mu: the station's, on the newest connection
	authority *x509.Certificate // guarded by mu
	trouble   error             // guarded by mu: why the newest connection was not gone on with
}

// NewApplicant makes a key and a certificate request.
func NewApplicant() (*Applicant, error) {
	key, err := newKey()
	if err != nil {
		return nil, err
	}
	request, err := newRequest(key)
	if err != nil {
		return nil, err
	}
	return &Applicant{key: key, request: request}, nil
}

// Request is the certificate request, PKCS #10, DER.
func (a *Applicant) Request() []byte { return a.request }

// ReadPin reads the SHA-256 of a station's authority, in hex, as people type it.
func ReadPin(typed string) (string, error) {
	pin := strings.ToLower(strings.NewReplacer(":", "", " ", "", "sha256", "").Replace(strings.TrimSpace(typed)))
	if b, err := hex.DecodeString(pin); err != nil || len(b) != 32 {
		return "", fault.New(fault.Invalid, "PIN_OF_STATION_MALFORMED", "this is not how a station is known; it is 64 hexadecimal digits, as server enrol shows them")
	}
	return pin, nil
}

// Config is the TLS side of a client that has no certificate yet: it goes on with
// nobody but the station whose authority has this SHA-256.
func (a *Applicant) Config(pin string) *tls.Config {
	return &tls.Config{
		MinVersion:         tls.VersionTLS13,
		InsecureSkipVerify: true, //nolint:gosec // the station is known by its authority; VerifyConnection sees to it
		VerifyConnection: func(state tls.ConnectionState) error {
			err := a.verify(state.PeerCertificates, pin)
			a.mu.Lock()
			defer a.mu.Unlock()
			a.trouble = err
			return err
		},
	}
}

func (a *Applicant) verify(shown []*x509.Certificate, pin string) error {
	for _, authority := range shown[min(1, len(shown)):] {
		if digestOf(authority.RawSubjectPublicKeyInfo) != pin {
			continue
		}
		if err := isStation(shown, authority); err != nil {
			return err
		}
		a.mu.Lock()
		defer a.mu.Unlock()
		a.seen, a.authority = shown[0], authority
		return nil
	}
	return fault.New(fault.Unidentified, "STATION_FOREIGN",
		"what answers there is not the station that server enrol was run at; nothing was told to it. Compare the address, and the digits that server enrol shows").
		Because(errors.New("no certificate of its chain has the SHA-256 that was given"))
}

// Trouble is why the newest connection was not gone on with; nil when it was.
func (a *Applicant) Trouble() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.trouble
}

// Met never happens: an applicant waits for no connection.
func (a *Applicant) Met() <-chan struct{} { return nil }

// Apply is the request with which a tablet enrols, over a connection that was made.
func (a *Applicant) Apply(device, code string) (*pb.EnrolRequest, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.seen == nil {
		return nil, errors.New("no connection to the station was made yet")
	}
	return &pb.EnrolRequest{
		Device: device, CertificateRequest: a.request,
		Mac: macOf(macKey(code), device, a.request, a.seen.RawSubjectPublicKeyInfo),
	}, nil
}

// Keep puts what the station gave in place as an identity.
func (a *Applicant) Keep(folder string, given Given) error {
	c, err := x509.ParseCertificate(given.GetCertificate())
	if err != nil {
		return fault.New(fault.Unavailable, "CERTIFICATE_UNREADABLE", "the station gave a certificate that cannot be read; ask again").Because(err)
	}
	if !a.key.PublicKey.Equal(c.PublicKey) {
		return fault.New(fault.Unavailable, "CERTIFICATE_FOREIGN", "the station gave a certificate for another key; ask again")
	}
	cas, err := authoritiesOf(given)
	if err == nil {
		err = signedByOne(cas, c)
	}
	if err != nil {
		return fault.New(fault.Unavailable, "CERTIFICATE_FOREIGN", "the station gave a certificate that is not its own; ask again").Because(err)
	}
	return writeIdentity(folder, a.key, given.GetCertificate(), cas)
}
