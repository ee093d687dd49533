package access

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"bayround/internal/fault"
)

// fileVersion is the version of the file that this code reads and writes.
const fileVersion = 1

// countersFile is the file as it lies on disk.
type countersFile struct {
	Version int `json:"version"`
	counters
}

// readCounters reads the file; nothing is counted where there is none.
func readCounters(name string) (counters, error) {
	f := countersFile{counters: counters{People: map[string]counter{}, Devices: map[string]counter{}}}
	b, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return f.counters, nil
	}
	if err == nil {
		err = json.Unmarshal(b, &f)
	}
	switch {
	case err != nil:
		return counters{}, fault.New(fault.Lost, "PIN_COUNTERS_UNREADABLE",
			"%s, which counts wrong PINs, cannot be read; look who spoilt it, then remove it", name).Because(err)
	case f.Version != fileVersion:
		return counters{}, fault.New(fault.Lost, "PIN_COUNTERS_UNREADABLE",
			"%s is of version %d and this program reads version %d; use the newer program", name, f.Version, fileVersion)
	case f.People == nil || f.Devices == nil:
		return counters{}, fault.New(fault.Lost, "PIN_COUNTERS_UNREADABLE",
			"%s, which counts wrong PINs, is not whole; look who spoilt it, then remove it", name)
	}
	return f.counters, nil
}

// writeCounters replaces the file; once it returns nil the file is on disk.
func writeCounters(name string, c counters) error {
	b, err := json.Marshal(countersFile{Version: fileVersion, counters: c})
	if err != nil {
		return fmt.Errorf("encode the counters: %w", err)
	}
	beside := name + ".new"
	if err := writeSynced(beside, b); err != nil {
		return errors.Join(err, os.Remove(beside))
	}
	if err := os.Rename(beside, name); err != nil {
		return fmt.Errorf("put the counters in place: %w", err)
	}
	return syncDirectory(filepath.Dir(name))
}

func writeSynced(name string, b []byte) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return fmt.Errorf("write the counters: %w", err)
	}
	_, err = f.Write(b)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("write the counters: %w", err)
	}
	return nil
}

func syncDirectory(name string) error {
	d, err := os.Open(name)
	if err != nil {
		return fmt.Errorf("open the directory of the counters: %w", err)
	}
	if err := errors.Join(d.Sync(), d.Close()); err != nil {
		return fmt.Errorf("sync the directory of the counters: %w", err)
	}
	return nil
}
