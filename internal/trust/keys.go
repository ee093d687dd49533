package trust

import (
	"crypto/x509"
	"errors"
	"fmt"
	"path/filepath"
	"slices"

	"bayround/internal/durable"
)

// keys are the authorities of a station. They never change, they are replaced.
type keys struct {
	// shows signs the certificate that the station shows: by it programs know the station.
	shows *authority
	// next takes its place and signs what is given to programs meanwhile; nil while there
	// is one authority alone.
	next *authority
}

// signs is the authority that signs what is given to programs.
func (k *keys) signs() *authority {
	if k.next != nil {
		return k.next
	}
	return k.shows
}

// all are those that count, the one that signs first.
func (k *keys) all() []*authority {
	if k.next == nil {
		return []*authority{k.shows}
	}
	return []*authority{k.next, k.shows}
}

// certificates are theirs, in the same order.
func (k *keys) certificates() (all []*x509.Certificate) {
	for _, a := range k.all() {
		all = append(all, a.cert)
	}
	return all
}

// raw are the certificates, DER.
func (k *keys) raw() (all [][]byte) {
	for _, c := range k.certificates() {
		all = append(all, slices.Clone(c.Raw))
	}
	return all
}

// trusts tells whether the authority with a SHA-256 counts.
func (k *keys) trusts(digest string) bool {
	return slices.ContainsFunc(k.all(), func(a *authority) bool { return a.digest() == digest })
}

// signerOf is the SHA-256 of the authority that signed a client's certificate.
func (k *keys) signerOf(c *x509.Certificate) (digest string, err error) {
	for _, a := range k.all() {
		if err = signedBy(a.cert, c, x509.ExtKeyUsageClientAuth); err == nil {
			return a.digest(), nil
		}
	}
	return "", err
}

// digest is by what programs know an authority: the SHA-256 of its public key, in hex.
func (a *authority) digest() string { return digestOf(a.cert.RawSubjectPublicKeyInfo) }

// pair names the files of an authority.
type pair struct{ key, cert string }

var (
	authorityFiles = pair{authorityKeyFile, authorityCertFile}
	// nextFiles hold the authority that takes the other's place.
	nextFiles = pair{"next.key.pem", "next.pem"}
)

// write puts an authority in place. Its certificate comes last.
func (a *authority) write(folder string, to pair) error {
	key, err := encodeKey(a.key)
	if err != nil {
		return err
	}
	if err := durable.Replace(filepath.Join(folder, to.key), key); err != nil {
		return fmt.Errorf("put an authority's key in place: %w", err)
	}
	if err := durable.Replace(filepath.Join(folder, to.cert), encodeCertificate(a.cert.Raw)); err != nil {
		return fmt.Errorf("put an authority's certificate in place: %w", err)
	}
	return nil
}

// readPair reads an authority.
func readPair(folder string, from pair) (*authority, error) {
	key, err := readKey(filepath.Join(folder, from.key))
	if err != nil {
		return nil, err
	}
	cert, err := readCertificate(filepath.Join(folder, from.cert))
	if err != nil {
		return nil, err
	}
	if !key.PublicKey.Equal(cert.PublicKey) {
		return nil, errors.New("key and certificate do not belong together")
	}
	return &authority{key: key, cert: cert}, nil
}

// removeNext takes away the files of an authority that takes no place.
func removeNext(folder string) error {
	for _, name := range []string{nextFiles.key, nextFiles.cert} {
		if err := durable.Remove(filepath.Join(folder, name)); err != nil {
			return fmt.Errorf("remove what is left of a rotation: %w", err)
		}
	}
	return nil
}

// readKeys reads the authorities that a register speaks of, and finishes what a kill has
// left of a rotation: the register says which authority counts, the files follow.
func readKeys(folder string, r *register) (*keys, error) {
	shows, err := readPair(folder, authorityFiles)
	if r.Authority != "" && (err != nil || shows.digest() != r.Authority) { // retired, and not yet in its place
		if shows, err = readPair(folder, nextFiles); err == nil && shows.digest() != r.Authority {
			err = errors.New("the authority that the register names is not there")
		}
		if err == nil {
			err = shows.write(folder, authorityFiles)
		}
	}
	if err != nil {
		return nil, lostAuthority(folder, err)
	}
	if r.Rotation == nil {
		return &keys{shows: shows}, removeNext(folder)
	}
	next, err := readPair(folder, nextFiles)
	if err == nil && next.digest() != r.Rotation.Next {
		err = errors.New("the next authority is not the one that the register names")
	}
	if err != nil {
		return nil, lostAuthority(folder, err)
	}
	return &keys{shows: shows, next: next}, nil
}
