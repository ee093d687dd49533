package journal

import (
	"context"
	"errors"
	"log/slog"
	"sync"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/note"

	"bayround/internal/merkle"
)

// Journal is an open journal. Its methods may be called from any goroutine.
type Journal struct {
	*store
	signer      note.Signer
	log         *slog.Logger
	space       Space
	guard       guard // owned by the committer once it runs
	committed   func(last uint64)
	fellBehind  func()
	rowsVersion string                  // of the code that runs now
	commit      func(*badger.Txn) error // the step that may fail; tests wrap it
	edge        merkle.Edge             // owned by the committer once it runs
	queue       chan *request           // unbuffered: what is handed over is decided
	turns       chan func() error       // unbuffered: work for the committer beside commands
	closing     chan struct{}           // closed by Close
	ended       chan struct{}           // closed when the committer has ended
	failed      chan struct{}           // closed after a failed commit
	closeOnce   sync.Once
	closeErr    error // set within closeOnce
	readers     gate
	order       orderIndex
	heads       *headWriter // writes the heads beside the store
	headsTorn   bool        // set by Open

	mu      sync.Mutex
	size    uint64        // guarded by mu: number of durable events
	head    []byte        // guarded by mu: the checkpoint of size events, nil when there are none
	grown   chan struct{} // guarded by mu: closed and replaced when size grows
	rows    rowsState     // guarded by mu
	failure error         // guarded by mu: why failed is closed
	known   []byte        // guarded by mu: the highest checkpoint known while it counts more than size; else nil
	claims  [][]byte      // guarded by mu: every checkpoint known that counts more than size

	knownSize uint64 // what known counts; owned by the committer once it runs, written under mu
}

// Open opens the journal in o.Dir, and makes an empty one when the directory
// is empty or missing. It checks the head: its signature, that the events it
// counts end where it says, that the stored hashes lead to its root, and that
// none of the heads beside the store counts more (Behind). It does not read
// every event; Verify does. When the last stop was not a clean one it first sets
// aside what opening the store would change.
func Open(ctx context.Context, o Options) (*Journal, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if err := checkRowsVersion(o.RowsVersion); err != nil {
		return nil, err
	}
	if err := refuseMoved(o.Dir); err != nil {
		return nil, err
	}
	s, err := openStore(o, true)
	if err != nil {
		return nil, err
	}
	j := &Journal{
		store: s, log: o.logger(), space: o.Space, guard: guard{space: o.Space, dir: o.Dir, log: o.logger()}, committed: o.Committed, fellBehind: o.FellBehind, rowsVersion: o.RowsVersion,
		commit: commit,
		queue:  make(chan *request), turns: make(chan func() error),
		closing: make(chan struct{}), ended: make(chan struct{}), failed: make(chan struct{}),
		grown: make(chan struct{}),
	}
	if err := j.load(); err != nil {
		return nil, errors.Join(err, s.close())
	}
	if err := j.finishErasing(); err != nil {
		return nil, errors.Join(err, s.close())
	}
	next, err := j.compare()
	if err != nil {
		return nil, errors.Join(err, s.close())
	}
	if j.known == nil {
		err = forgetUnlisted(o.Dir)
	}
	if err != nil {
		return nil, errors.Join(err, s.close())
	}
	o.Space.lay(o.Dir, j.log)
	j.heads = newHeadWriter(o.Dir, next, j.stop)
	go j.heads.run()
	go j.run()
	return j, nil
}

// load reads what the journal keeps in memory and checks it.
func (j *Journal) load() error {
	signer, err := readSigner(j.dir, j.verifier)
	if err != nil {
		return err
	}
	j.signer = signer
	return j.db.View(func(txn *badger.Txn) error {
		if j.rows, err = readRowsState(txn); err != nil {
			return err
		}
		if j.head, err = getIn(txn, []byte(headKey)); err != nil {
			return err
		}
		j.edge, err = checkHead(txn, j.head, j.verifier)
		j.size = j.edge.Size()
		return err
	})
}

// Close ends the committer and waits for it and for the newest head to be
// written, then for readers inside a call.
// Calling it again does nothing and returns the same error. It must not be
// called from within a callback of the journal.
func (j *Journal) Close() error {
	j.closeOnce.Do(func() {
		close(j.closing)
		<-j.ended
		j.heads.close()
		j.readers.close()
		if j.stopped() != nil {
			j.closeErr = j.closeUnclean() // the next Open is to keep what lies there now
			return
		}
		j.closeErr = j.closeWithRoom()
	})
	return j.closeErr
}

// Failed is closed when the journal has stopped itself after a failed commit.
func (j *Journal) Failed() <-chan struct{} { return j.failed }

// ID returns the random id that was made with the journal.
func (j *Journal) ID() string { return j.identity.id }

// Verifier returns the key that verifies the checkpoints, as note.NewVerifier
// reads it.
func (j *Journal) Verifier() string { return j.identity.verifierKey }

// Size returns the number of events durable now; the newest has this
// sequence number.
func (j *Journal) Size() uint64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.size
}

// Checkpoint returns the newest signed checkpoint (C2SP tlog-checkpoint), nil
// while the journal is empty.
func (j *Journal) Checkpoint() []byte {
	j.mu.Lock()
	defer j.mu.Unlock()
	return append([]byte(nil), j.head...)
}

// Wait returns nil when Size() > after. It errs when ctx ends first, or the
// journal stops or closes.
func (j *Journal) Wait(ctx context.Context, after uint64) error {
	for {
		j.mu.Lock()
		size, grown := j.size, j.grown
		j.mu.Unlock()
		if size > after {
			return nil
		}
		select {
		case <-grown:
		case <-ctx.Done():
			return ctx.Err()
		case <-j.failed:
			return j.stopped()
		case <-j.closing:
			return closed()
		}
	}
}
