package trust

import (
	"crypto/ecdsa"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"bayround/internal/durable"
	"bayround/internal/fault"
)

// The files of an identity.
const (
	caFile   = "ca.pem"
	certFile = "cert.pem"
	keyFile  = "key.pem"
)

// Files are where an identity lies.
type Files struct{ CA, Cert, Key string }

// FilesIn are the files of an identity in a folder of its own.
func FilesIn(folder string) Files {
	return Files{CA: filepath.Join(folder, caFile), Cert: filepath.Join(folder, certFile), Key: filepath.Join(folder, keyFile)}
}

// Wallet is the identity of a program that calls a station. It is read anew for every
// connection, so that one that was enrolled or renewed meanwhile counts at once. Its
// methods may be called from any goroutine.
type Wallet struct {
	files Files
	now   func() time.Time

	mu      sync.Mutex
	trouble error         // guarded by mu: why the newest connection could not be made; nil when it could
	met     chan struct{} // guarded by mu: closed, and replaced, when there is trouble
	shown   []string      // guarded by mu: the authorities that the station showed on the newest connection
}

// OpenWallet opens an identity; it need not be there yet. now is the program's clock.
func OpenWallet(files Files, now func() time.Time) *Wallet {
	return &Wallet{files: files, now: now, met: make(chan struct{})}
}

// Files are where the identity lies.
func (w *Wallet) Files() Files { return w.files }

// Held is an identity that was read.
type Held struct {
	Identity
	NotAfter time.Time
	pair     tls.Certificate
	// authorities are those by which the station is known: two while one takes the other's place.
	authorities []*x509.Certificate
	issued      time.Time
}

// Read reads the identity. A fault of kind Unidentified with reason NOT_ENROLLED says
// that there is none.
func (w *Wallet) Read() (*Held, error) {
	key, err := readKey(w.files.Key)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, notEnrolled(err)
	}
	if err != nil {
		return nil, spoilt(err)
	}
	cert, err := readCertificate(w.files.Cert)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, notEnrolled(err)
	}
	if err != nil {
		return nil, spoilt(err)
	}
	cas, err := readCertificates(w.files.CA)
	if err != nil {
		return nil, spoilt(err)
	}
	who, err := parseIdentity(uriOf(cert))
	if err == nil && !key.PublicKey.Equal(cert.PublicKey) {
		err = fmt.Errorf("%s is not the key of %s", w.files.Key, w.files.Cert)
	}
	if err != nil {
		return nil, spoilt(err)
	}
	return &Held{
		Identity: who, NotAfter: cert.NotAfter, issued: cert.NotBefore.Add(backdated), authorities: cas,
		pair: tls.Certificate{Certificate: [][]byte{cert.Raw}, PrivateKey: key, Leaf: cert},
	}, nil
}

func notEnrolled(cause error) error {
	return fault.New(fault.Unidentified, "NOT_ENROLLED", "nothing here is known to a station yet; enrol first: server enrol at the station says how").Because(cause)
}

func spoilt(cause error) error {
	return fault.New(fault.Unidentified, "IDENTITY_SPOILT", "the certificate or its key cannot be used; enrol again").Because(cause)
}

// Config is the TLS side of a client: it shows the certificate, and goes on with
// nobody but the station that gave it.
func (w *Wallet) Config() *tls.Config {
	return &tls.Config{
		MinVersion: tls.VersionTLS13,
		// Stations are known by their authority, under whatever address; VerifyConnection sees to it.
		InsecureSkipVerify: true, //nolint:gosec // see above
		VerifyConnection:   func(state tls.ConnectionState) error { return w.note(w.verify(state)) },
		GetClientCertificate: func(*tls.CertificateRequestInfo) (*tls.Certificate, error) {
			held, err := w.Read()
			if err != nil {
				return nil, w.note(err)
			}
			return &held.pair, nil
		},
	}
}

// verify goes on with the station of the identity alone.
func (w *Wallet) verify(state tls.ConnectionState) error {
	held, err := w.Read()
	if err != nil {
		return err
	}
	if err := isStation(state.PeerCertificates, held.authorities...); err != nil {
		return err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.shown = digestsOf(state.PeerCertificates[1:])
	return nil
}

// digestsOf are the SHA-256 of the public keys of authorities, in order.
func digestsOf(authorities []*x509.Certificate) []string {
	var all []string
	for _, c := range authorities {
		all = append(all, digestOf(c.RawSubjectPublicKeyInfo))
	}
	slices.Sort(all)
	return all
}

// isStation tells whether certificates were shown by the station of one of the authorities.
func isStation(shown []*x509.Certificate, authorities ...*x509.Certificate) error {
	err := errors.New("it shows no certificate")
	for _, authority := range authorities {
		if len(shown) == 0 {
			break
		}
		if err = signedBy(authority, shown[0], x509.ExtKeyUsageServerAuth); err == nil {
			break
		}
	}
	if err == nil && uriOf(shown[0]) != stationURI {
		err = errors.New("its certificate is not one of a station")
	}
	if err != nil {
		return foreignStation(err)
	}
	return nil
}

func foreignStation(cause error) error {
	return fault.New(fault.Unidentified, "STATION_FOREIGN",
		"what answers there is not the station that was enrolled at, or it has another authority since; nothing is told to it. Ask whoever runs the station: if it has, enrol again. What waits to be sent is kept").Because(cause)
}

// note keeps why a connection could not be made.
func (w *Wallet) note(err error) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.trouble = err
	if err != nil {
		close(w.met)
		w.met = make(chan struct{})
	}
	return err
}

// Trouble is why the newest connection could not be made for want of trust, on
// either side; nil when it could.
func (w *Wallet) Trouble() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.trouble
}

// Met is closed when the next connection cannot be made for want of trust.
func (w *Wallet) Met() <-chan struct{} {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.met
}

// Due tells that a certificate is to be renewed: two thirds of its time are over, or the
// station showed other authorities than those it is known by here.
func (w *Wallet) Due() bool {
	held, err := w.Read()
	if err != nil {
		return false
	}
	w.mu.Lock()
	shown := w.shown
	w.mu.Unlock()
	if len(shown) > 0 && !slices.Equal(shown, digestsOf(held.authorities)) {
		return true
	}
	return due(held.NotAfter, held.NotAfter.Sub(held.issued), w.now())
}

// Serial is the serial number of the certificate.
func (h *Held) Serial() string { return h.pair.Leaf.SerialNumber.String() }

// Request is a certificate request of the identity's key.
func (h *Held) Request() ([]byte, error) {
	key, ok := h.pair.PrivateKey.(*ecdsa.PrivateKey)
	if !ok {
		return nil, spoilt(errors.New("its key is not one of ECDSA"))
	}
	return newRequest(key)
}

func newRequest(key *ecdsa.PrivateKey) ([]byte, error) {
	request, err := x509.CreateCertificateRequest(rand.Reader, &x509.CertificateRequest{}, key)
	if err != nil {
		return nil, fmt.Errorf("make a certificate request: %w", err)
	}
	return request, nil
}

// Renewed puts a renewed certificate in place. The key stays. The authorities come before
// the certificate: a kill between the two leaves an identity that knows the station by
// both authorities, and one of them has signed either certificate.
func (w *Wallet) Renewed(given Given) error {
	held, err := w.Read()
	if err != nil {
		return err
	}
	cas, err := authoritiesOf(given)
	if err != nil {
		return fmt.Errorf("the authorities that the station gave cannot be used: %w", err)
	}
	c, err := x509.ParseCertificate(given.GetCertificate())
	if err == nil {
		err = signedByOne(cas, c)
	}
	if err == nil && (uriOf(c) != held.String() || !held.pair.Leaf.PublicKey.(*ecdsa.PublicKey).Equal(c.PublicKey)) { //nolint:forcetypeassert // Read saw to it
		err = errors.New("it is another's")
	}
	if err != nil {
		return fmt.Errorf("the certificate that the station gave cannot be used: %w", err)
	}
	if !slices.Equal(digestsOf(cas), digestsOf(held.authorities)) {
		if err := durable.Replace(w.files.CA, encodeCertificates(cas)); err != nil {
			return fmt.Errorf("put the station's authorities in place: %w", err)
		}
	}
	if err := durable.Replace(w.files.Cert, encodeCertificate(given.GetCertificate())); err != nil {
		return fmt.Errorf("put the renewed certificate in place: %w", err)
	}
	return nil
}

// Given is what a station gives whoever it lets in, or renews.
type Given interface {
	// GetCertificate is the certificate, DER.
	GetCertificate() []byte
	// GetAuthority is the authority that signed it, DER.
	GetAuthority() []byte
	// GetAuthorities are all by which the station is known now, DER; none from older stations.
	GetAuthorities() [][]byte
}

// authoritiesOf reads all authorities that a station gave.
func authoritiesOf(given Given) (all []*x509.Certificate, err error) {
	ders := given.GetAuthorities()
	if len(ders) == 0 {
		ders = [][]byte{given.GetAuthority()}
	}
	for _, der := range ders {
		c, err := x509.ParseCertificate(der)
		if err != nil {
			return nil, err
		}
		all = append(all, c)
	}
	return all, nil
}

// signedByOne tells whether one of the authorities signed a client's certificate.
func signedByOne(authorities []*x509.Certificate, c *x509.Certificate) error {
	err := errors.New("there is no authority")
	for _, ca := range authorities {
		if err = signedBy(ca, c, x509.ExtKeyUsageClientAuth); err == nil {
			return nil
		}
	}
	return err
}

// writeIdentity puts an identity in place. The key comes first and the certificate
// last: without it there is no identity.
func writeIdentity(folder string, key *ecdsa.PrivateKey, cert []byte, cas []*x509.Certificate) error {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return fmt.Errorf("make the folder of an identity: %w", err)
	}
	files := FilesIn(folder)
	if err := durable.Remove(files.Cert); err != nil {
		return fmt.Errorf("remove the former certificate: %w", err)
	}
	encoded, err := encodeKey(key)
	if err != nil {
		return err
	}
	for _, f := range []struct {
		name    string
		content []byte
	}{{files.Key, encoded}, {files.CA, encodeCertificates(cas)}, {files.Cert, encodeCertificate(cert)}} {
		if err := durable.Replace(f.name, f.content); err != nil {
			return fmt.Errorf("put an identity in place: %w", err)
		}
	}
	return nil
}
