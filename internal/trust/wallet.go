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
	NotAfter  time.Time
	pair      tls.Certificate
	authority *x509.Certificate
	issued    time.Time
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
	ca, err := readCertificate(w.files.CA)
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
		Identity: who, NotAfter: cert.NotAfter, issued: cert.NotBefore.Add(backdated), authority: ca,
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
	return isStation(state.PeerCertificates, held.authority)
}

// isStation tells whether certificates were shown by the station of an authority.
func isStation(shown []*x509.Certificate, authority *x509.Certificate) error {
	err := errors.New("it shows no certificate")
	if len(shown) > 0 {
		err = signedBy(authority, shown[0], x509.ExtKeyUsageServerAuth)
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
		"what answers there is not the station that was enrolled at; nothing is told to it. Tell whoever runs the station").Because(cause)
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

// Due tells that two thirds of a certificate's time are over.
func (w *Wallet) Due() bool {
	held, err := w.Read()
	return err == nil && due(held.NotAfter, held.NotAfter.Sub(held.issued), w.now())
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

// Renewed puts a renewed certificate in place. The key stays, so one file is replaced
// and a kill leaves the old or the new one.
func (w *Wallet) Renewed(cert []byte) error {
	held, err := w.Read()
	if err != nil {
		return err
	}
	c, err := x509.ParseCertificate(cert)
	if err == nil {
		err = signedBy(held.authority, c, x509.ExtKeyUsageClientAuth)
	}
	if err == nil && (uriOf(c) != held.String() || !held.pair.Leaf.PublicKey.(*ecdsa.PublicKey).Equal(c.PublicKey)) { //nolint:forcetypeassert // Read saw to it
		err = errors.New("it is another's")
	}
	if err != nil {
		return fmt.Errorf("the certificate that the station gave cannot be used: %w", err)
	}
	if err := durable.Replace(w.files.Cert, encodeCertificate(cert)); err != nil {
		return fmt.Errorf("put the renewed certificate in place: %w", err)
	}
	return nil
}

// writeIdentity puts an identity in place. The key comes first and the certificate
// last: without it there is no identity.
func writeIdentity(folder string, key *ecdsa.PrivateKey, cert, ca []byte) error {
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
	}{{files.Key, encoded}, {files.CA, encodeCertificate(ca)}, {files.Cert, encodeCertificate(cert)}} {
		if err := durable.Replace(f.name, f.content); err != nil {
			return fmt.Errorf("put an identity in place: %w", err)
		}
	}
	return nil
}
