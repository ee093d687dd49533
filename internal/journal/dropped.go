package journal

import (
	"cmp"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/fault"
)

// Span is a stretch of events, both ends among them.
type Span struct{ First, Last uint64 }

// spans is a set of events: stretches in order that do not touch each other.
type spans []Span

// at returns the stretch that holds an event; false when none does.
func (s spans) at(seq uint64) (Span, bool) {
	i, found := slices.BinarySearchFunc(s, seq, func(x Span, seq uint64) int {
		switch {
		case x.Last < seq:
			return -1
		case x.First > seq:
			return 1
		}
		return 0
	})
	if !found {
		return Span{}, false
	}
	return s[i], true
}

func (s spans) has(seq uint64) bool {
	_, found := s.at(seq)
	return found
}

// count is how many events there are.
func (s spans) count() (n uint64) {
	for _, x := range s {
		n += x.Last - x.First + 1
	}
	return n
}

// with returns the events that are in either set.
func (s spans) with(more []Span) spans {
	all := slices.Concat(s, more)
	slices.SortFunc(all, func(a, b Span) int { return cmp.Compare(a.First, b.First) })
	var merged spans
	for _, x := range all {
		if n := len(merged); n > 0 && x.First <= merged[n-1].Last+1 {
			merged[n-1].Last = max(merged[n-1].Last, x.Last)
			continue
		}
		merged = append(merged, x)
	}
	return merged
}

const spanBytes = 8 + 8

func (s spans) encode() []byte {
	b := make([]byte, 0, len(s)*spanBytes)
	for _, x := range s {
		b = binary.BigEndian.AppendUint64(b, x.First)
		b = binary.BigEndian.AppendUint64(b, x.Last)
	}
	return b
}

// errSpans says that stored bytes are not a set of events.
var errSpans = errors.New("not a list of stretches in order")

// decodeSpans accepts exactly what encode writes.
func decodeSpans(b []byte) (spans, error) {
	if len(b)%spanBytes != 0 {
		return nil, errSpans
	}
	var s spans
	after := uint64(0) // last event before which the next stretch must not begin
	for ; len(b) > 0; b = b[spanBytes:] {
		x := Span{First: binary.BigEndian.Uint64(b), Last: binary.BigEndian.Uint64(b[8:])}
		if x.First <= after || x.Last < x.First || x.Last == 1<<64-1 {
			return nil, errSpans
		}
		after = x.Last + 1
		s = append(s, x)
	}
	return s, nil
}

// droppedList says which events lost their content when their time was over, and
// up to which event things were looked through for that. The station signs it: an
// event that is missing without standing in it is damage.
type droppedList struct {
	generation uint64 // how often there was a pruning
	horizon    uint64
	spans      spans
}

// text is what is signed.
func (l droppedList) text(id identity, origin string) string {
	sum := sha256.Sum256(l.spans.encode())
	return fmt.Sprintf("%s\nevents dropped from journal %s\ngeneration %d up to event %d: %d events\n%s\n",
		origin, id.id, l.generation, l.horizon, l.spans.count(), base64.StdEncoding.EncodeToString(sum[:]))
}

// parseDropped reads what text says, but for the stretches; the caller compares.
func parseDropped(text string) (l droppedList, err error) {
	lines := strings.Split(text, "\n")
	if len(lines) != 5 {
		return droppedList{}, errSpans
	}
	var count uint64
	_, err = fmt.Sscanf(lines[2], "generation %d up to event %d: %d events", &l.generation, &l.horizon, &count)
	return l, err
}

// The list and what the caller of a pruning owes are kept in pieces of this size.
const pieceBytes = 256 << 10

// readDropped reads the list and checks it; nothing when no event was ever dropped.
func readDropped(txn *badger.Txn, id identity, verifier note.Verifier) (droppedList, error) {
	signed, err := getIn(txn, []byte(droppedKey))
	if signed == nil || err != nil {
		return droppedList{}, err
	}
	n, err := note.Open(signed, note.VerifierList(verifier))
	if err != nil {
		return droppedList{}, droppedForged("it is not signed by the station").Because(err)
	}
	l, err := parseDropped(n.Text)
	if err != nil {
		return droppedList{}, droppedForged("its words cannot be read").Because(err)
	}
	b, err := readPieces(txn, spansPrefix, l.generation)
	if err != nil {
		return droppedList{}, err
	}
	if l.spans, err = decodeSpans(b); err != nil {
		return droppedList{}, droppedForged("its stretches cannot be read").Because(err)
	}
	if l.text(id, verifier.Name()) != n.Text {
		return droppedList{}, droppedForged("its stretches are not those that were signed")
	}
	return l, nil
}

func droppedForged(why string) *fault.Fault {
	return lost("DROPPED_FORGED", "the list of events whose content was dropped was changed: %s; restore the journal from a backup or a copy", why)
}

// sign returns the signed note of a list.
func (l droppedList) sign(id identity, signer note.Signer) ([]byte, error) {
	return note.Sign(&note.Note{Text: l.text(id, signer.Name())}, signer)
}

// readPieces puts together what was kept in pieces.
func readPieces(txn *badger.Txn, prefix string, generation uint64) (whole []byte, err error) {
	of := pieceKey(prefix, generation, 0)
	it := txn.NewIterator(badger.IteratorOptions{Prefix: of[:len(of)-8]})
	defer it.Close()
	for it.Rewind(); it.Valid(); it.Next() {
		err := it.Item().Value(func(b []byte) error {
			whole = append(whole, b...)
			return nil
		})
		if err != nil {
			return nil, fmt.Errorf("read %q: %w", it.Item().Key(), err)
		}
	}
	return whole, nil
}

// setPieces keeps something in pieces.
func (w *bulk) setPieces(prefix string, generation uint64, whole []byte) error {
	for n := uint64(0); len(whole) > 0; n++ {
		piece := whole[:min(len(whole), pieceBytes)]
		whole = whole[len(piece):]
		if err := w.set(pieceKey(prefix, generation, n), piece); err != nil {
			return err
		}
	}
	return nil
}

// loadDropped reads which events were dropped. The list does not change while the
// store is open.
func (s *store) loadDropped() error {
	return s.db.View(func(txn *badger.Txn) (err error) {
		s.dropped, err = readDropped(txn, s.identity, s.verifier)
		return err
	})
}

// Dropped returns the stretch of events around one that were dropped; false when
// its content is there.
func (s *store) Dropped(seq uint64) (Span, bool) { return s.dropped.spans.at(seq) }

// Horizon returns the number of the newest event up to which content was dropped;
// 0 when none ever was. What stands as of an event before it is not what was known
// then. Everything after it is there.
func (s *store) Horizon() uint64 { return s.dropped.horizon }

// Leaves returns the leaf hashes of a stretch of events.
func (j *Journal) Leaves(of Span) (leaves []tlog.Hash, err error) {
	if size := j.Size(); of.First == 0 || of.Last < of.First || of.Last > size {
		return nil, fault.New(fault.NotFound, "EVENT_UNKNOWN", "there are no events %d to %d; the journal holds events 1 to %d", of.First, of.Last, size)
	}
	indexes := make([]int64, 0, of.Last-of.First+1)
	for seq := of.First; seq <= of.Last; seq++ {
		indexes = append(indexes, tlog.StoredHashIndex(0, int64(seq-1)))
	}
	err = j.view(func(txn *badger.Txn) error {
		leaves, err = storedHashes(txn).ReadHashes(indexes)
		return err
	})
	return leaves, err
}

func eventDropped(seq uint64) error {
	return fault.New(fault.NotFound, "EVENT_DROPPED", "the content of event %d was dropped when its time was over; only its hash is left", seq)
}
