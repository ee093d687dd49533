package trust

import (
	"crypto/ecdsa"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"bayround/internal/durable"
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
func openFolder(folder string, now time.Time) (*authority, *register, error) {
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
	a, err := readAuthority(folder)
	if err != nil {
		return nil, nil, err
	}
	r, err := readRegister(folder, false)
	return a, r, err
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
func makeFolder(folder string, now time.Time) (*authority, *register, error) {
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
	key, err := encodeKey(a.key)
	if err != nil {
		return nil, nil, err
	}
	if err := r.write(folder); err != nil {
		return nil, nil, err
	}
	if err := durable.Replace(filepath.Join(folder, authorityKeyFile), key); err != nil {
		return nil, nil, fmt.Errorf("put the authority's key in place: %w", err)
	}
	if err := durable.Replace(filepath.Join(folder, authorityCertFile), encodeCertificate(a.cert.Raw)); err != nil {
		return nil, nil, fmt.Errorf("put the authority's certificate in place: %w", err)
	}
	return a, r, nil
}

func readAuthority(folder string) (*authority, error) {
	key, err := readKey(filepath.Join(folder, authorityKeyFile))
	if err != nil {
		return nil, lostAuthority(folder, err)
	}
	cert, err := readCertificate(filepath.Join(folder, authorityCertFile))
	if err != nil {
		return nil, lostAuthority(folder, err)
	}
	if !key.PublicKey.Equal(cert.PublicKey) {
		return nil, lostAuthority(folder, errors.New("key and certificate do not belong together"))
	}
	return &authority{key: key, cert: cert}, nil
}

func lostAuthority(folder string, cause error) error {
	return fault.New(fault.Lost, "AUTHORITY_LOST",
		"the station's authority in %s is not whole; bring its files back from a copy, or move the folder away: everybody must then be enrolled anew", folder).Because(cause)
}

func encodeCertificate(der []byte) []byte {
	return pem.EncodeToMemory(&pem.Block{Type: pemCertificate, Bytes: der})
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
