package journal

import (
	"errors"

	"golang.org/x/mod/sumdb/note"

	"bayround/internal/merkle"
)

// openCheckpoint checks the signature of a signed checkpoint and returns what
// was signed.
func openCheckpoint(signed []byte, verifier note.Verifier) (merkle.Checkpoint, error) {
	c, err := merkle.OpenCheckpoint(signed, verifier)
	switch {
	case errors.Is(err, merkle.ErrForged):
		return merkle.Checkpoint{}, lost("HEAD_FORGED",
			"the head of the journal is not signed by %s; it, or the key, was changed", verifier.Name()).Because(err)
	case err != nil:
		return merkle.Checkpoint{}, lost("HEAD_UNREADABLE", "the head of the journal is not a signed checkpoint").Because(err)
	}
	return c, nil
}
