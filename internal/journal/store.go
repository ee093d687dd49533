package journal

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/durable"
	"bayround/internal/fault"
)

// store is an open Badger store that is known to be a journal's.
type store struct {
	dir      string
	mark     *mark
	db       *badger.DB
	identity identity
	verifier note.Verifier
	dropped  droppedList

	pruneCommit func(*badger.Txn) error // the step that may fail; tests set it, nil = commitPruned
}

// openStore opens the store of o.Dir; if create is set it makes one where
// there is none. It looks at the format only: what the store holds is for the
// caller to check.
func openStore(o Options, create bool) (*store, error) {
	if err := refuseNewer(o.Dir); err != nil {
		return nil, err
	}
	if err := finishRepair(o.Dir, o.logger()); err != nil {
		return nil, err
	}
	made, err := inspect(o.Dir)
	if err != nil {
		return nil, err
	}
	if made == nil && !create {
		return nil, unknownJournal(o)
	}
	if err := o.Space.roomToOpen(o.Dir, o.logger()); err != nil {
		return nil, err
	}
	if err := makeWritable(o.Dir); err != nil {
		return nil, err
	}
	m, err := takeMark(o.Dir)
	if err != nil {
		return nil, err
	}
	kept := true
	if m.unclean && made != nil {
		kept = setAside(o.Dir, time.Now(), o.logger())
	}
	db, err := openBadger(o)
	if err != nil {
		return nil, errors.Join(err, m.leave(kept))
	}
	s, err := identify(db, o, made)
	if err != nil {
		return nil, errors.Join(err, db.Close(), m.leave(true))
	}
	s.mark = m
	if err := s.resumePruning(); err != nil {
		return nil, errors.Join(err, s.closeUnclean())
	}
	return s, nil
}

func unknownJournal(o Options) error {
	return fault.New(fault.NotFound, "JOURNAL_UNKNOWN",
		"there is no journal in %q; name the directory that holds the file %s", o.Dir, journalFile)
}

// close closes the store and says that it was closed.
func (s *store) close() error {
	if err := s.closeBadger(); err != nil {
		return errors.Join(err, s.mark.leave(false))
	}
	return s.mark.leave(true)
}

// closeUnclean closes the store and leaves the mark of an unclean stop.
func (s *store) closeUnclean() error { return errors.Join(s.closeBadger(), s.mark.leave(false)) }

// closePatience is how long closing the store may take. Badger tries for ever to write out what
// it has in memory; with a disk that refuses it would never end, and so would not the process.
// Everything is in the log that the next Open reads.
const closePatience = 5 * time.Second

func (s *store) closeBadger() error {
	closed := make(chan error, 1)
	go func() { closed <- s.db.Close() }()
	patience := time.NewTimer(closePatience)
	defer patience.Stop()
	select {
	case err := <-closed:
		if err != nil {
			return fmt.Errorf("close the journal's store: %w", err)
		}
		return nil
	case <-patience.C:
		return fmt.Errorf("close the journal's store: it does not end within %s, so the store is left as it is; end the process, the next start reads it anew", closePatience)
	}
}

// emptyLogs is how many write-ahead logs of no length are put up with. There is
// one at most while Badger begins them one after the other.
const emptyLogs = 3

func openBadger(o Options) (*badger.DB, error) {
	if err := refuseNewerStore(o.badger().Dir); err != nil {
		return nil, err
	}
	if state, trouble := readTables(o.badger().Dir); state != tableSound {
		return nil, damagedStore(o.Dir, trouble)
	}
	if err := keepUnlisted(o.Dir); errors.Is(err, errUnlisted) {
		return nil, damagedStore(o.Dir, err)
	} else if err != nil {
		return nil, unusable(o.Dir, err)
	}
	db, err := badger.Open(o.badger())
	// Who ends between the making of a write-ahead log and the reservation of its
	// length leaves an empty one, which holds nothing. Badger fails to open with
	// it, and has given it its length by then, so that the next try finds it good.
	for range emptyLogs {
		if err == nil || !strings.Contains(err.Error(), "Create a new file") {
			break
		}
		db, err = badger.Open(o.badger())
	}
	if err == nil {
		return db, nil
	}
	// Badger drops the cause of this error and leaves only its words.
	if strings.Contains(err.Error(), "Cannot acquire directory lock") {
		return nil, locked(o.Dir, err)
	}
	return nil, damagedStore(o.Dir, err)
}

func damagedStore(dir string, cause error) error {
	return lost("STORE_DAMAGED",
		"the journal's store in %q does not open; keep a copy of the directory, then repair it, or restore it from a backup", dir).Because(cause)
}

func locked(dir string, cause error) error {
	return fault.New(fault.Unavailable, "JOURNAL_LOCKED",
		"the journal in %q is open in another process; stop that one first", dir).Because(cause)
}

// identify makes sure that the store is the journal that the JOURNAL file
// speaks of, and finishes the making of a new one. It is called under
// Badger's lock.
func identify(db *badger.DB, o Options, made *identity) (*store, error) {
	id, err := readIdentity(db, o, made)
	if err != nil {
		return nil, err
	}
	if made == nil {
		if err := durable.Replace(filepath.Join(o.Dir, journalFile), id.encode()); err != nil {
			return nil, fmt.Errorf("write the file %s: %w", journalFile, err)
		}
	} else if *made != id {
		return nil, lost("JOURNAL_MISMATCH",
			"the file %s in %q is of journal %s, the store is of journal %s or has another key; put together what belongs together",
			journalFile, o.Dir, made.id, id.id)
	}
	verifier, err := id.verifier()
	if err != nil {
		return nil, err
	}
	if o.Origin != "" && o.Origin != verifier.Name() {
		return nil, fault.New(fault.Precondition, "ORIGIN_MISMATCH",
			"the journal in %q is of %q, not of %q; mend the station's name or the directory", o.Dir, verifier.Name(), o.Origin)
	}
	return &store{dir: o.Dir, db: db, identity: id, verifier: verifier}, nil
}

// readIdentity reads the format record, or makes it when no journal was made
// here yet.
func readIdentity(db *badger.DB, o Options, made *identity) (identity, error) {
	stored, err := get(db, []byte(formatKey))
	switch {
	case err != nil:
		return identity{}, err
	case stored != nil:
		return parseIdentity("the format record in the store of "+o.Dir, stored)
	case made != nil:
		return identity{}, lost("RECORD_LOST",
			"journal %s was made in %q, but its store is empty; restore it from a backup", made.id, o.Dir)
	}
	return initialise(db, o)
}

// initialise makes a new journal in an empty store. The key comes first, the
// JOURNAL file (by the caller) last: a start that breaks off is made again
// from the beginning, and once the JOURNAL file is there all the rest is.
func initialise(db *badger.DB, o Options) (identity, error) {
	if err := refuseFilled(db, o.Dir); err != nil {
		return identity{}, err
	}
	verifierKey, err := makeSigner(o.Dir, o.Origin)
	if err != nil {
		return identity{}, fmt.Errorf("make the signing key: %w", err)
	}
	id := newIdentity(verifierKey)
	err = db.Update(func(txn *badger.Txn) error {
		return errors.Join(
			txn.Set([]byte(formatKey), id.encode()),
			txn.Set([]byte(rowsKey), rowsState{complete: true, version: o.RowsVersion}.encode()))
	})
	if err != nil {
		return identity{}, fmt.Errorf("write the format record: %w", err)
	}
	return id, nil
}

// refuseFilled errs when the store holds anything at all.
func refuseFilled(db *badger.DB, dir string) error {
	return db.View(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{})
		defer it.Close()
		if it.Rewind(); it.Valid() {
			return fault.New(fault.Precondition, "DIRECTORY_FOREIGN",
				"the Badger store in %q is not a journal's; give the journal an empty directory of its own", dir)
		}
		return nil
	})
}

// get returns a copy of the value of key, nil when there is none.
func get(db *badger.DB, key []byte) (value []byte, err error) {
	err = db.View(func(txn *badger.Txn) error {
		value, err = getIn(txn, key)
		return err
	})
	return value, err
}

// getIn is get within a transaction.
func getIn(txn *badger.Txn, key []byte) ([]byte, error) {
	item, err := txn.Get(key)
	if errors.Is(err, badger.ErrKeyNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read %q: %w", key, err)
	}
	value, err := item.ValueCopy([]byte{}) // not nil: an empty value is there
	if err != nil {
		return nil, fmt.Errorf("read the value of %q: %w", key, err)
	}
	return value, nil
}

// storedHashes reads Merkle hashes as of txn.
func storedHashes(txn *badger.Txn) tlog.HashReader {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		hashes := make([]tlog.Hash, len(indexes))
		for i, index := range indexes {
			b, err := getIn(txn, hashKey(index))
			if err != nil {
				return nil, err
			}
			if len(b) != tlog.HashSize {
				level, n := tlog.SplitStoredHashIndex(index)
				return nil, lost("HASH_MISSING", "the stored hash %d (level %d, number %d) is missing or cut short", index, level, n)
			}
			hashes[i] = tlog.Hash(b)
		}
		return hashes, nil
	})
}
