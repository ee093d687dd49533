package fault_test

import (
	"errors"
	"fmt"
	"testing"

	"bayround/internal/fault"
)

func TestIs_SeesThroughWrapping(t *testing.T) {
	inner := fault.New(fault.Stale, "REVISION_STALE", "revision %d is not the newest", 3)
	wrapped := fmt.Errorf("apply configuration: %w", inner)
	if !fault.Is(wrapped, fault.Stale) {
		t.Errorf("Is(%v, Stale) = false", wrapped)
	}
	if fault.Is(wrapped, fault.Invalid) || fault.Is(errors.New("plain"), fault.Stale) {
		t.Error("Is sees a fault where there is none")
	}
}

func TestBecause_KeepsTheCause(t *testing.T) {
	cause := errors.New("input/output error")
	f := fault.New(fault.Lost, "RECORD_DAMAGED", "event 7 does not match its hash").Because(cause).At("events.7", "hash differs")
	if !errors.Is(f, cause) {
		t.Errorf("%v does not unwrap to its cause", f)
	}
	if got, want := f.Error(), "event 7 does not match its hash: input/output error"; got != want {
		t.Errorf("Error() = %q, want %q", got, want)
	}
	if len(f.Fields) != 1 || f.Fields[0].Path != "events.7" {
		t.Errorf("Fields = %v", f.Fields)
	}
}

func TestKind_NamesEachOne(t *testing.T) {
	seen := map[string]bool{}
	for k := fault.Invalid; k <= fault.Unidentified; k++ {
		if name := k.String(); seen[name] || name == fmt.Sprintf("kind %d", int(k)) {
			t.Errorf("kind %d has no name of its own: %q", int(k), name)
		} else {
			seen[name] = true
		}
	}
	if got := fault.Kind(99).String(); got != "kind 99" {
		t.Errorf("unknown kind = %q", got)
	}
}
