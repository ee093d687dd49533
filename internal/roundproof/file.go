package roundproof

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/fault"
)

// version is that of the layout which this package writes and reads.
const version = 1

// magic begins the first line; the version follows.
const magic = "bayround round proof "

// Reasons of a file that cannot be read.
const (
	ReasonNewer   = "ROUND_PROOF_NEWER"   // a newer program has written it
	ReasonForeign = "ROUND_PROOF_FOREIGN" // it is another kind of file
	ReasonDamaged = "ROUND_PROOF_DAMAGED" // it is not as it was written, or proves nothing
)

// File is what a file holds. Nothing of it is proven before Check.
type File struct {
	// Round is its name, rounds/{round}.
	Round string
	// Key is the station's verifier key, as in golang.org/x/mod/sumdb/note.
	Key string
	// Events stand in the order of their numbers.
	Events []Event
	// Steps are serialised CheckSteps, in the order of the plan; none when the plan is not known any more.
	Steps [][]byte
	// Checkpoint is a signed note, C2SP tlog-checkpoint.
	Checkpoint string
}

// Event is an event with the proof that it stands in the record.
type Event struct {
	// Number is its sequence in the journal, from 1.
	Number int64
	// Record is its exact bytes; empty when its content was dropped.
	Record []byte
	// Leaf is the leaf hash of an event whose content was dropped.
	Leaf tlog.Hash
	// Path is the audit path of RFC 6962, from the leaf up.
	Path []tlog.Hash
}

// Bytes is the file as it is written.
func (f *File) Bytes() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s%d\nround %s\nkey %s\n", magic, version, f.Round, f.Key)
	for _, ev := range f.Events {
		if len(ev.Record) > 0 {
			fmt.Fprintf(&b, "event %d %s\npath", ev.Number, base64.StdEncoding.EncodeToString(ev.Record))
		} else {
			fmt.Fprintf(&b, "dropped %d %s\npath", ev.Number, ev.Leaf)
		}
		for _, hash := range ev.Path {
			fmt.Fprintf(&b, " %s", hash)
		}
		b.WriteByte('\n')
	}
	for _, step := range f.Steps {
		fmt.Fprintf(&b, "step %s\n", base64.StdEncoding.EncodeToString(step))
	}
	fmt.Fprintf(&b, "checkpoint\n%s", f.Checkpoint)
	return b.Bytes()
}

// Parse reads a file, and takes only one that Bytes would write. The error is
// fault.Lost and names the line.
func Parse(file []byte) (*File, error) {
	r := &reader{rest: string(file)}
	if err := r.begin(); err != nil {
		return nil, err
	}
	f := &File{Round: r.field("round"), Key: r.field("key")}
	for r.word() == "event" || r.word() == "dropped" {
		f.Events = append(f.Events, r.event())
	}
	for r.word() == "step" {
		f.Steps = append(f.Steps, r.base64(r.field("step")))
	}
	if line := r.line(); line != "checkpoint" {
		r.wrong("here must stand %q", "checkpoint")
	}
	f.Checkpoint = r.rest
	if r.failed == nil && !bytes.Equal(f.Bytes(), file) {
		r.failed = damaged("it is not written as it must be: something stands there twice, in other words or in another order")
	}
	if r.failed != nil {
		return nil, r.failed
	}
	return f, nil
}

// reader reads line by line. After the first mistake it reads nothing more.
type reader struct {
	rest   string
	number int   // of the line that was read last
	failed error // the first mistake
}

// begin reads the first line, before anything else: the rest of another version may be anything.
func (r *reader) begin() error {
	said, ours := strings.CutPrefix(r.line(), magic)
	newest, err := strconv.ParseUint(said, 10, 32)
	switch {
	case !ours || err != nil || newest == 0:
		return fault.New(fault.Lost, ReasonForeign, "this is no proof of a round: its first line is not \"%s%d\"", magic, version)
	case newest > version:
		return fault.Newer(ReasonNewer, "the proof of the round", newest, version)
	}
	return nil
}

// line is the next line; empty at the end.
func (r *reader) line() string {
	if r.failed != nil {
		return ""
	}
	line, rest, _ := strings.Cut(r.rest, "\n")
	r.rest = rest
	r.number++
	return line
}

// word is what the next line begins with.
func (r *reader) word() string {
	if r.failed != nil {
		return ""
	}
	line, _, _ := strings.Cut(r.rest, "\n")
	word, _, _ := strings.Cut(line, " ")
	return word
}

// field is what stands behind the word of the next line.
func (r *reader) field(word string) string {
	line := r.line()
	if line == word {
		return ""
	}
	said, found := strings.CutPrefix(line, word+" ")
	if !found {
		r.wrong("here must stand %q", word)
	}
	return said
}

// event reads an event and its path.
func (r *reader) event() (ev Event) {
	word := r.word()
	number, content, _ := strings.Cut(r.field(word), " ")
	var err error
	if ev.Number, err = strconv.ParseInt(number, 10, 64); err != nil || ev.Number < 1 {
		r.wrong("%.40q is no number of an event", number)
	}
	if word == "event" {
		if ev.Record = r.base64(content); len(ev.Record) == 0 {
			r.wrong("the event is empty")
		}
	} else {
		ev.Leaf = r.hash(content)
	}
	for hash := range strings.SplitSeq(r.field("path"), " ") {
		if hash != "" {
			ev.Path = append(ev.Path, r.hash(hash))
		}
	}
	return ev
}

func (r *reader) base64(text string) []byte {
	b, err := base64.StdEncoding.Strict().DecodeString(text)
	if err != nil {
		r.wrong("%.40q is not base64", text)
	}
	return b
}

func (r *reader) hash(text string) tlog.Hash {
	hash, err := tlog.ParseHash(text)
	if err != nil {
		r.wrong("%.60q is no hash of %d bytes", text, tlog.HashSize)
	}
	return hash
}

// wrong notes a mistake in the line that was read last.
func (r *reader) wrong(format string, args ...any) {
	if r.failed == nil {
		r.failed = damaged("line %d: %s", r.number, fmt.Sprintf(format, args...))
	}
}

func damaged(format string, args ...any) *fault.Fault {
	return fault.New(fault.Lost, ReasonDamaged, "the proof of the round does not hold: %s", fmt.Sprintf(format, args...))
}
