package station

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"

	"bayround/internal/fault"
)

// A follow token is text: the journal's id, the sequence of the newest event
// that was sent (0 for none), and the first 16 hex digits of that event's
// SHA-256 ("-" for none), with dots between.

// followToken makes the token of an event.
func followToken(journalID string, sequence uint64, record []byte) string {
	hash := "-"
	if sequence > 0 {
		sum := sha256.Sum256(record)
		hash = hex.EncodeToString(sum[:8])
	}
	return fmt.Sprintf("%s.%d.%s", journalID, sequence, hash)
}

// resume returns the sequence a token stands at, after making sure that it is
// of this journal and of this history.
func (s *Station) resume(token string) (sequence uint64, err error) {
	if token == "" {
		return 0, nil
	}
	parts := strings.Split(token, ".")
	if len(parts) != 3 || parts[0] == "" || parts[2] == "" {
		return 0, unreadableToken()
	}
	if sequence, err = strconv.ParseUint(parts[1], 10, 63); err != nil {
		return 0, unreadableToken()
	}
	if parts[0] != s.journal.ID() || sequence > s.journal.Size() {
		return 0, otherHistory()
	}
	if _, dropped := s.journal.Dropped(sequence); dropped {
		return sequence, nil // nothing is left to hold the token against
	}
	var record []byte
	if sequence > 0 {
		if record, err = s.journal.Event(sequence); err != nil {
			return 0, err
		}
	}
	if followToken(parts[0], sequence, record) != token {
		return 0, otherHistory()
	}
	return sequence, nil
}

func unreadableToken() error {
	return invalid("TOKEN_UNREADABLE", "token", "this is no token of this station; give back the token of the last message as it was, or none to begin at the first event")
}

func otherHistory() error {
	return fault.New(fault.Precondition, "JOURNAL_DIFFERS", "the token is of another journal, or of a history this journal does not have; read anew from the start, without a token")
}

// pageToken makes the token of a page that ends with name.
func pageToken(name string) string {
	return base64.RawURLEncoding.EncodeToString([]byte("after " + name))
}

// readPageToken returns the name a page ended with; "" when it is the first.
func readPageToken(token string) (string, error) {
	if token == "" {
		return "", nil
	}
	b, err := base64.RawURLEncoding.DecodeString(token)
	name, found := strings.CutPrefix(string(b), "after ")
	if err != nil || !found || name == "" {
		return "", unreadablePageToken()
	}
	return name, nil
}

func unreadablePageToken() error {
	return invalid("PAGE_TOKEN_UNREADABLE", "page_token", "this is no token of this list; give back next_page_token as it was, or none for the first page")
}
