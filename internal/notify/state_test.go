package notify

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"bayround/internal/fault"
	"bayround/internal/station"
)

// noon is when the states of these tests were written.
var noon = time.Date(2026, time.March, 2, 12, 0, 0, 0, time.UTC)

// failing is a state with everything in it.
var failing = State{
	Version: 1, Name: "control", URL: "https://control.example/", Place: station.Place{Sequence: 7, Token: "t", Passed: noon, Doubt: 1, Doubts: 2},
	Behind: 3, Delivered: 4, Success: noon, Failures: 5, Failing: noon, Error: "the receiver answered 500", Next: noon, Refused: Refused{ID: "7-ab", Since: noon, Tries: 5}, Ended: noon, Written: noon,
}

func TestState_IsReadAsItWasWritten(t *testing.T) {
	dir := t.TempDir()
	if none, err := States(dir); err != nil || none != nil {
		t.Errorf("where nobody was told: %v, %v", none, err)
	}
	under := filepath.Join(dir, Folder)
	if err := os.Mkdir(under, 0o700); err != nil {
		t.Fatal(err)
	}
	other := State{Version: 1, Name: "a", URL: "https://a.example/"}
	for _, s := range []State{failing, other} {
		if err := s.write(under); err != nil {
			t.Fatal(err)
		}
	}
	all, err := States(dir)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]State{other, failing}, all); diff != "" {
		t.Errorf("-written +read:\n%s", diff)
	}
	for name, content := range map[string]string{"newer": `{"version":2,"name":"b"}`, "no JSON": `{"version":1`, "another file": `[]`, "nameless": `{"version":1}`} {
		path := filepath.Join(under, "control.json")
		if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := States(dir)
		if name == "newer" != fault.Is(err, fault.Precondition) || err == nil || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := readState(filepath.Join(under, "none.json")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a state that is not there: %v", err)
	}
}

func TestState_Words(t *testing.T) {
	for _, tc := range []struct {
		s    State
		want string
	}{
		{State{}, "well"},
		{State{Failures: 1, Failing: noon.Add(-time.Second)}, "failing"},
		{State{Failures: 400, Failing: noon.Add(-72*time.Hour + time.Second)}, "failing"},
		{State{Failures: 400, Failing: noon.Add(-72 * time.Hour)}, "dead"},
		{State{Ended: noon.Add(-time.Hour)}, "ended"},
	} {
		if got := tc.s.Words(noon); got != tc.want {
			t.Errorf("%+v is %s, want %s", tc.s, got, tc.want)
		}
	}
}

// Whatever lies in a file of state, it is refused or says the same when it is written
// and read again.
func FuzzParseState(f *testing.F) {
	f.Add([]byte(`{"version":1,"name":"control","place":{"sequence":7,"token":"t","passed":"2026-03-02T12:00:00Z"},"written":"2026-03-02T12:00:00Z"}`))
	f.Add([]byte(`{"version":1,"name":"a","last_success":"0000-01-01T00:00:00Z","failures":-1}`))
	f.Add([]byte(`{"version":18446744073709551616,"name":"a"}`))
	f.Fuzz(func(t *testing.T, content []byte) {
		s, err := parseState(content)
		if err != nil {
			return
		}
		s.Name = "a"
		dir := t.TempDir()
		if err := s.write(dir); err != nil {
			return // an instant that JSON cannot say
		}
		again, err := os.ReadFile(filepath.Join(dir, "a.json"))
		if err != nil {
			t.Fatal(err)
		}
		read, err := parseState(again)
		if diff := cmp.Diff(s, read); err != nil || diff != "" {
			t.Fatalf("%v\n-was +is:\n%s", err, diff)
		}
	})
}

// Whatever lies in a file of a notice that was set aside, it is refused or says the same
// when it is written and read again.
func FuzzParseAside(f *testing.F) {
	f.Add([]byte(`{"version":1,"subscription":"control","id":"7-ab","source":"/x","time":"2026-03-02T07:30:00Z","notice":{"kind":"defect.found","reasons":["r"],"defect":{"name":"d"}},"tries":20}`))
	f.Add([]byte(`{"version":1,"subscription":"","id":"7","source":"/x"}`))
	f.Add([]byte(`{"version":2}`))
	f.Fuzz(func(t *testing.T, content []byte) {
		a, err := parseAside(content)
		if err != nil || a.Version != asideVersion {
			return
		}
		a.Subscription, a.ID = "a", "7"
		dir := t.TempDir()
		if err := a.write(dir); err != nil {
			return // an instant that JSON cannot say
		}
		read, err := readAside(asidePath(dir, "a", "7"))
		if diff := cmp.Diff(a, read); err != nil || diff != "" {
			t.Fatalf("%v\n-was +is:\n%s", err, diff)
		}
	})
}
