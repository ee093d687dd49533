package journal

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/pb"
	"github.com/dgraph-io/badger/v4/table"
	"google.golang.org/protobuf/proto"
)

// manifestHead begins Badger's MANIFEST: "Bdgr", a number of the application's (0),
// the version of the file's layout.
const manifestHead = storeVersionHead + "\x00\x00\x00\x08"

// listAnew makes a copy of a store one that Badger opens: it lists every table that can
// be opened, at level 0, where tables may overlap and the newest version of a key
// wins, wherever it stands; spoilt blocks are emptied. What Badger keeps besides tables and write-ahead logs is
// made anew by it. For reading only: what Badger had deleted and not yet removed is
// there again.
func listAnew(store string, log *slog.Logger) error {
	spare, err := filepath.Glob(filepath.Join(store, "*.vlog"))
	if err != nil {
		return err
	}
	spare = append(spare, filepath.Join(store, badger.ManifestFilename), filepath.Join(store, badger.KeyRegistryFileName), filepath.Join(store, "DISCARD"))
	tables, err := filepath.Glob(filepath.Join(store, "*.sst"))
	if err != nil {
		return err
	}
	var changes pb.ManifestChangeSet
	for _, name := range tables {
		id, named := table.ParseFileID(filepath.Base(name))
		content, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		r := readTable(content)
		if r.state == tableUnusable || !named {
			log.Warn("a table of the damaged store cannot be read", "table", filepath.Base(name), "cause", r.trouble)
			spare = append(spare, name)
			continue
		}
		if len(r.spoilt) > 0 {
			if err := os.WriteFile(name, r.emptied(content), 0o600); err != nil {
				return err
			}
		}
		changes.Changes = append(changes.Changes, &pb.ManifestChange{Id: id, Op: pb.ManifestChange_CREATE})
	}
	for _, name := range spare {
		if err := os.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	if len(changes.GetChanges()) == 0 {
		return nil
	}
	b, err := proto.Marshal(&changes)
	if err != nil {
		return fmt.Errorf("list the tables: %w", err)
	}
	whole := []byte(manifestHead)
	whole = binary.BigEndian.AppendUint32(whole, uint32(len(b)))
	whole = binary.BigEndian.AppendUint32(whole, crc32.Checksum(b, crc32.MakeTable(crc32.Castagnoli)))
	return os.WriteFile(filepath.Join(store, badger.ManifestFilename), append(whole, b...), 0o600)
}
