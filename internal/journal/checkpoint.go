package journal

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

// errCheckpoint says that a text is not a checkpoint as this package writes it.
var errCheckpoint = errors.New("not a checkpoint of origin, size and root")

// checkpoint is the body of a C2SP tlog-checkpoint without extension lines.
type checkpoint struct {
	origin string
	size   uint64 // number of events; at least 1
	root   tlog.Hash
}

func (c checkpoint) text() string {
	return fmt.Sprintf("%s\n%d\n%s\n", c.origin, c.size, c.root)
}

// sign returns the checkpoint as a signed note.
func (c checkpoint) sign(signer note.Signer) ([]byte, error) {
	return note.Sign(&note.Note{Text: c.text()}, signer)
}

// parseCheckpoint accepts exactly what text writes.
func parseCheckpoint(text string) (checkpoint, error) {
	lines := strings.Split(text, "\n")
	if len(lines) != 4 || lines[0] == "" || lines[3] != "" {
		return checkpoint{}, errCheckpoint
	}
	size, err := strconv.ParseUint(lines[1], 10, 64)
	if err != nil || size == 0 || size > math.MaxInt64 {
		return checkpoint{}, fmt.Errorf("size %q: %w", lines[1], errCheckpoint)
	}
	root, err := tlog.ParseHash(lines[2])
	if err != nil {
		return checkpoint{}, fmt.Errorf("root %q: %w", lines[2], errCheckpoint)
	}
	c := checkpoint{origin: lines[0], size: size, root: root}
	if c.text() != text { // a leading zero, or base64 with loose bits
		return checkpoint{}, errCheckpoint
	}
	return c, nil
}

// openCheckpoint checks the signature of a signed checkpoint and returns what
// was signed.
func openCheckpoint(signed []byte, verifier note.Verifier) (checkpoint, error) {
	n, err := note.Open(signed, note.VerifierList(verifier))
	var invalid *note.InvalidSignatureError
	var unverified *note.UnverifiedNoteError
	if errors.As(err, &invalid) || errors.As(err, &unverified) {
		return checkpoint{}, lost("HEAD_FORGED",
			"the head of the journal is not signed by %s; it, or the key, was changed", verifier.Name()).Because(err)
	}
	if err != nil {
		return checkpoint{}, lost("HEAD_UNREADABLE", "the head of the journal is not a signed checkpoint").Because(err)
	}
	c, err := parseCheckpoint(n.Text)
	if err == nil {
		// note.Open lets loose bits at the end of base64 pass.
		_, err = base64.StdEncoding.Strict().DecodeString(n.Sigs[0].Base64)
	}
	if err != nil {
		return checkpoint{}, lost("HEAD_UNREADABLE", "the head of the journal cannot be read").Because(err)
	}
	if c.origin != verifier.Name() {
		return checkpoint{}, lost("HEAD_FORGED",
			"the head of the journal is of %q, this journal is of %q", c.origin, verifier.Name())
	}
	return c, nil
}
