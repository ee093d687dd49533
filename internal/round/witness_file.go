package round

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"bayround/internal/durable"
	"bayround/internal/fault"
)

// sightingVersion is the version of the file.
const sightingVersion = 1

// sightingName is the file's name in the uplink's directory.
const sightingName = "witness.json"

// sighting is what the tablet saw of the station last, as JSON in one small file
// that is always whole. It is what a station is held to, so nothing is guessed where
// it cannot be read.
type sighting struct {
	Version int `json:"version"`
	// JournalID and VerifierKey are the station's, as they were at the first contact.
	JournalID   string `json:"journal_id"`
	VerifierKey string `json:"verifier_key"`
	// Checkpoint is the newest that was proven, a signed note.
	Checkpoint string `json:"checkpoint"`
	// Alarm says why the station is not to be trusted; absent when it is.
	Alarm *announced `json:"alarm,omitempty"`
	// Notice tells of a loss that was accepted, until it was read.
	Notice *announced `json:"notice,omitempty"`
	// LossFrom is the first event behind a loss that the record has yet to tell of; 0
	// when there is none.
	LossFrom uint64 `json:"loss_from,omitempty"`

	onDisk bool // it came from the file, which must still be there when it is written anew
}

// announced is what must be shown to people, and since when.
type announced struct {
	Message string    `json:"message"`
	At      time.Time `json:"at"`
}

// readSighting reads the file; a missing one is that of a tablet that has met no
// station yet.
func readSighting(dir string) (s sighting, err error) {
	name := filepath.Join(dir, sightingName)
	b, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return sighting{Version: sightingVersion}, nil
	}
	if err != nil {
		return s, fmt.Errorf("reading what was seen of the station: %w", err)
	}
	if err := refuseNewer("WITNESS_NEWER", name, b, sightingVersion); err != nil {
		return sighting{}, err
	}
	if err := json.Unmarshal(b, &s); err != nil || s.Version < 1 || s.VerifierKey == "" {
		return sighting{}, fault.New(fault.Lost, "WITNESS_UNREADABLE",
			"%s cannot be read, so the station cannot be held to what this tablet saw of it; ask an officer, then let the tablet forget the station", name).Because(err)
	}
	s.onDisk = true
	return s, nil
}

// errForgotten says that a person took the file away in the middle of a contact.
var errForgotten = errors.New("the tablet was told to forget the station")

// write puts the file on disk and returns once it is there.
func (s sighting) write(dir string) error {
	if _, err := os.Stat(filepath.Join(dir, sightingName)); s.onDisk && errors.Is(err, fs.ErrNotExist) {
		return errForgotten
	}
	b, err := json.MarshalIndent(s, "", "  ")
	if err == nil {
		err = durable.Replace(filepath.Join(dir, sightingName), append(b, '\n'))
	}
	if err != nil {
		return fmt.Errorf("keeping what was seen of the station: %w", err)
	}
	return nil
}

// ForgetStation has the tablet that keeps its files in dir forget which station it
// knows: the next that answers is taken for the right one, and an alarm ends. What
// was seen is put aside under the name that is returned; the tablet may run
// meanwhile. Empty when it knew none.
func ForgetStation(dir string, now time.Time) (aside string, err error) {
	name := filepath.Join(dir, sightingName)
	aside = filepath.Join(dir, "witness-forgotten-"+now.UTC().Format("20060102T150405Z")+".json")
	if err := durable.Rename(name, aside); errors.Is(err, fs.ErrNotExist) {
		return "", nil
	} else if err != nil {
		return "", fmt.Errorf("putting aside what was seen of the station: %w", err)
	}
	return aside, nil
}
