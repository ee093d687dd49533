package rpc

import (
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	pb "bayround/proto/bayround/v1"
)

func state(vehicle string, sequence int64) *pb.WatchReadinessResponse {
	return &pb.WatchReadinessResponse{Message: &pb.WatchReadinessResponse_Readiness{Readiness: &pb.Readiness{
		Vehicle: vehicle, Sequence: sequence, Verdict: pb.Verdict_VERDICT_FIT,
	}}}
}

func TestEncodings_MakeTheBytesOfAStateOnce(t *testing.T) {
	e := newEncodings()
	told := state("vehicles/wn11", 7)
	first, ok := e.of(told).(encoded)
	if !ok {
		t.Fatal("a state is not encoded")
	}
	var all sync.WaitGroup
	for range 50 {
		all.Go(func() {
			if again := e.of(told).(encoded); &again[0] != &first[0] {
				t.Error("the same state was encoded again")
			}
		})
	}
	all.Wait()
	other := e.of(state("vehicles/wn12", 7)).(encoded)
	if again := e.of(told).(encoded); &again[0] != &first[0] || &other[0] == &first[0] {
		t.Error("another vehicle's state took its place")
	}
}

func TestEncodings_KeepTheNewestAndStillTellTheOlder(t *testing.T) {
	e := newEncodings()
	older, newer := state("vehicles/wn11", 7), state("vehicles/wn11", 8)
	kept := e.of(newer).(encoded)
	for _, told := range []*pb.WatchReadinessResponse{older, newer} {
		sent, err := newCodec().Marshal(e.of(told))
		if err != nil {
			t.Fatal(err)
		}
		got := &pb.WatchReadinessResponse{}
		if err := newCodec().Unmarshal(sent, got); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(told, got, protocmp.Transform()); diff != "" {
			t.Errorf("another state was told (-want +got):\n%s", diff)
		}
	}
	if again := e.of(newer).(encoded); &again[0] != &kept[0] {
		t.Error("an older state took the newest one's place")
	}
	if again := e.of(state("vehicles/wn11", 9)).(encoded); &again[0] == &kept[0] {
		t.Error("the newest state is not told")
	}
}

func TestEncodings_LeaveWhatIsNoState(t *testing.T) {
	beat := &pb.WatchReadinessResponse{Message: &pb.WatchReadinessResponse_Heartbeat{Heartbeat: &pb.Heartbeat{Sequence: 7}}}
	if newEncodings().of(beat) != any(beat) {
		t.Error("a heartbeat was kept")
	}
}

func TestCodec_MarksWhatItCannotRead(t *testing.T) {
	good := &pb.GetRoundRequest{Name: "rounds/x"}
	bytes, err := proto.Marshal(good)
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name  string
		bytes []byte
		want  bool
	}{
		{"a request", bytes, true},
		{"nothing at all is the empty request", nil, true},
		{"cut short", bytes[:len(bytes)-1], false},
		{"text that is no UTF-8", []byte{0x0a, 0x01, 0xff}, false},
		{"a field of a newer proto is carried along", append(bytes, 0x78, 0x01), true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			sent, err := newCodec().Marshal(encoded(tc.bytes))
			if err != nil {
				t.Fatal(err)
			}
			got := &pb.GetRoundRequest{}
			if err := newCodec().Unmarshal(sent, got); err != nil {
				t.Fatal(err)
			}
			if readable(got) != tc.want {
				t.Errorf("readable = %v, want %v", !tc.want, tc.want)
			}
			if !tc.want && got.GetName() != "" {
				t.Errorf("something of it was read: %v", got)
			}
		})
	}
}
