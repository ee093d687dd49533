package journal

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/dgraph-io/badger/v4/table"
	"golang.org/x/mod/sumdb/note"

	"bayround/internal/fault"
)

// unlistedFrom is a number of a table that no store comes to.
const unlistedFrom = 900_000

// scratchDir is where a repair reads a copy of the store: reading would change it.
const scratchDir = "repairing"

// Repair is the directory of a journal under repair. Nobody else can open it
// meanwhile. What it reads of the store it reads from a copy; the store itself is only
// ever put aside whole, by Replace.
type Repair struct {
	dir      string
	log      *slog.Logger
	mark     *mark
	id       identity // zero when the file JOURNAL cannot be read
	verifier note.Verifier
	replaced bool
}

// BeginRepair begins. A replacement of the store that broke off is finished first.
func BeginRepair(dir string, logger *slog.Logger) (*Repair, error) {
	r := &Repair{dir: dir, log: Options{Logger: logger}.logger()}
	if err := errors.Join(refuseNewer(dir), refuseUnfinished(dir), refuseMoved(dir)); err != nil {
		return nil, err
	}
	if err := r.used(); err != nil {
		return nil, err
	}
	var err error
	if r.mark, err = takeMark(dir); err != nil {
		return nil, err
	}
	if r.replaced, err = finishReplacing(dir, r.log); err != nil {
		return nil, errors.Join(err, r.Close())
	}
	b, err := os.ReadFile(filepath.Join(dir, journalFile))
	if err == nil {
		if id, err := parseIdentity(journalFile, b); err == nil {
			return r, r.take(id)
		}
	}
	r.log.Warn("the file that says which journal this is cannot be read", "file", journalFile, "cause", err)
	return r, nil
}

// used errs when there has never been a journal here.
func (r *Repair) used() error {
	for _, name := range []string{journalFile, signerFile} {
		if _, err := os.Stat(filepath.Join(r.dir, name)); !errors.Is(err, fs.ErrNotExist) {
			return nil
		}
	}
	return unknownJournal(Options{Dir: r.dir})
}

func (r *Repair) take(id identity) (err error) {
	r.id = id
	r.verifier, err = id.verifier()
	return err
}

// Close ends the repair. What stopped the journal uncleanly still counts unless the
// store was replaced.
func (r *Repair) Close() error {
	return errors.Join(os.RemoveAll(filepath.Join(r.dir, scratchDir)), r.mark.leave(r.replaced || !r.mark.unclean))
}

// Identity returns the id and the verifier key of the journal; empty when they are
// not known, see Assume.
func (r *Repair) Identity() (id, verifier string) { return r.id.id, r.id.verifierKey }

// Assume sets which journal this is, where neither the file JOURNAL nor the store
// tells. The signing key beside it must be that journal's.
func (r *Repair) Assume(id, verifier string) error {
	assumed := identity{id: id, verifierKey: verifier}
	if _, err := parseIdentity(journalFile, assumed.encode()); err != nil {
		return err
	}
	v, err := assumed.verifier()
	if err != nil {
		return err
	}
	if _, err := readSigner(r.dir, v); err != nil {
		return err
	}
	return r.take(assumed)
}

// Known returns the signed checkpoints beside the store, as far as they can be read.
func (r *Repair) Known() (signed [][]byte) {
	if r.verifier == nil {
		return nil
	}
	s := store{dir: r.dir, identity: r.id, verifier: r.verifier}
	for _, file := range []string{headAFile, headBFile, headSeenFile} {
		if c := s.readClaim(file, r.log); c.signed != nil {
			signed = append(signed, c.signed)
		}
	}
	return signed
}

// Verify is like the function Verify, of a copy: nothing is changed.
func (r *Repair) Verify(ctx context.Context) (Report, error) {
	scratch, err := r.copyOut()
	if err != nil {
		return Report{}, err
	}
	if state, trouble := readTables(filepath.Join(scratch, badgerDir)); state != tableSound {
		err := lost("STORE_DAMAGED", "a table of the store is not as it was written").Because(trouble)
		return Report{Problem: err.Error()}, err
	}
	report, err := Verify(ctx, Options{Dir: scratch, Logger: r.log})
	var f *fault.Fault
	if errors.As(err, &f) { // it is said of the directory, not of the copy
		f.Message = strings.ReplaceAll(f.Message, scratch, r.dir)
		report.Problem = f.Error()
	}
	return report, err
}

// copyOut copies the store and what says how much it should hold.
func (r *Repair) copyOut() (scratch string, err error) {
	scratch = filepath.Join(r.dir, scratchDir)
	if err := os.RemoveAll(scratch); err != nil {
		return "", unusable(r.dir, err)
	}
	if err := r.room(0); err != nil {
		return "", err
	}
	if err := os.MkdirAll(filepath.Join(scratch, badgerDir), 0o700); err != nil {
		return "", unusable(r.dir, err)
	}
	for _, file := range []string{journalFile, headAFile, headBFile, headSeenFile} {
		if err := copyFile(filepath.Join(r.dir, file), filepath.Join(scratch, file)); err != nil {
			return "", err
		}
	}
	entries, err := os.ReadDir(filepath.Join(r.dir, badgerDir))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", unusable(r.dir, err)
	}
	for _, entry := range entries {
		if entry.Name() == "LOCK" || !entry.Type().IsRegular() {
			continue
		}
		if err := copyFile(filepath.Join(r.dir, badgerDir, entry.Name()), filepath.Join(scratch, badgerDir, entry.Name())); err != nil {
			return "", err
		}
	}
	return scratch, nil
}

// copyUnlisted copies the tables that a torn list has left out, under numbers of
// their own, and drops the list: nothing but lenient reading makes anything of them.
func (r *Repair) copyUnlisted(store string) error {
	names, err := filepath.Glob(filepath.Join(r.dir, unlistedDir, "*.sst"))
	if err != nil {
		return err
	}
	for n, name := range names {
		if err := copyFile(name, table.NewFilename(uint64(unlistedFrom+n), store)); err != nil {
			return err
		}
	}
	return nil
}

// copyFile copies a file; one that is not there is left out. It is for reading now and
// need not last.
func copyFile(from, to string) error {
	b, err := os.Open(from)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("copy %s for reading: %w", from, err)
	}
	defer b.Close()
	f, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	if _, err := f.ReadFrom(b); err != nil {
		return errors.Join(fmt.Errorf("copy %s for reading: %w", from, err), f.Close())
	}
	return f.Close()
}

// Replacement says what takes the place of a store.
type Replacement struct {
	// Head is the signed checkpoint that the commands lead to. Nil: a new one is signed
	// for whatever they come to, and the highest known one counts no more. That gives
	// up events, and a person must have taken it on them.
	Head []byte
	// Note is kept for whoever opens the journal next, see Journal.Notes; nil = none.
	Note []byte
	// CopyBytes is the size of the files that events come from beside the store.
	CopyBytes int64
	// Now names the folder among the evidence that the old store goes to.
	Now time.Time
}

// Replace makes a new store beside the old one from commands, in order from the first,
// as Restore does; then it puts the old one aside, whole, and the new one in its place,
// with the heads. Whenever that breaks off, either the old store is still in place and
// whole, or the next Open finishes it.
func (r *Repair) Replace(ctx context.Context, n Replacement, commands iter.Seq2[Stored, error]) (Report, error) {
	b := &building{path: filepath.Join(r.dir, newStoreDir), id: r.id, head: n.Head, logger: r.log}
	if err := b.check(); err != nil {
		return Report{}, err
	}
	key, err := readSigner(r.dir, r.verifier)
	if err == nil {
		b.key = key
	} else if n.Head == nil {
		return Report{}, err
	}
	if n.Head == nil {
		b.signer = key
	}
	if err := os.RemoveAll(b.path); err != nil {
		return Report{}, unusable(r.dir, err)
	}
	if err := r.room(n.CopyBytes); err != nil {
		return Report{}, err
	}
	report, err := b.build(ctx, commands)
	if err != nil {
		return report, errors.Join(err, os.RemoveAll(b.path))
	}
	p := replacing{
		Evidence: n.Now.UTC().Format(evidenceForm) + repairedSuffix, Identity: string(r.id.encode()),
		Head: string(b.head), Note: n.Note,
	}
	if err := p.begin(r.dir); err != nil {
		return report, err
	}
	replaced, err := finishReplacing(r.dir, r.log)
	r.replaced = r.replaced || replaced
	return report, err
}
