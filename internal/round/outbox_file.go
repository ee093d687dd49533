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
)

// placeVersion is the version of the file. One that this program does not know
// is refused, not guessed at.
const placeVersion = 1

// placeName is the file's name in the uplink's directory.
const placeName = "uplink.json"

// place is how far the outbox has come, as JSON in one small file. It is written
// anew beside the old one, synced, and put in its place, so that it is always
// whole. Nothing depends on it but time: without it everything is sent again,
// under the ids the station knows already.
type place struct {
	Version int `json:"version"`
	// Journal is the id of the twin's journal.
	Journal string `json:"journal"`
	// Acknowledged is the event of that journal up to which everything was
	// acknowledged or refused for good; Command is the id of its command, by
	// which a journal that has lost its end is told.
	Acknowledged int64  `json:"acknowledged"`
	Command      string `json:"command"`
	// Photos is the event up to which all photos of results have arrived.
	Photos int64 `json:"photos"`
	// StationJournal and StationSequence are the station's journal and the
	// newest event of it that a command of ours was told of.
	StationJournal  string `json:"station_journal"`
	StationSequence int64  `json:"station_sequence"`
	// Refused is what the station would not take, oldest first.
	Refused []refusal `json:"refused"`
}

// refusal is a Refused as the file keeps it.
type refusal struct {
	ID      string    `json:"id"`
	What    string    `json:"what"`
	Message string    `json:"message"`
	At      time.Time `json:"at"`
	Round   string    `json:"round"`
	More    int       `json:"more"` // further commands of a round whose opening was refused
}

// shown is the refusal as the tablet shows it.
func (r refusal) shown() Refused {
	message := r.Message
	if r.More > 0 {
		message += fmt.Sprintf(" (and with it %d further entries of this round)", r.More)
	}
	return Refused{ID: r.ID, What: r.What, Message: message, At: r.At}
}

// readPlace reads the file. A missing one, and one that cannot be read, is an
// empty place; why says what is wrong with it then.
func readPlace(dir string) (p place, why, err error) {
	none := place{Version: placeVersion}
	b, err := os.ReadFile(filepath.Join(dir, placeName))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return none, nil, nil
	case err != nil:
		return none, nil, fmt.Errorf("reading how far the outbox has come: %w", err)
	}
	if err := refuseNewer("OUTBOX_NEWER", filepath.Join(dir, placeName), b, placeVersion); err != nil {
		return none, nil, err
	}
	if err := json.Unmarshal(b, &p); err != nil {
		return none, err, nil
	}
	switch {
	case p.Version < 1 || p.Acknowledged < 0 || p.Photos < 0 || p.StationSequence < 0:
		return none, errors.New("it holds numbers that were never written"), nil
	}
	return p, nil, nil
}

// write puts the place on disk and returns once it is there.
func (p place) write(dir string) error {
	b, err := json.MarshalIndent(p, "", "  ")
	if err == nil {
		err = durable.Replace(filepath.Join(dir, placeName), append(b, '\n'))
	}
	if err != nil {
		return fmt.Errorf("keeping how far the outbox has come: %w", err)
	}
	return nil
}
