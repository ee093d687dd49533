package journal

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"bayround/internal/fault"
)

// copyOf is a closed journal, as a copy of it would hold it.
type copyOf struct {
	dir      string
	options  RestoreOptions // all but where
	commands []Stored
	events   []string
}

// keptJournal makes a journal with commands of all sizes and something apart, and
// closes it.
func keptJournal(t testing.TB, commands int) *copyOf {
	t.Helper()
	c := &copyOf{dir: t.TempDir()}
	k := &keeper{j: open(t, c.dir)}
	for n := range commands {
		k.append(t, 1+n%4)
		if n%5 == 2 {
			putApart(t, k.j, fmt.Sprintf("apart %d", n), "Ottoline Quillfeather") // invented
		}
	}
	err := k.j.Commands(context.Background(), 1, func(s Stored) error {
		c.commands = append(c.commands, s)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	signer, err := os.ReadFile(filepath.Join(c.dir, signerFile))
	if err != nil {
		t.Fatal(err)
	}
	c.events = allEvents(t, k.j)
	c.options = RestoreOptions{ID: k.j.ID(), Verifier: k.j.Verifier(), Signer: signer, Head: k.j.Checkpoint()}
	mustClose(t, k.j)
	return c
}

// into says where.
func (c *copyOf) into(dir string) RestoreOptions {
	o := c.options
	o.Dir = dir
	return o
}

func each(commands []Stored) iter.Seq2[Stored, error] {
	return func(yield func(Stored, error) bool) {
		for _, c := range commands {
			if !yield(c, nil) {
				return
			}
		}
	}
}

// brokenOff gives some commands, then an error.
func brokenOff(commands []Stored, err error) iter.Seq2[Stored, error] {
	return func(yield func(Stored, error) bool) {
		for c := range each(commands) {
			if !yield(c, nil) {
				return
			}
		}
		yield(Stored{}, err)
	}
}

func readCommands(t testing.TB, j *Journal) (commands []Stored) {
	t.Helper()
	err := j.Commands(context.Background(), 1, func(s Stored) error {
		commands = append(commands, s)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return commands
}

func TestRestore_GivesTheSameJournal(t *testing.T) {
	for _, commands := range []int{0, 1, 2, 40} {
		c := keptJournal(t, commands)
		dir := filepath.Join(t.TempDir(), "a", "b")
		report, err := Restore(context.Background(), c.into(dir), each(c.commands))
		if err != nil || report.Events != uint64(len(c.events)) {
			t.Fatalf("%d commands: %s, %v", commands, report, err)
		}
		j := open(t, dir)
		if j.RowsComplete() {
			t.Error("the rows of a restored journal count as complete")
		}
		if string(j.Checkpoint()) != string(c.options.Head) || j.ID() != c.options.ID {
			t.Errorf("journal %s with head\n%s\nwant %s with\n%s", j.ID(), j.Checkpoint(), c.options.ID, c.options.Head)
		}
		wantEqual(t, "events", allEvents(t, j), c.events)
		if difference := cmp.Diff(c.commands, readCommands(t, j)); difference != "" {
			t.Errorf("-copied +restored:\n%s", difference)
		}
		if len(c.commands) > 0 { // it remembers what was commanded, and goes on
			first := c.commands[0]
			again, err := j.Append(context.Background(), first.Command, always(Entry{}))
			if err != nil || !again.Repeated || again.First != first.First || string(again.Body) != string(first.Receipt) {
				t.Errorf("the first command again = %+v, %v", again, err)
			}
		}
		put(t, j, "it goes on", []string{"one more"})
	}
}

func TestRestore_RefusesWhatIsNotTheRecord(t *testing.T) {
	c := keptJournal(t, 12)
	changed := func(change func(commands []Stored) []Stored) []Stored {
		commands := slices.Clone(c.commands)
		for i := range commands {
			commands[i].Events = slices.Clone(commands[i].Events)
		}
		return change(commands)
	}
	for _, tc := range []struct {
		what     string
		commands []Stored
		reason   string
	}{
		{"the last command is missing", c.commands[:len(c.commands)-1], "COPY_SHORT"},
		{"all are missing", nil, "COPY_SHORT"},
		{"one in the middle is missing", changed(func(s []Stored) []Stored { return slices.Delete(s, 5, 6) }), "COPY_GAP"},
		{"one is there twice", changed(func(s []Stored) []Stored { return slices.Insert(s, 5, s[5]) }), "COPY_GAP"},
		{"two are swapped", changed(func(s []Stored) []Stored {
			s[1], s[2] = s[2], s[1]
			return s
		}), "COPY_GAP"},
		{"an event is another one", changed(func(s []Stored) []Stored {
			s[3].Events[0].Record = []byte("another")
			return s
		}), "ROOT_DIFFERS"},
		{"an event is added to a command", changed(func(s []Stored) []Stored {
			s[len(s)-1].Events = append(s[len(s)-1].Events, StoredEvent{Record: []byte("one more")})
			return s
		}), "COPY_SHORT"},
		{"two commands of one id", changed(func(s []Stored) []Stored {
			s[4].Command.ID = s[3].Command.ID
			return s
		}), "RECEIPT_MISSING"},
		{"a command without events", changed(func(s []Stored) []Stored {
			s[4].Events = nil
			return s
		}), "COPY_GAP"},
		{"a command without an id", changed(func(s []Stored) []Stored {
			s[4].Command.ID = ""
			return s
		}), "COMMAND_ID_INVALID"},
		{"an event that is too large", changed(func(s []Stored) []Stored {
			s[4].Events[0].Record = make([]byte, maxValueBytes+1)
			return s
		}), "ENTRY_TOO_LARGE"},
	} {
		t.Run(tc.what, func(t *testing.T) {
			dir := t.TempDir()
			if _, err := Restore(context.Background(), c.into(dir), each(tc.commands)); !hasReason(err, tc.reason) {
				t.Errorf("restore = %v, want %s", err, tc.reason)
			}
			_, err := tryOpen(dir)
			wantFault(t, err, fault.Precondition, "RESTORE_UNFINISHED")
			if _, err := Verify(context.Background(), Options{Dir: dir}); !hasReason(err, "RESTORE_UNFINISHED") {
				t.Errorf("verify = %v", err)
			}
		})
	}
}

func TestRestore_RefusesAnotherHeadOrKey(t *testing.T) {
	c, other := keptJournal(t, 3), keptJournal(t, 4)
	for what, tc := range map[string]struct {
		change func(*RestoreOptions)
		reason string
	}{
		"the head of another journal": {func(o *RestoreOptions) { o.Head = other.options.Head }, "HEAD_FORGED"},
		"no head":                     {func(o *RestoreOptions) { o.Head = nil }, "COPY_SHORT"},
		"the key of another journal":  {func(o *RestoreOptions) { o.Signer = other.options.Signer }, "KEY_MISMATCH"},
		"no key at all":               {func(o *RestoreOptions) { o.Signer = []byte("key") }, "KEY_UNREADABLE"},
		"no id":                       {func(o *RestoreOptions) { o.ID = "" }, "IDENTITY_UNREADABLE"},
		"no verifier":                 {func(o *RestoreOptions) { o.Verifier = "x" }, "IDENTITY_UNREADABLE"},
	} {
		o := c.into(t.TempDir())
		tc.change(&o)
		if _, err := Restore(context.Background(), o, each(c.commands)); !hasReason(err, tc.reason) {
			t.Errorf("%s: %v, want %s", what, err, tc.reason)
		}
	}
}

func TestRestore_WithoutTheKeyItCannotBeOpened(t *testing.T) {
	c, dir := keptJournal(t, 3), t.TempDir()
	o := c.into(dir)
	o.Signer = nil
	if _, err := Restore(context.Background(), o, each(c.commands)); err != nil {
		t.Fatal(err)
	}
	_, err := tryOpen(dir)
	wantFault(t, err, fault.Precondition, "KEY_MISSING")
	if err := os.WriteFile(filepath.Join(dir, signerFile), c.options.Signer, 0o600); err != nil {
		t.Fatal(err)
	}
	wantEqual(t, "events", allEvents(t, open(t, dir)), c.events)
}

func TestRestore_BrokenOffIsBegunAgain(t *testing.T) {
	c, dir := keptJournal(t, 12), t.TempDir()
	broken := errors.New("the disk it was read from was pulled out")
	for n := range len(c.commands) {
		_, err := Restore(context.Background(), c.into(dir), brokenOff(c.commands[:n], broken))
		if err != broken { //nolint:errorlint // unchanged is what is promised
			t.Fatalf("after %d commands: %v", n, err)
		}
		if _, err := tryOpen(dir); !hasReason(err, "RESTORE_UNFINISHED") {
			t.Fatalf("after %d commands open says %v", n, err)
		}
	}
	o := c.into(dir)
	o.Beside = func() error { return broken }
	if _, err := Restore(context.Background(), o, each(c.commands)); err != broken { //nolint:errorlint // as above
		t.Fatal(err)
	}
	if _, err := tryOpen(dir); !hasReason(err, "RESTORE_UNFINISHED") {
		t.Errorf("before all is in place open says %v", err)
	}
	if _, err := Restore(context.Background(), c.into(dir), each(c.commands)); err != nil {
		t.Fatal(err)
	}
	wantEqual(t, "events", allEvents(t, open(t, dir)), c.events)
}

func TestRestore_WritesOverNothing(t *testing.T) {
	c := keptJournal(t, 3)
	_, err := Restore(context.Background(), c.into(c.dir), each(c.commands))
	wantFault(t, err, fault.Precondition, "DIRECTORY_USED")
	wantEqual(t, "events", allEvents(t, open(t, c.dir)), c.events)
	other := t.TempDir()
	if err := os.WriteFile(filepath.Join(other, "letter"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	_, err = Restore(context.Background(), c.into(other), each(c.commands))
	wantFault(t, err, fault.Precondition, "DIRECTORY_USED")
	wantEqual(t, "what lies there", names(t, other), []string{"letter"})
}
