package trust

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"bayround/internal/fault"
)

const (
	authorityKeyFile  = "authority.key.pem"
	authorityCertFile = "authority.pem"
	// administratorFolder holds the identity of whoever runs the station on its machine.
	administratorFolder = "administrator"
)

const (
	pemCertificate = "CERTIFICATE"
	pemKey         = "PRIVATE KEY"
)

// openFolder reads what a station's folder holds, and makes it where the station has
// never been started to the end.
func openFolder(folder string, now time.Time) (*keys, *register, error) {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, nil, fmt.Errorf("make the folder of the station's keys: %w", err)
	}
	_, err := os.Stat(filepath.Join(folder, authorityCertFile))
	if errors.Is(err, fs.ErrNotExist) {
		return makeFolder(folder, now)
	}
	if err != nil {
		return nil, nil, fmt.Errorf("look for the station's authority: %w", err)
	}
	r, err := readRegister(folder, false)
	if err != nil {
		return nil, nil, err
	}
	k, err := readKeys(folder, r)
	return k, r, err
}

// Inspect refuses a folder that a newer program wrote, and one whose register cannot
// be read, before anything is changed. That there is none yet is no error.
func Inspect(folder string) error {
	name := filepath.Join(folder, registerFile)
	b, err := os.ReadFile(name) //nolint:gosec // our own folder
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return unreadableRegister(name, err)
	}
	_, err = parseRegister(name, b)
	return err
}

// makeFolder makes an authority. Its certificate comes last: a folder without one was
// never used.
func makeFolder(folder string, now time.Time) (*keys, *register, error) {
	r, err := readRegister(folder, true)
	if err != nil {
		return nil, nil, err
	}
	if len(r.Clients) > 0 {
		return nil, nil, lostAuthority(folder, fs.ErrNotExist)
	}
	a, err := newAuthority(now)
	if err != nil {
		return nil, nil, err
	}
	if err := r.write(folder); err != nil {
		return nil, nil, err
	}
	if err := a.write(folder, authorityFiles); err != nil {
		return nil, nil, err
	}
	return &keys{shows: a}, r, nil
}

func lostAuthority(folder string, cause error) error {
	return fault.New(fault.Lost, "AUTHORITY_LOST",
		"the station's authority in %s is not whole; bring its files back from a copy, or move the folder away: everybody must then be enrolled anew", folder).Because(cause)
}

func encodeCertificate(der []byte) []byte {
	return pem.EncodeToMemory(&pem.Block{Type: pemCertificate, Bytes: der})
}

// encodeCertificates is a file of several certificates.
func encodeCertificates(all []*x509.Certificate) []byte {
	var b []byte
	for _, c := range all {
		b = append(b, encodeCertificate(c.Raw)...)
	}
	return b
}

// readCertificates reads a file of certificates, of which there is at least one.
func readCertificates(name string) (all []*x509.Certificate, err error) {
	b, err := os.ReadFile(name) //nolint:gosec // our own folder, or one that a person named
	if err != nil {
		return nil, err
	}
	return parseCertificates(name, b)
}

func parseCertificates(name string, b []byte) (all []*x509.Certificate, err error) {
	for {
		block, rest := pem.Decode(b)
		if block == nil && len(all) > 0 && len(bytes.TrimSpace(b)) == 0 {
			return all, nil
		}
		if block == nil || block.Type != pemCertificate {
			return nil, fmt.Errorf("%s holds something else than PEM blocks %q", name, pemCertificate)
		}
		c, err := x509.ParseCertificate(block.Bytes)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		all, b = append(all, c), rest
	}
}

func encodeKey(key *ecdsa.PrivateKey) ([]byte, error) {
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, fmt.Errorf("write a key: %w", err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: pemKey, Bytes: der}), nil
}

// readBlock reads the one PEM block of a file.
func readBlock(name, kind string) ([]byte, error) {
	b, err := os.ReadFile(name) //nolint:gosec // our own folder, or one that a person named
	if err != nil {
		return nil, err
	}
	return parseBlock(name, b, kind)
}

func parseBlock(name string, b []byte, kind string) ([]byte, error) {
	block, _ := pem.Decode(b)
	if block == nil || block.Type != kind {
		return nil, fmt.Errorf("%s holds no PEM block %q", name, kind)
	}
	return block.Bytes, nil
}

func readCertificate(name string) (*x509.Certificate, error) {
	der, err := readBlock(name, pemCertificate)
	if err != nil {
		return nil, err
	}
	c, err := x509.ParseCertificate(der)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return c, nil
}

func readKey(name string) (*ecdsa.PrivateKey, error) {
	der, err := readBlock(name, pemKey)
	if err != nil {
		return nil, err
	}
	key, err := x509.ParsePKCS8PrivateKey(der)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	ec, ok := key.(*ecdsa.PrivateKey)
	if !ok {
		return nil, fmt.Errorf("%s holds no key of ECDSA", name)
	}
	return ec, nil
}
