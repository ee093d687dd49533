package journal

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/durable"
	"bayround/internal/fault"
	"bayround/internal/merkle"
)

// claim is a checkpoint that a file beside the store holds.
type claim struct {
	file   string
	signed []byte // as it was signed; nil when there is no such file
	merkle.Checkpoint
	torn error // why what is there says nothing
}

// readClaim reads one of the files beside the store. What cannot be read, and
// what others have signed, says nothing.
func (s *store) readClaim(file string, log *slog.Logger) claim {
	c := claim{file: file}
	signed, err := os.ReadFile(filepath.Join(s.dir, file))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return c
	case err == nil:
		c.Checkpoint, err = openCheckpoint(signed, s.verifier)
	}
	if err != nil {
		log.Warn("a checkpoint beside the record says nothing and is left out", "file", file, "cause", err)
		c.torn = err
		return c
	}
	c.signed = signed
	return c
}

// compare holds what the store says against the checkpoints beside it. When one
// of them counts more than the store holds, the journal is behind. It returns
// the file to write the next head into.
func (j *Journal) compare() (next string, err error) {
	a, b, seen := j.readClaim(headAFile, j.log), j.readClaim(headBFile, j.log), j.readClaim(headSeenFile, j.log)
	if j.headsTorn = a.signed == nil && b.signed == nil && (a.torn != nil || b.torn != nil); j.headsTorn {
		j.log.Error("no checkpoint beside the record can be read; that the record has lost nothing since the last stop is not proved")
	}
	for _, c := range []claim{a, b, seen} {
		if err := j.hold(c); err != nil {
			return "", err
		}
	}
	newest := b // where there is neither, the first head goes into head-a
	if a.Size > b.Size {
		newest = a
	}
	next = otherHead(newest.file)
	if j.known != nil {
		return next, nil
	}
	if seen.signed != nil { // the store holds what it counts again
		if err := durable.Remove(filepath.Join(j.dir, headSeenFile)); err != nil {
			return "", fmt.Errorf("remove the file %s: %w", headSeenFile, err)
		}
	}
	if newest.Size == j.size {
		return next, nil
	}
	// The last stop came between a commit and its head, or there were no such
	// files yet.
	if err := putHead(filepath.Join(j.dir, next), j.head); err != nil {
		return "", fmt.Errorf("write the file %s: %w", next, err)
	}
	return otherHead(next), nil
}

// hold holds one checkpoint against the store.
func (j *Journal) hold(c claim) error {
	switch {
	case c.signed == nil:
		return nil
	case c.Size > j.size:
		j.claims = append(j.claims, c.signed)
		if c.Size > j.knownSize {
			j.known, j.knownSize = c.signed, c.Size
		}
		return nil
	}
	return j.view(func(txn *badger.Txn) error { return c.check(txn) })
}

// check makes sure that the events lead to the checkpoint, which counts no more
// of them than there are.
func (c claim) check(txn *badger.Txn) error {
	root, err := tlog.TreeHash(int64(c.Size), storedHashes(txn))
	if err != nil {
		return err
	}
	if root != c.Root {
		return lost("ROOT_DIFFERS", "the first %d events have root %s, the signed checkpoint in the file %s says %s; some event and its hashes were changed together, or the store is another one",
			c.Size, root, c.file, c.Root)
	}
	return nil
}

// checkClaims holds a journal of size events that nobody has open against the
// checkpoints beside it.
func (s *store) checkClaims(txn *badger.Txn, size uint64, log *slog.Logger) error {
	for _, file := range []string{headAFile, headBFile, headSeenFile} {
		c := s.readClaim(file, log)
		switch {
		case c.signed == nil:
		case c.Size > size:
			return lost("RECORD_BEHIND", "the record holds %d events, and the signed checkpoint in the file %s counts %d: its newest events are lost",
				size, file, c.Size)
		default:
			if err := c.check(txn); err != nil {
				return err
			}
		}
	}
	return nil
}

// rootAt returns the root of the first size events, at least one, from the
// stored hashes.
func (j *Journal) rootAt(size uint64) (root tlog.Hash, err error) {
	err = j.view(func(txn *badger.Txn) error {
		root, err = tlog.TreeHash(int64(size), storedHashes(txn))
		return err
	})
	return root, err
}

// Behind returns the highest checkpoint that is known, signed by this journal,
// when the store holds less than it counts. Append then refuses everything with
// fault.Precondition, reason RECORD_BEHIND; reading goes on.
func (j *Journal) Behind() (known []byte, behind bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return append([]byte(nil), j.known...), j.known != nil
}

// Claims returns every checkpoint, signed by this journal, that is known and counts more
// than the store holds. A repair must lead to all of them: where it cannot, there are
// two histories.
func (j *Journal) Claims() [][]byte {
	j.mu.Lock()
	defer j.mu.Unlock()
	return slices.Clone(j.claims)
}

// HeadsTorn reports that Open found files for the heads beside the store, and
// none of them could be read: a loss before it would not have been noticed.
func (j *Journal) HeadsTorn() bool { return j.headsTorn }

// Know holds a checkpoint that somebody shows against the journal. One that we
// have not signed is fault.Invalid, reason CHECKPOINT_FOREIGN. One that counts
// more than we hold is kept, and the journal is behind from now on and after every
// Open, until it holds as much. One that our events do not lead to is
// fault.Lost, reason RECORD_FORKED.
func (j *Journal) Know(checkpoint []byte) error {
	c, err := openCheckpoint(checkpoint, j.verifier)
	if err != nil {
		return fault.New(fault.Invalid, "CHECKPOINT_FOREIGN",
			"this is no checkpoint that %s has signed; ask whoever signed it", j.verifier.Name()).Because(err)
	}
	if c.Size <= j.Size() {
		return j.checkFork(c)
	}
	result := make(chan error, 1)
	err = j.inTurn(context.Background(), func() (fatal error) {
		fatal = j.learn(c, checkpoint, result)
		return fatal
	})
	if err != nil {
		return err
	}
	return <-result
}

// checkFork errs when our events do not lead to a checkpoint that counts no more
// of them than there are.
func (j *Journal) checkFork(c merkle.Checkpoint) error {
	root, err := j.rootAt(c.Size)
	if err != nil {
		return err
	}
	if root != c.Root {
		return forked(c.Size, root, c.Root)
	}
	return nil
}

func forked(size uint64, ours, theirs tlog.Hash) error {
	return lost("RECORD_FORKED", "the first %d events have root %s here, and %s in a checkpoint that was signed with this journal's key: there are two histories; keep both and find out which is true",
		size, ours, theirs)
}

// learn takes note of a checkpoint on the committer's goroutine, so that nothing
// is decided between the look at the size and the refusal of all that follows.
func (j *Journal) learn(c merkle.Checkpoint, signed []byte, result chan<- error) (fatal error) {
	if c.Size <= j.edge.Size() {
		result <- j.checkFork(c)
		return nil
	}
	before, _ := j.Behind()
	if before != nil && c.Size <= j.knownSize {
		err := error(nil)
		if known, _ := openCheckpoint(before, j.verifier); c.Size == known.Size && c.Root != known.Root {
			err = forked(c.Size, known.Root, c.Root)
		}
		result <- err
		return nil
	}
	j.mu.Lock()
	j.known, j.knownSize = append([]byte(nil), signed...), c.Size
	j.claims = append(j.claims, j.known)
	j.mu.Unlock()
	j.log.Error("the record has lost its newest events: somebody holds a checkpoint that counts more; nothing is taken until it is repaired",
		"events", j.edge.Size(), "known", c.Size)
	err := durable.Replace(filepath.Join(j.dir, headSeenFile), signed)
	if err != nil {
		err = j.stop(fmt.Errorf("write the file %s: %w", headSeenFile, err))
	}
	if before == nil && j.fellBehind != nil {
		j.fellBehind()
	}
	result <- err
	return err
}

// refusal is why nothing is taken now; nil when it is.
func (j *Journal) refusal() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.known == nil {
		return nil
	}
	return fault.New(fault.Precondition, "RECORD_BEHIND",
		"the record holds %d events, and a checkpoint is known that counts %d: its newest events are lost; nothing is taken until it is repaired",
		j.size, j.knownSize)
}
