package rpc

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
)

// kinds are all kinds of fault with the code each must become. Source: the brief
// of the contract in proto/bayround/v1 and the meaning of the codes in google/rpc/code.proto.
var kinds = []struct {
	kind fault.Kind
	code codes.Code
}{
	{fault.Invalid, codes.InvalidArgument},
	{fault.NotFound, codes.NotFound},
	{fault.Exists, codes.AlreadyExists},
	{fault.Precondition, codes.FailedPrecondition},
	{fault.Stale, codes.Aborted},
	{fault.Denied, codes.PermissionDenied},
	{fault.Exhausted, codes.ResourceExhausted},
	{fault.Unavailable, codes.Unavailable},
	{fault.Lost, codes.DataLoss},
	{fault.OutOfRange, codes.OutOfRange},
	{fault.Unidentified, codes.Unauthenticated},
}

func TestToStatus_GivesEveryKindItsCodeAndDetails(t *testing.T) {
	for _, k := range kinds {
		t.Run(k.kind.String(), func(t *testing.T) {
			f := fault.New(k.kind, "A_REASON", "what is wrong; what to do").Because(errors.New("secret")).At("a.field", "must be so")
			s := toStatus(fmt.Errorf("doing something: %w", f), "id")
			if s.Code() != k.code || s.Message() != "what is wrong; what to do" {
				t.Errorf("status = %v %q, want %v and the fault's own words", s.Code(), s.Message(), k.code)
			}
			info := detail[*errdetails.ErrorInfo](t, s)
			if info.GetReason() != "A_REASON" || info.GetDomain() != "bayround" {
				t.Errorf("ErrorInfo = %v", info)
			}
			if strings.Contains(s.Proto().String(), "secret") {
				t.Errorf("the cause left the house: %v", s.Proto())
			}
			switch k.kind {
			case fault.Precondition:
				v := detail[*errdetails.PreconditionFailure](t, s).GetViolations()
				if len(v) != 1 || v[0].GetType() != "A_REASON" || v[0].GetSubject() != "a.field" || v[0].GetDescription() != "must be so" {
					t.Errorf("PreconditionFailure = %v", v)
				}
			default:
				v := detail[*errdetails.BadRequest](t, s).GetFieldViolations()
				if len(v) != 1 || v[0].GetField() != "a.field" || v[0].GetDescription() != "must be so" {
					t.Errorf("BadRequest = %v", v)
				}
			}
			if k.kind == fault.Unavailable && detail[*errdetails.RetryInfo](t, s).GetRetryDelay().AsDuration() <= 0 {
				t.Error("an unavailable station does not say when to try again")
			}
		})
	}
}

func TestToStatus_PreconditionWithoutFieldsStillSaysWhat(t *testing.T) {
	s := toStatus(fault.New(fault.Precondition, "ROUND_ENDED", "the round has ended"), "")
	v := detail[*errdetails.PreconditionFailure](t, s).GetViolations()
	if len(v) != 1 || v[0].GetType() != "ROUND_ENDED" || v[0].GetDescription() != "the round has ended" {
		t.Errorf("PreconditionFailure = %v", v)
	}
}

func TestToStatus_NeverTellsWhatItDoesNotKnow(t *testing.T) {
	for _, tc := range []struct {
		name string
		err  error
		code codes.Code
	}{
		{"a plain error", errors.New("open /var/lib/secret: no such file"), codes.Internal},
		{"a fault of no known kind", fault.New(fault.Kind(99), "X", "secret"), codes.Internal},
		{"an unknown status", status.Error(codes.Unknown, "secret"), codes.Internal},
		{"a broken stream", status.Error(codes.Unavailable, "transport is closing"), codes.Unavailable},
		{"the caller went away", fmt.Errorf("secret: %w", context.Canceled), codes.Canceled},
		{"the time ran out", fmt.Errorf("secret: %w", context.DeadlineExceeded), codes.DeadlineExceeded},
		{"nothing", nil, codes.OK},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := toStatus(tc.err, "req-7")
			if s.Code() != tc.code {
				t.Errorf("code = %v, want %v", s.Code(), tc.code)
			}
			if strings.Contains(s.Proto().String(), "secret") {
				t.Errorf("the status tells %v", s.Proto())
			}
			if tc.code == codes.Internal && detail[*errdetails.ErrorInfo](t, s).GetMetadata()["request_id"] != "req-7" {
				t.Errorf("an internal error does not name the request: %v", s.Proto())
			}
		})
	}
}

func TestToStatus_FitsIntoATrailer(t *testing.T) {
	f := fault.New(fault.Invalid, "CONFIGURATION_BAD", "%s", strings.Repeat("ä", 5000))
	for i := range 400 {
		f = f.At(fmt.Sprintf("files[%d]", i), "line %d: %s", i, strings.Repeat("\xff", 100))
	}
	s := toStatus(f, "")
	const accepted = 8 << 10 // grpc-core, grpc-java: default limit of metadata
	if size := proto.Size(s.Proto())*4/3 + 3*len(s.Message()); size > accepted+3*maxMessageBytes {
		t.Errorf("the status takes %d bytes of trailer", size)
	}
	if size := proto.Size(s.Proto()); size > 6<<10 {
		t.Errorf("the status has %d bytes, want at most 6 KiB", size)
	}
	if !utf8.ValidString(s.Message()) {
		t.Error("the message was cut inside a character")
	}
	sent := len(detail[*errdetails.BadRequest](t, s).GetFieldViolations())
	left := detail[*errdetails.ErrorInfo](t, s).GetMetadata()["violations_left_out"]
	if sent == 0 || left != fmt.Sprint(400-sent) {
		t.Errorf("%d violations sent, %q said to be left out, of 400", sent, left)
	}
}

func TestAsFault_IsTheSameFaultAgain(t *testing.T) {
	for _, k := range kinds {
		want := fault.New(k.kind, "A_REASON", "what is wrong").At("a.field", "must be so").At("b", "too")
		var got *fault.Fault
		if !errors.As(asFault(toStatus(want, "").Err()), &got) {
			t.Fatalf("%v does not come back as a fault", k.kind)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%v came back otherwise (-want +got):\n%s", k.kind, diff)
		}
	}
}

func TestAsFault_LeavesWhatIsNoFault(t *testing.T) {
	if err := asFault(io.EOF); !errors.Is(err, io.EOF) {
		t.Errorf("the end of a stream became %v", err)
	}
	if err := asFault(status.Error(codes.Canceled, "x")); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled call became %v", err)
	}
	if err := asFault(status.Error(codes.DeadlineExceeded, "x")); !fault.Is(err, fault.Unavailable) {
		t.Errorf("a call that ran out of time became %v", err)
	}
	var f *fault.Fault
	for _, tc := range []struct {
		err  error
		want string
	}{
		{status.Error(codes.Internal, "it broke"), "it broke"},
		{toStatus(errors.New("a bug"), "r-7").Err(), "the station could not do this; its log says why (request r-7)"},
		{status.Error(codes.Unimplemented, "unknown service x"), "the station does not know this call, it is of another version: unknown service x"},
	} {
		err := asFault(tc.err)
		if errors.As(err, &f) {
			t.Errorf("a bug of the station became the fault %v", err)
		}
		if _, known := status.FromError(err); err.Error() != tc.want || known {
			t.Errorf("%v is told as %q, want %q and nothing of gRPC", tc.err, err, tc.want)
		}
	}
}

// detail is the one detail of its kind that a status carries.
func detail[T any](t *testing.T, s *status.Status) T {
	t.Helper()
	var found []T
	for _, d := range s.Details() {
		if d, ok := d.(T); ok {
			found = append(found, d)
		}
	}
	if len(found) != 1 {
		t.Fatalf("%v carries %d details of type %T, want 1", s.Proto(), len(found), *new(T))
	}
	return found[0]
}
