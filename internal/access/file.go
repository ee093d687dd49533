package access

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"bayround/internal/durable"
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
	case f.Version > fileVersion:
		return counters{}, fault.Newer("PIN_COUNTERS_NEWER", name, uint64(f.Version), fileVersion)
	case err != nil:
		return counters{}, fault.New(fault.Lost, "PIN_COUNTERS_UNREADABLE",
			"%s, which counts wrong PINs, cannot be read; look who spoilt it, then remove it", name).Because(err)
	case f.Version != fileVersion || f.People == nil || f.Devices == nil:
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
	if err := durable.Replace(name, b); err != nil {
		return fmt.Errorf("put the counters in place: %w", err)
	}
	return nil
}
