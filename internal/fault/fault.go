// Package fault is the house's error vocabulary: what went wrong in a way
// that a person or a client can act on. It knows nothing of gRPC; the rpc
// package maps kinds to status codes.
package fault

import (
	"errors"
	"fmt"
)

// Kind says what sort of answer an error is. The numbers are written out
// because they are compared across processes in logs and metrics.
type Kind int

// The kinds, and what the caller should do about each.
const (
	Invalid      Kind = 1  // the request itself is wrong: mend it
	NotFound     Kind = 2  // nothing of that name exists: look again
	Exists       Kind = 3  // that name is taken: choose another
	Precondition Kind = 4  // right request, wrong moment: the message says what must come first
	Stale        Kind = 5  // made against an older revision: read again, then repeat
	Denied       Kind = 6  // this caller may not
	Exhausted    Kind = 7  // no room or over a limit: later, or with less
	Unavailable  Kind = 8  // the station cannot answer now: repeat with the same id
	Lost         Kind = 9  // the record is damaged: a person must act
	OutOfRange   Kind = 10 // asks for what lies beyond the end: look again how far it goes
	Unidentified Kind = 11 // nobody knows who this caller is, or whom it called: be let in first
)

// kindNames are the words that logs show.
var kindNames = map[Kind]string{
	Invalid: "invalid", NotFound: "not found", Exists: "exists", Precondition: "precondition",
	Stale: "stale", Denied: "denied", Exhausted: "exhausted", Unavailable: "unavailable", Lost: "lost",
	OutOfRange: "out of range", Unidentified: "unidentified",
}

// String returns the word for the kind.
func (k Kind) String() string {
	if name, ok := kindNames[k]; ok {
		return name
	}
	return fmt.Sprintf("kind %d", int(k))
}

// Field is one thing wrong with one field of a request.
type Field struct {
	Path    string // as in the proto: result.reading.value
	Message string // what is wrong and what would be right
}

// Fault is an error somebody can act on.
type Fault struct {
	Kind    Kind
	Reason  string // stable, UPPER_SNAKE_CASE, for programs; never empty
	Message string // what is wrong and what to do, for people
	Fields  []Field
	Cause   error // for the log; may be nil
}

// New returns a fault whose message is formatted like fmt.Sprintf.
func New(kind Kind, reason, format string, args ...any) *Fault {
	return &Fault{Kind: kind, Reason: reason, Message: fmt.Sprintf(format, args...)}
}

// Because returns the fault with the error that led to it, kept for the log.
func (f *Fault) Because(cause error) *Fault {
	f.Cause = cause
	return f
}

// At returns the fault with one more field violation.
func (f *Fault) At(path, format string, args ...any) *Fault {
	f.Fields = append(f.Fields, Field{Path: path, Message: fmt.Sprintf(format, args...)})
	return f
}

// Error returns the message for people, and the cause if there is one.
func (f *Fault) Error() string {
	if f.Cause != nil {
		return f.Message + ": " + f.Cause.Error()
	}
	return f.Message
}

// Unwrap returns the cause.
func (f *Fault) Unwrap() error { return f.Cause }

// Is reports whether err is, or wraps, a fault of the given kind.
func Is(err error, kind Kind) bool {
	var f *Fault
	return errors.As(err, &f) && f.Kind == kind
}
