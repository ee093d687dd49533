package station

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

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

// A page token is base64 of text: "after", what was asked for, and the name a page ended
// with, with spaces between. So a page of one list is never gone on with in another.

// pageToken makes the token of a page that ends with name.
func pageToken(req pageRequest, name string) string {
	return base64.RawURLEncoding.EncodeToString([]byte("after " + askedFor(req) + " " + name))
}

// readPageToken returns the name a page ended with; "" when it is the first.
func readPageToken(req pageRequest) (string, error) {
	if req.GetPageToken() == "" {
		return "", nil
	}
	b, err := base64.RawURLEncoding.DecodeString(req.GetPageToken())
	parts := strings.SplitN(string(b), " ", 3)
	if err != nil || len(parts) != 3 || parts[0] != "after" || parts[2] == "" {
		return "", unreadablePageToken()
	}
	if parts[1] != askedFor(req) {
		return "", invalid("PAGE_TOKEN_OF_OTHER_LIST", "page_token", "this token is of a list that was asked for otherwise; ask for the same one again, or give no token for the first page")
	}
	return parts[2], nil
}

// askedFor is which list a request asks for and what of it, shortened; not how much at a time.
func askedFor(req pageRequest) string {
	filter := proto.Clone(req).ProtoReflect()
	for _, field := range []protoreflect.Name{"page_size", "page_token"} {
		filter.Clear(filter.Descriptor().Fields().ByName(field))
	}
	b, _ := proto.MarshalOptions{Deterministic: true}.Marshal(filter.Interface()) // its rules have been kept, so that it can be written
	sum := sha256.Sum256(append([]byte(filter.Descriptor().FullName()), b...))
	return hex.EncodeToString(sum[:8])
}

func unreadablePageToken() error {
	return invalid("PAGE_TOKEN_UNREADABLE", "page_token", "this is no token of this list; give back next_page_token as it was, or none for the first page")
}
