package station

import (
	"errors"
	"fmt"
	"time"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/journal"
)

// rowsVersion names the layout of the rows (see the package comment) and what
// they mean. Whoever changes either raises it, and the rows are made anew.
const rowsVersion = "14"

// The first parts of row keys.
const (
	inForceRows  = "in-force/"
	revisionRows = "revision/"
	stepRows     = "step/"
	defectRows   = "defect/"
	undoneRows   = "undone/"
	standingRows = "standing/"
	roundRows    = "round/"
	liveRows     = "live/"
	answeredRows = "answered/"
	seriesRows   = "series/"
	measuredRows = "measured/"
	holdingRows  = "holding/"
	happenedRows = "happened/"
	stockRows    = "stock/"
)

// record builds the value of a row.
type record []byte

// number appends a field that holds a sequence, a count or an enum; 0 is left out.
func (r record) number(field protowire.Number, n int64) record {
	if n == 0 {
		return r
	}
	return r.each(field, n)
}

// each appends one of a list of numbers; 0 is one of them.
func (r record) each(field protowire.Number, n int64) record {
	return protowire.AppendVarint(protowire.AppendTag(r, field, protowire.VarintType), uint64(n))
}

// instant appends a time in nanoseconds; the zero time is left out.
func (r record) instant(field protowire.Number, t time.Time) record {
	if t.IsZero() {
		return r
	}
	return protowire.AppendFixed64(protowire.AppendTag(r, field, protowire.Fixed64Type), uint64(t.UnixNano()))
}

// moment appends one of a list of times; the zero time is one of them.
func (r record) moment(field protowire.Number, t time.Time) record {
	if t.IsZero() {
		return r.each(field, 0)
	}
	return r.each(field, t.UnixNano())
}

// text appends a string; "" is left out.
func (r record) text(field protowire.Number, s string) record {
	if s == "" {
		return r
	}
	return protowire.AppendString(protowire.AppendTag(r, field, protowire.BytesType), s)
}

// message appends an encoded message.
func (r record) message(field protowire.Number, encoded []byte) record {
	return protowire.AppendBytes(protowire.AppendTag(r, field, protowire.BytesType), encoded)
}

// fields is a row read back: the numbers and bytes of each field, in order.
type fields struct {
	numbers map[protowire.Number][]uint64
	bytes   map[protowire.Number][][]byte
}

// errRow says that stored bytes are not a row of this layout.
var errRow = errors.New("not a row of layout " + rowsVersion)

func readFields(b []byte) (fields, error) {
	f := fields{map[protowire.Number][]uint64{}, map[protowire.Number][][]byte{}}
	for len(b) > 0 {
		field, kind, n := protowire.ConsumeTag(b)
		if n < 0 {
			return f, errRow
		}
		b = b[n:]
		switch kind {
		case protowire.VarintType:
			v, m := protowire.ConsumeVarint(b)
			f.numbers[field], n = append(f.numbers[field], v), m
		case protowire.Fixed64Type:
			v, m := protowire.ConsumeFixed64(b)
			f.numbers[field], n = append(f.numbers[field], v), m
		case protowire.BytesType:
			v, m := protowire.ConsumeBytes(b)
			f.bytes[field], n = append(f.bytes[field], v), m
		default:
			return f, errRow
		}
		if n < 0 {
			return f, errRow
		}
		b = b[n:]
	}
	return f, nil
}

func (f fields) number(field protowire.Number) int64 {
	if all := f.numbers[field]; len(all) > 0 {
		return int64(all[len(all)-1])
	}
	return 0
}

func (f fields) instant(field protowire.Number) time.Time {
	if len(f.numbers[field]) == 0 {
		return time.Time{}
	}
	return time.Unix(0, f.number(field)).UTC()
}

// moments are a list of times.
func (f fields) moments(field protowire.Number) []time.Time {
	all := make([]time.Time, len(f.numbers[field]))
	for i, n := range f.numbers[field] {
		if n != 0 {
			all[i] = time.Unix(0, int64(n)).UTC()
		}
	}
	return all
}

func (f fields) text(field protowire.Number) string {
	if all := f.bytes[field]; len(all) > 0 {
		return string(all[len(all)-1])
	}
	return ""
}

// rowSet is the rows of one command. Of two with the same key the later one
// holds; the journal sees to it.
type rowSet struct {
	rows []journal.Row
	none bool // nobody keeps them
}

func (s *rowSet) put(key string, value []byte) {
	if s.none {
		return
	}
	if value == nil {
		value = []byte{} // nil would mean that the row is gone
	}
	s.rows = append(s.rows, journal.Row{Key: key, Value: value})
}

func (s *rowSet) drop(key string) {
	if !s.none {
		s.rows = append(s.rows, journal.Row{Key: key})
	}
}

// putMessage puts a row whose value is a message. The messages are our own
// and were read from valid bytes, so they can be encoded.
func (s *rowSet) putMessage(key string, m proto.Message) error {
	if s.none {
		return nil
	}
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		return fmt.Errorf("encode row %q: %w", key, err)
	}
	s.put(key, b)
	return nil
}

// unreadable is the fault of a row or event that this version cannot read.
func unreadable(what string, cause error) error {
	return fault.New(fault.Lost, "RECORD_UNREADABLE",
		"%s cannot be read by this version of the station; verify the journal, and use the version that wrote it or a newer one", what).Because(cause)
}
