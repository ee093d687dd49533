package durable_test

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"

	"bayround/internal/durable"
)

// The test binary runs itself with these set.
const (
	childStop = "BAYROUND_DURABLE_STOP" // the step after which the child kills itself, or "none"
	childFile = "BAYROUND_DURABLE_FILE"
)

// steps are what it takes to replace a file, in order; after the last the new
// content must be there.
var steps = []string{"begin", "half", "write", "seal", "place"}

func TestMain(m *testing.M) {
	if stop := os.Getenv(childStop); stop != "" {
		runtime.LockOSThread() // strace counts the calls of each thread apart
		if err := replaceUntil(stop, os.Getenv(childFile)); err != nil {
			os.Stderr.WriteString(err.Error() + "\n")
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// replaceUntil replaces a file and dies after a step.
func replaceUntil(stop, path string) error {
	d, err := durable.Begin(path)
	if err != nil {
		return err
	}
	defer d.Discard()
	half := len(newContent) / 2
	for _, step := range steps {
		switch step {
		case "half":
			_, err = d.Write([]byte(newContent[:half]))
		case "write":
			_, err = d.Write([]byte(newContent[half:]))
		case "seal":
			err = d.Seal()
		case "place":
			err = d.Place()
		}
		if err != nil {
			return err
		}
		if step == stop {
			if err := syscall.Kill(os.Getpid(), syscall.SIGKILL); err != nil {
				return err
			}
			select {} // until the kill arrives
		}
	}
	return nil
}

func child(path, stop string, under ...string) *exec.Cmd {
	args := append(under, os.Args[0])
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Env = append(os.Environ(), childStop+"="+stop, childFile+"="+path)
	return cmd
}

// A kill between any two steps leaves the old or the new content, whole, and the
// next attempt gets through and clears up.
func TestKill_AfterEachStep(t *testing.T) {
	for n, stop := range steps {
		t.Run(stop, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, "file")
			write(t, path, oldContent)
			err := child(path, stop).Run()
			var exit *exec.ExitError
			if !errors.As(err, &exit) || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
				t.Fatalf("the child was not killed: %v", err)
			}
			want := oldContent
			if n == len(steps)-1 {
				want = newContent
			}
			if b, err := os.ReadFile(path); string(b) != want || err != nil {
				t.Errorf("killed after %q the file holds %q, %v; want %q", stop, b, err, want)
			}
			if err := durable.Replace(path, []byte("a third content\n")); err != nil {
				t.Fatal(err)
			}
			hasOnly(t, dir, "a third content\n")
		})
	}
}

// underStrace runs a child to its end under strace and returns the calls that it
// made to change the directory, in order; nil error when the child ended well.
func underStrace(t *testing.T, dir string, more ...string) (calls []string, childErr error) {
	t.Helper()
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Skip("skipped: needs strace")
	}
	out := filepath.Join(t.TempDir(), "trace")
	under := append([]string{strace, "-f", "-qq", "-y", "-e", "trace=openat,write,fsync,fdatasync,rename,renameat,renameat2,unlinkat", "-o", out}, more...)
	b, childErr := child(filepath.Join(dir, "file"), "none", under...).CombinedOutput()
	if strings.Contains(string(b), "ptrace") {
		t.Skipf("skipped: needs strace that may trace: %s", b)
	}
	trace, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	quoted := regexp.QuoteMeta(dir)
	kinds := []struct {
		name string
		is   *regexp.Regexp
	}{
		{"open", regexp.MustCompile(`openat\(.*"` + quoted + `/file\.new", .*O_CREAT`)},
		{"write", regexp.MustCompile(`write\(\d+<` + quoted + `/file\.new>`)},
		{"flush the file", regexp.MustCompile(`f(data)?sync\(\d+<` + quoted + `/file\.new>`)},
		{"rename", regexp.MustCompile(`rename.*"` + quoted + `/file\.new".*"` + quoted + `/file"`)},
		{"flush the directory", regexp.MustCompile(`f(data)?sync\(\d+<` + quoted + `>`)},
		{"remove", regexp.MustCompile(`unlinkat\(.*"` + quoted + `/file\.new"`)},
	}
	for line := range strings.Lines(string(trace)) {
		for _, k := range kinds {
			if k.is.MatchString(line) {
				calls = append(calls, k.name)
			}
		}
	}
	return calls, childErr
}

// A killed process leaves its writes with the kernel, so a kill cannot tell whether
// anything is flushed; the system calls can.
func TestPlace_FlushesTheFileThenRenamesThenFlushesTheDirectory(t *testing.T) {
	dir := t.TempDir()
	calls, err := underStrace(t, dir)
	want := []string{"open", "write", "write", "flush the file", "rename", "flush the directory"}
	if err != nil || !slices.Equal(calls, want) {
		t.Errorf("%v, %q; want %q", err, calls, want)
	}
	hasOnly(t, dir, newContent)
}

// A flush that fails is told and not tried again: that of the file before anything
// has changed, that of the directory after.
func TestPlace_TellsOfAFailedFlush(t *testing.T) {
	for _, tc := range []struct {
		which string
		when  string
		holds string
		calls []string
	}{
		{"of the file", "1", oldContent, []string{"open", "write", "write", "flush the file", "remove"}},
		{"of the directory", "2", newContent, []string{"open", "write", "write", "flush the file", "rename", "flush the directory"}},
	} {
		t.Run(tc.which, func(t *testing.T) {
			dir := t.TempDir()
			write(t, filepath.Join(dir, "file"), oldContent)
			calls, err := underStrace(t, dir, "-e", "inject=fsync:error=EIO:when="+tc.when)
			if err == nil {
				t.Error("the failed flush was not told")
			}
			if !slices.Equal(calls, tc.calls) {
				t.Errorf("%q, want %q", calls, tc.calls)
			}
			hasOnly(t, dir, tc.holds)
		})
	}
}
