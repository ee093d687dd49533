package trust

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/hex"
	"errors"
	"fmt"
	"math/big"
	"net"
	"net/url"
	"slices"
	"time"

	"bayround/internal/fault"
)

const (
	authorityLasts = 10 * 365 * 24 * time.Hour
	// leafLasts is how long a certificate lasts that renews itself: a tablet's and
	// the station's own.
	leafLasts = 60 * 24 * time.Hour
	// systemLasts is how long one lasts that a person puts in place.
	systemLasts = 365 * 24 * time.Hour
	// backdated lets a certificate begin before now, for clocks that are a little behind.
	backdated = 5 * time.Minute
)

// authority is a certificate authority. It does not change.
type authority struct {
	key  *ecdsa.PrivateKey
	cert *x509.Certificate
}

// newKey makes a key.
func newKey() (*ecdsa.PrivateKey, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("make a key: %w", err)
	}
	return key, nil
}

// newAuthority makes an authority.
func newAuthority(now time.Time) (*authority, error) {
	key, err := newKey()
	if err != nil {
		return nil, err
	}
	digest, err := spkiDigest(&key.PublicKey)
	if err != nil {
		return nil, err
	}
	template, err := template(now, authorityLasts)
	if err != nil {
		return nil, err
	}
	template.Subject = pkix.Name{CommonName: "Bayround station " + digest[:8]}
	template.IsCA, template.BasicConstraintsValid, template.MaxPathLenZero = true, true, true
	template.KeyUsage = x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature
	return (&authority{key: key, cert: template}).signed(template, &key.PublicKey, key)
}

// signed is the authority with its own certificate.
func (a *authority) signed(template *x509.Certificate, public *ecdsa.PublicKey, key *ecdsa.PrivateKey) (*authority, error) {
	der, err := x509.CreateCertificate(rand.Reader, template, template, public, key)
	if err != nil {
		return nil, fmt.Errorf("sign the authority's certificate: %w", err)
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		return nil, fmt.Errorf("read the authority's certificate: %w", err)
	}
	return &authority{key: key, cert: cert}, nil
}

// template is what all certificates share.
func template(now time.Time, lasts time.Duration) (*x509.Certificate, error) {
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
	if err != nil {
		return nil, fmt.Errorf("draw a serial number: %w", err)
	}
	return &x509.Certificate{SerialNumber: serial, NotBefore: now.Add(-backdated), NotAfter: now.Add(lasts)}, nil
}

// client signs a certificate for a client; it is good for nothing else.
func (a *authority) client(who Identity, public any, now time.Time, lasts time.Duration) (*x509.Certificate, error) {
	t, err := template(now, lasts)
	if err != nil {
		return nil, err
	}
	t.ExtKeyUsage = []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth}
	return a.leaf(t, who.String(), public)
}

// station signs a certificate for the station under host names and addresses.
func (a *authority) station(names []string, public any, now time.Time) (*x509.Certificate, error) {
	t, err := template(now, leafLasts)
	if err != nil {
		return nil, err
	}
	t.ExtKeyUsage = []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}
	for _, name := range names {
		if ip := net.ParseIP(name); ip != nil {
			t.IPAddresses = append(t.IPAddresses, ip)
		} else {
			t.DNSNames = append(t.DNSNames, name)
		}
	}
	return a.leaf(t, stationURI, public)
}

func (a *authority) leaf(t *x509.Certificate, uri string, public any) (*x509.Certificate, error) {
	u, err := url.Parse(uri)
	if err != nil {
		return nil, fmt.Errorf("write %q into a certificate: %w", uri, err)
	}
	t.URIs, t.KeyUsage, t.BasicConstraintsValid = []*url.URL{u}, x509.KeyUsageDigitalSignature, true
	der, err := x509.CreateCertificate(rand.Reader, t, a.cert, public, a.key)
	if err != nil {
		return nil, fmt.Errorf("sign the certificate of %s: %w", uri, err)
	}
	return x509.ParseCertificate(der)
}

// signedBy tells whether an authority signed a certificate for a use, whatever the time:
// both may have been made by a clock that was years ahead or behind.
func signedBy(authority, c *x509.Certificate, use x509.ExtKeyUsage) error {
	if err := c.CheckSignatureFrom(authority); err != nil {
		return err
	}
	if !slices.Contains(c.ExtKeyUsage, use) || len(c.UnhandledCriticalExtensions) > 0 {
		return errors.New("the certificate is for something else")
	}
	return nil
}

// spkiDigest is the SHA-256 of a public key's SubjectPublicKeyInfo, in hex.
func spkiDigest(public any) (string, error) {
	spki, err := x509.MarshalPKIXPublicKey(public)
	if err != nil {
		return "", fmt.Errorf("write a public key: %w", err)
	}
	return digestOf(spki), nil
}

// digestOf is the SHA-256 of bytes, in hex.
func digestOf(der []byte) string {
	sum := sha256.Sum256(der)
	return hex.EncodeToString(sum[:])
}

// requestedKey is the public key of a certificate request, once it has proved that
// its sender holds the private one. Nothing else of the request counts.
func requestedKey(der []byte) (*ecdsa.PublicKey, error) {
	csr, err := x509.ParseCertificateRequest(der)
	if err == nil {
		err = csr.CheckSignature()
	}
	if err != nil {
		return nil, unusableRequest("it cannot be read, or is not signed by its own key").Because(err)
	}
	key, ok := csr.PublicKey.(*ecdsa.PublicKey)
	if !ok || key.Curve != elliptic.P256() {
		return nil, unusableRequest("its key is not one of ECDSA on P-256")
	}
	return key, nil
}

func unusableRequest(why string) *fault.Fault {
	return fault.New(fault.Invalid, "CERTIFICATE_REQUEST_UNUSABLE", "this certificate request cannot be used: %s; make a new key and request", why).
		At("certificate_request", "%s", why)
}
