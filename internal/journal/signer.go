package journal

import (
	"crypto/rand"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/mod/sumdb/note"

	"bayround/internal/durable"
	"bayround/internal/fault"
	"bayround/internal/merkle"
)

// maxOriginBytes keeps the head small.
const maxOriginBytes = 256

// makeSigner makes a signing key for origin, writes it to dir, and returns
// the verifier key.
func makeSigner(dir, origin string) (verifierKey string, err error) {
	secret, verifierKey, err := note.GenerateKey(rand.Reader, origin)
	if err != nil {
		return "", err
	}
	if err := tryOrigin(origin, secret, verifierKey); err != nil {
		return "", fault.New(fault.Invalid, "ORIGIN_INVALID",
			"the origin %.60q cannot stand in a checkpoint; it needs 1 to %d printable characters, no space and no plus sign",
			origin, maxOriginBytes).Because(err)
	}
	return verifierKey, durable.Replace(filepath.Join(dir, signerFile), []byte(secret+"\n"))
}

// tryOrigin signs a checkpoint of origin and reads it back: the note package
// signs more than it will read.
func tryOrigin(origin, secret, verifierKey string) error {
	if len(origin) > maxOriginBytes {
		return errors.New("too long")
	}
	signer, err := note.NewSigner(secret)
	if err != nil {
		return err
	}
	verifier, err := note.NewVerifier(verifierKey)
	if err != nil {
		return err
	}
	signed, err := merkle.Checkpoint{Origin: origin, Size: 1}.Sign(signer)
	if err != nil {
		return err
	}
	_, err = openCheckpoint(signed, verifier)
	return err
}

// readSigner reads the signing key of dir and makes sure that it is the one
// whose signatures verifier accepts.
func readSigner(dir string, verifier note.Verifier) (note.Signer, error) {
	path := filepath.Join(dir, signerFile)
	secret, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fault.New(fault.Precondition, "KEY_MISSING",
			"the signing key %q is missing; put it back from the backup, nothing else can continue this journal", path)
	}
	if err != nil {
		return nil, unusable(dir, err)
	}
	return fitSigner(secret, path, verifier)
}

// fitSigner reads a signing key and makes sure that it is the one whose signatures
// verifier accepts; path says where it lies.
func fitSigner(secret []byte, path string, verifier note.Verifier) (note.Signer, error) {
	signer, err := note.NewSigner(strings.TrimSuffix(string(secret), "\n"))
	if err != nil {
		return nil, fault.New(fault.Precondition, "KEY_UNREADABLE",
			"the signing key %q cannot be read; put it back from the backup", path).Because(err)
	}
	probe := []byte("does this key fit this journal?\n")
	signature, err := signer.Sign(probe)
	if err != nil {
		return nil, err
	}
	if signer.Name() != verifier.Name() || !verifier.Verify(probe, signature) {
		return nil, fault.New(fault.Precondition, "KEY_MISMATCH",
			"the signing key %q is of %s+%08x, this journal is signed by %s+%08x; put the right key back from the backup",
			path, signer.Name(), signer.KeyHash(), verifier.Name(), verifier.KeyHash())
	}
	return signer, nil
}
