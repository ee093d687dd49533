package round

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"bayround/internal/fault"
	"bayround/internal/recordfile"
)

// refuseNewer refuses a file of the tablet that a newer program has written. Only its
// version is read: everything else may have another form.
func refuseNewer(reason, name string, content []byte, understood uint64) error {
	var told struct {
		Version uint64 `json:"version"`
	}
	if err := json.Unmarshal(content, &told); err == nil && told.Version > understood {
		return fault.Newer(reason, name, told.Version, understood)
	}
	return nil
}

// refuseNewerCopy refuses a copy of the station's record of which a newer program has
// written a file. The copy itself is read at the first contact, for that takes longer.
func refuseNewerCopy(dir string) error {
	names, err := filepath.Glob(filepath.Join(dir, copyFolder, "[0-9]*.record"))
	if err != nil {
		return err
	}
	for _, name := range names {
		f, err := os.Open(name)
		if err != nil {
			return fmt.Errorf("read the copy of the station's record: %w", err)
		}
		_, err = recordfile.NewReader(f)
		if err := f.Close(); err != nil {
			return err
		}
		if newer := (*fault.Fault)(nil); errors.As(err, &newer) && newer.Reason == recordfile.ReasonNewer {
			return fmt.Errorf("read %s: %w", name, newer)
		}
	}
	return nil
}
