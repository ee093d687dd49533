//go:build faultpoints

package faultpoint

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// The test binary runs itself with this set, and reaches a point some times.
const childTask = "FAULTPOINT_TEST_CHILD"

func TestMain(m *testing.M) {
	if os.Getenv(childTask) == "" {
		os.Exit(m.Run())
	}
	for range 5 {
		err := Hit(JournalAfterCommit)
		switch {
		case errors.Is(err, ErrInjected):
			os.Stdout.WriteString("error\n")
		case err != nil:
			os.Stdout.WriteString(err.Error() + "\n")
		default:
			os.Stdout.WriteString("nothing\n")
		}
	}
	os.Exit(0)
}

// runChild returns what the child printed and its exit code, -1 when it was killed.
func runChild(t *testing.T, plan string) (printed string, code int) {
	t.Helper()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), childTask+"=1", Variable+"="+plan)
	out, err := child.Output()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return string(out), child.ProcessState.ExitCode()
}

func TestHit_DoesWhatThePlanSays(t *testing.T) {
	for plan, want := range map[string]struct {
		printed string
		code    int
	}{
		"":                             {"nothing\nnothing\nnothing\nnothing\nnothing\n", 0},
		"journal.after-commit=error@2": {"nothing\nerror\nnothing\nnothing\nnothing\n", 0},
		"journal.after-commit=error@1,journal.after-commit=error@5": {"error\nnothing\nnothing\nnothing\nerror\n", 0},
		"journal.after-commit=error@1,journal.after-commit=exit@3":  {"error\nnothing\n", -1},
		"journal.before-commit=exit@1":                              {"nothing\nnothing\nnothing\nnothing\nnothing\n", 0},
		"journal.after-comit=exit@1":                                {"", 2},
		"journal.after-commit=exit":                                 {"", 2},
		"journal.after-commit=exit@0":                               {"", 2},
		"journal.after-commit=explode@1":                            {"", 2},
		"journal.after-commit=pause@1":                              {"", 2},
		"journal.after-commit=exit:here@1":                          {"", 2},
	} {
		if printed, code := runChild(t, plan); printed != want.printed || code != want.code {
			t.Errorf("%q: printed %q, exit code %d; want %q, %d", plan, printed, code, want.printed, want.code)
		}
	}
}

func TestHit_PausesUntilTheFileIsThere(t *testing.T) {
	file := filepath.Join(t.TempDir(), "on")
	paused := make(chan error, 1)
	go func() { paused <- pause(file) }()
	for {
		if _, err := os.Stat(file + ".reached"); err == nil {
			break
		}
	}
	select {
	case err := <-paused:
		t.Fatalf("it did not wait: %v", err)
	default:
	}
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := <-paused; err != nil {
		t.Error(err)
	}
}
