package notify

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"bayround/internal/durable"
	"bayround/internal/fault"
	"bayround/internal/station"
)

// Folder is where, beside the record, the states of subscriptions lie.
const Folder = "subscriptions"

// stateVersion is the version of a file of state. Whoever changes what it means raises it.
const stateVersion = 1

// deadAfter is how long a receiver may fail before it is called dead. It is tried
// further all the same.
const deadAfter = 3 * 24 * time.Hour

// State is how a subscription stands: its place in the record, which is its outbox, and
// how its receiver does. It lies in Folder as {name}.json. Losing it loses nothing:
// the receiver is told anew how every vehicle stands.
type State struct {
	Version   int           `json:"version"`
	Name      string        `json:"name"`
	URL       string        `json:"url"`
	Place     station.Place `json:"place"`     // everything up to here was delivered or not wanted
	Behind    int64         `json:"behind"`    // events of the record after it, when this was written
	Delivered int64         `json:"delivered"` // notices, ever
	Success   time.Time     `json:"last_success,omitzero"`
	Failures  int           `json:"failures,omitempty"` // in a row
	Failing   time.Time     `json:"failing_since,omitzero"`
	Error     string        `json:"last_error,omitempty"`
	Next      time.Time     `json:"next_try,omitzero"` // not before this, by the computer's clock
	Refused   Refused       `json:"refused,omitzero"`  // the notice that is not taken now
	Ended     time.Time     `json:"ended,omitzero"`    // the receiver wants nothing more
	Written   time.Time     `json:"written"`
}

// Dead tells that the receiver has failed for so long that a person should look.
func (s State) Dead(now time.Time) bool {
	return !s.Failing.IsZero() && now.Sub(s.Failing) >= deadAfter
}

// Words is how it stands in a word.
func (s State) Words(now time.Time) string {
	switch {
	case !s.Ended.IsZero():
		return "ended"
	case s.Dead(now):
		return "dead"
	case s.Failures > 0:
		return "failing"
	}
	return "well"
}

// write makes the state durable.
func (s State) write(dir string) error {
	content, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return err
	}
	return durable.Replace(filepath.Join(dir, s.Name+".json"), append(content, '\n'))
}

// readState reads a state; that there is none is fs.ErrNotExist.
func readState(path string) (State, error) {
	content, err := os.ReadFile(path)
	if err != nil {
		return State{}, err
	}
	s, err := parseState(content)
	if err == nil && s.Version > stateVersion {
		return State{}, fault.Newer("SUBSCRIPTION_NEWER", path, uint64(s.Version), stateVersion)
	}
	if err != nil {
		return State{}, fault.New(fault.Lost, "SUBSCRIPTION_UNREADABLE",
			"%s cannot be read: %v; remove it, and the receiver is told anew how every vehicle stands", path, err)
	}
	return s, nil
}

func parseState(content []byte) (State, error) {
	var s State
	if err := json.Unmarshal(content, &s); err != nil {
		return State{}, err
	}
	if s.Version < 1 || s.Name == "" || s.Place.Sequence < 0 {
		return State{}, errors.New("it is no state of a subscription")
	}
	return s, nil
}

// States reads how all subscriptions of a station stand, by name; also of one that
// runs. Data is the folder of its record.
func States(data string) ([]State, error) {
	dir := filepath.Join(data, Folder)
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading how subscriptions stand: %w", err)
	}
	var all []State
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".json") {
			continue
		}
		s, err := readState(filepath.Join(dir, e.Name()))
		if err != nil {
			return nil, err
		}
		all = append(all, s)
	}
	return all, nil
}
