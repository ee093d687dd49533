package station_test

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"bayround/internal/fault"
)

func diff(want, got proto.Message) string { return cmp.Diff(want, got, protocmp.Transform()) }

// fataler is what stops a test: testing.T or rapid.T.
type fataler interface {
	Fatal(args ...any)
}

func unmarshal(t fataler, b []byte, m proto.Message) {
	if err := proto.Unmarshal(b, m); err != nil {
		t.Fatal(err)
	}
}

// refusal is what a command must be refused with; the zero value means: taken.
type refusal struct {
	kind   fault.Kind
	reason string
}

// check compares an error with the refusal.
func (r refusal) check(t *testing.T, err error) {
	t.Helper()
	var f *fault.Fault
	switch {
	case r.reason == "" && err != nil:
		t.Errorf("refused: %v", err)
	case r.reason != "" && !errors.As(err, &f):
		t.Errorf("not refused with %s: %v", r.reason, err)
	case r.reason != "" && (f.Kind != r.kind || f.Reason != r.reason):
		t.Errorf("refused as %v %s (%s), want %v %s", f.Kind, f.Reason, f.Message, r.kind, r.reason)
	}
}
