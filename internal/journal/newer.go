package journal

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/dgraph-io/badger/v4"

	"bayround/internal/fault"
)

// refuseNewer errs when a newer program has made what lies in dir, or was about to put
// it in place, before anything there is touched. What cannot be read says nothing here.
func refuseNewer(dir string) error {
	name := filepath.Join(dir, journalFile)
	if b, err := os.ReadFile(name); err == nil {
		if _, err := parseIdentity(name, b); fault.Is(err, fault.Precondition) {
			return err
		}
	}
	name = filepath.Join(dir, replacingFile)
	var p replacing
	if b, err := os.ReadFile(name); err == nil && json.Unmarshal(b, &p) == nil {
		if _, err := parseIdentity(name, []byte(p.Identity)); fault.Is(err, fault.Precondition) {
			return err
		}
	}
	return nil
}

// The version of Badger's own files stands in its MANIFEST: "Bdgr", two bytes that are
// the application's, two of the version, big-endian.
const (
	storeVersion     = 8
	storeVersionHead = "Bdgr"
)

// refuseNewerStore errs when MANIFEST says that a later Badger has written the store.
// The byte may be damaged as well, for nothing protects it.
func refuseNewerStore(store string) error {
	name := filepath.Join(store, badger.ManifestFilename)
	f, err := os.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return unusable(filepath.Dir(store), err)
	}
	var head [len(manifestHead)]byte
	_, err = io.ReadFull(f, head[:])
	if err := errors.Join(err, f.Close()); err != nil || string(head[:len(storeVersionHead)]) != storeVersionHead {
		return nil // Badger says what is wrong with it
	}
	version := binary.BigEndian.Uint16(head[len(manifestHead)-2:])
	if version <= storeVersion {
		return nil
	}
	newer := fault.Newer("STORE_NEWER", name, uint64(version), storeVersion)
	newer.Message += "; if none was ever used here, the file is damaged: repair the record"
	return newer
}
