package journal

import (
	"context"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// modelRow is a row as the model keeps it: every version ever written.
type modelRow struct {
	version   uint64
	row       Row
	eventless bool // from an entry without events; Rebuild drops it
}

// model is what a journal must do, in a few lines of memory.
type model struct {
	events   []string
	commands map[string]modelCommand
	rows     []modelRow // in the order they were written
}

type modelCommand struct {
	digest  [32]byte
	receipt Receipt
}

// at returns the rows as of an event, "key=value" in key order.
func (m *model) at(prefix string, at uint64) []string {
	newest := map[string][]byte{}
	for _, r := range m.rows {
		if r.version <= at {
			newest[r.row.Key] = r.row.Value
		}
	}
	var rows []string
	for _, key := range slices.Sorted(maps.Keys(newest)) {
		if value := newest[key]; value != nil && strings.HasPrefix(key, prefix) {
			rows = append(rows, key+"="+string(value))
		}
	}
	return rows
}

// append carries out a command on the model.
func (m *model) append(c Command, events []string, rows []Row) Receipt {
	r := Receipt{Body: fmt.Appendf(nil, "%s after %d", c.ID, len(m.events))}
	if len(events) > 0 {
		r.First, r.Last = uint64(len(m.events)+1), uint64(len(m.events)+len(events))
	}
	m.events = append(m.events, events...)
	for _, row := range rows {
		m.rows = append(m.rows, modelRow{uint64(len(m.events)), row, len(events) == 0})
	}
	m.commands[c.ID] = modelCommand{c.Digest, r}
	return r
}

// machine runs a journal and its model side by side.
type machine struct {
	dir string
	j   *Journal
	m   model
}

// drawRows draws rows over few keys, so that they overwrite each other.
func drawRows(t *rapid.T) []Row {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Row {
		r := Row{Key: rapid.SampledFrom([]string{"a", "ab", "b", "b/c", "b/d", "c"}).Draw(t, "key")}
		if rapid.Bool().Draw(t, "present") {
			r.Value = []byte(rapid.StringMatching(`[x-z]{0,2}`).Draw(t, "value"))
		}
		return r
	}), 0, 3).Draw(t, "rows")
}

// eventOf is an event from which project makes the row again.
func eventOf(r Row) string {
	if r.Value == nil {
		return r.Key
	}
	return r.Key + "=" + string(r.Value)
}

func (s *machine) append(t *rapid.T) {
	c := Command{
		ID:     rapid.SampledFrom([]string{"1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12"}).Draw(t, "id"),
		Digest: [32]byte{byte(rapid.IntRange(0, 9).Draw(t, "digest") / 9)},
	}
	rows := drawRows(t)
	var events []string
	if rapid.IntRange(0, 3).Draw(t, "events") > 0 {
		events = append(events, rapid.SampledFrom([]string{"", " "}).Draw(t, "event without rows"))
		for _, r := range rows {
			events = append(events, eventOf(r))
		}
	}
	known, repeated := s.m.commands[c.ID]
	called := false
	got, err := s.j.Append(context.Background(), c, func(next uint64) (Entry, error) {
		called = true
		if next != uint64(len(s.m.events)+1) {
			t.Errorf("decide was told %d after %d events", next, len(s.m.events))
		}
		e := Entry{Rows: rows, Receipt: fmt.Appendf(nil, "%s after %d", c.ID, len(s.m.events))}
		for _, event := range events {
			e.Events = append(e.Events, []byte(event))
		}
		return e, nil
	})
	if called == repeated {
		t.Errorf("decide called %v for command %q, repeated %v", called, c.ID, repeated)
	}
	if repeated && known.digest != c.Digest {
		if !hasReason(err, "COMMAND_ID_REUSED") {
			t.Errorf("another request under %q: %+v, %v", c.ID, got, err)
		}
		return
	}
	want := known.receipt
	if !repeated {
		want = s.m.append(c, events, rows)
	}
	if err != nil || got.First != want.First || got.Last != want.Last || string(got.Body) != string(want.Body) || got.Repeated != repeated {
		t.Errorf("append %q = %+v, %v; want %+v, repeated %v", c.ID, got, err, want, repeated)
	}
}

func (s *machine) readRows(t *rapid.T) {
	prefix := rapid.SampledFrom([]string{"", "a", "ab", "b", "b/", "d"}).Draw(t, "prefix")
	at := rapid.Uint64Range(0, uint64(len(s.m.events)+1)).Draw(t, "at")
	as := at
	if at == 0 {
		as = uint64(len(s.m.events))
	}
	var got []string
	err := s.j.Rows(context.Background(), prefix, at, func(key string, value []byte) error {
		got = append(got, key+"="+string(value))
		one, err := s.j.Row(key, at)
		if string(one) != string(value) || one == nil {
			t.Errorf("Row(%q, %d) = %q, Rows says %q", key, at, one, value)
		}
		return err
	})
	if want := s.m.at(prefix, as); err != nil || !slices.Equal(got, want) {
		t.Errorf("rows %q at %d: %v, %v; want %v", prefix, at, got, err, want)
	}
}

func (s *machine) reopen(t *rapid.T) {
	if err := s.j.Close(); err != nil {
		t.Fatal(err)
	}
	j, err := tryOpen(s.dir)
	if err != nil {
		t.Fatal(err)
	}
	s.j = j
}

func (s *machine) rebuild(t *rapid.T) {
	if err := s.j.Rebuild(context.Background(), project); err != nil {
		t.Fatal(err)
	}
	s.m.rows = slices.DeleteFunc(s.m.rows, func(r modelRow) bool { return r.eventless })
}

// check is what must hold after every step.
func (s *machine) check(t *rapid.T) {
	report, err := s.j.Verify(context.Background())
	if err != nil || report.Events != uint64(len(s.m.events)) || report.Receipts != uint64(len(s.m.commands)) {
		t.Fatalf("%v, %v; want %d events by %d commands", report, err, len(s.m.events), len(s.m.commands))
	}
	if s.j.Size() != report.Events || !s.j.RowsComplete() {
		t.Fatalf("size %d, %d events, rows complete %v", s.j.Size(), report.Events, s.j.RowsComplete())
	}
	err = s.j.Events(context.Background(), 1, func(seq uint64, event []byte) error {
		if string(event) != s.m.events[seq-1] {
			t.Errorf("event %d is %q, want %q", seq, event, s.m.events[seq-1])
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// The journal does what the model does, whatever the order of appending,
// reading, rebuilding and reopening.
func TestJournal_DoesWhatTheModelDoes(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp("", "journal-model-*")
		if err != nil {
			rt.Fatal(err)
		}
		defer os.RemoveAll(dir)
		s := &machine{dir: dir, m: model{commands: map[string]modelCommand{}}}
		if s.j, err = tryOpen(dir); err != nil {
			rt.Fatal(err)
		}
		defer func() { s.j.Close() }()
		rt.Repeat(map[string]func(*rapid.T){
			"append": s.append, "append 2": s.append, "append 3": s.append, "append 4": s.append,
			"rows": s.readRows, "rows 2": s.readRows, "rows 3": s.readRows, "reopen": s.reopen, "rebuild": s.rebuild, "": s.check,
		})
	})
}
