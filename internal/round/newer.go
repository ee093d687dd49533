package round

import (
	"encoding/json"

	"bayround/internal/fault"
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
