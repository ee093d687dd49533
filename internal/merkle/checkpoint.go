package merkle

import (
	"encoding/base64"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

var (
	// ErrUnreadable says that something is no checkpoint as this package writes it.
	ErrUnreadable = errors.New("not a checkpoint of origin, size and root")
	// ErrForged says that a checkpoint is not signed by the key it should be signed by.
	ErrForged = errors.New("not signed by this key")
)

// Checkpoint is the body of a C2SP tlog-checkpoint without extension lines.
type Checkpoint struct {
	Origin string
	Size   uint64 // number of events; at least 1
	Root   tlog.Hash
}

// Text is what is signed.
func (c Checkpoint) Text() string {
	return fmt.Sprintf("%s\n%d\n%s\n", c.Origin, c.Size, c.Root)
}

// Sign returns the checkpoint as a signed note.
func (c Checkpoint) Sign(signer note.Signer) ([]byte, error) {
	return note.Sign(&note.Note{Text: c.Text()}, signer)
}

// parseCheckpoint accepts exactly what Text writes.
func parseCheckpoint(text string) (Checkpoint, error) {
	lines := strings.Split(text, "\n")
	if len(lines) != 4 || lines[0] == "" || lines[3] != "" {
		return Checkpoint{}, ErrUnreadable
	}
	size, err := strconv.ParseUint(lines[1], 10, 64)
	if err != nil || size == 0 || size > math.MaxInt64 {
		return Checkpoint{}, fmt.Errorf("size %q: %w", lines[1], ErrUnreadable)
	}
	root, err := tlog.ParseHash(lines[2])
	if err != nil {
		return Checkpoint{}, fmt.Errorf("root %q: %w", lines[2], ErrUnreadable)
	}
	c := Checkpoint{Origin: lines[0], Size: size, Root: root}
	if c.Text() != text { // a leading zero, or base64 with loose bits
		return Checkpoint{}, ErrUnreadable
	}
	return c, nil
}

// OpenCheckpoint checks the signature of a signed checkpoint and returns what was
// signed. The error is ErrForged or ErrUnreadable.
func OpenCheckpoint(signed []byte, verifier note.Verifier) (Checkpoint, error) {
	n, err := note.Open(signed, note.VerifierList(verifier))
	var invalid *note.InvalidSignatureError
	var unverified *note.UnverifiedNoteError
	if errors.As(err, &invalid) || errors.As(err, &unverified) {
		return Checkpoint{}, fmt.Errorf("%w: %w", ErrForged, err)
	}
	if err != nil {
		return Checkpoint{}, fmt.Errorf("%w: %w", ErrUnreadable, err)
	}
	c, err := parseCheckpoint(n.Text)
	if err != nil {
		return Checkpoint{}, err
	}
	// note.Open lets loose bits at the end of base64 pass.
	if _, err := base64.StdEncoding.Strict().DecodeString(n.Sigs[0].Base64); err != nil {
		return Checkpoint{}, fmt.Errorf("%w: %w", ErrUnreadable, err)
	}
	if c.Origin != verifier.Name() {
		return Checkpoint{}, fmt.Errorf("it is of %q, the key of %q: %w", c.Origin, verifier.Name(), ErrForged)
	}
	return c, nil
}
