package journal

import (
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"
)

// Options says which journal to open and who wants to hear of it.
type Options struct {
	// Dir is the directory of the journal, on a local disk.
	Dir string
	// Origin is the origin line of the checkpoints and the name of the signing
	// key, for instance "bayround/station/skarholm-quay". It is fixed when the
	// journal is made; "" accepts whatever an existing journal has.
	Origin string
	// RowsVersion names the code that makes the rows. When the rows on disk
	// were made by another, RowsComplete is false and the caller rebuilds.
	RowsVersion string
	// Logger hears warnings and worse, Badger's too; nil = discard.
	Logger *slog.Logger
	// Committed, if set, is called on the committer's goroutine after a batch
	// is synced and before any of its callers returns; last is the number of
	// events now durable, and Checkpoint already gives the checkpoint that
	// counts them. It must not call Append, Rebuild or Close.
	Committed func(last uint64)

	// FellBehind, if set, is called on the committer's goroutine when a checkpoint
	// shown to Know tells that the journal has lost events; from then on Append
	// refuses everything. It must not call Append, Rebuild, Know or Close.
	FellBehind func()

	// Space says how much of the disk must stay free; the zero value suits a station.
	Space Space

	tune func(badger.Options) badger.Options // for tests that show what a wrong option does
}

func (o Options) logger() *slog.Logger {
	if o.Logger == nil {
		return slog.New(slog.DiscardHandler)
	}
	return o.Logger
}

// badger returns the options of the store: little memory, every commit
// synced, every table's checksums read when it is opened. No value comes near
// Badger's value threshold, so the value log, whose sync errors Badger only
// logs, stays empty.
func (o Options) badger() badger.Options {
	b := badger.DefaultOptions(filepath.Join(o.Dir, badgerDir)).WithSyncWrites(true).
		WithMemTableSize(8 << 20).WithNumMemtables(2).
		WithNumLevelZeroTables(2).WithNumLevelZeroTablesStall(4).
		WithNumCompactors(2). // Badger refuses 1
		WithValueLogFileSize(16 << 20).
		WithCompression(options.None).WithBlockCacheSize(0).WithIndexCacheSize(4 << 20).
		WithChecksumVerificationMode(options.OnTableRead).WithVerifyValueChecksum(true).
		WithMetricsEnabled(false).WithNumGoroutines(2).
		WithLogger(badgerLog{o.logger()})
	if o.tune != nil {
		b = o.tune(b)
	}
	return b
}

// badgerLog passes Badger's warnings and errors on; its chatter stays out.
type badgerLog struct{ to *slog.Logger }

func (l badgerLog) Errorf(format string, args ...any)   { l.to.Error(badgerText(format, args)) }
func (l badgerLog) Warningf(format string, args ...any) { l.to.Warn(badgerText(format, args)) }
func (badgerLog) Infof(string, ...any)                  {}
func (badgerLog) Debugf(string, ...any)                 {}

func badgerText(format string, args []any) string {
	return "badger: " + strings.TrimSpace(fmt.Sprintf(format, args...))
}
