package rpc

import (
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
)

// FuzzCalls sends any bytes as the request of any method, over a real socket,
// through everything a call goes through. No call may end in UNKNOWN or INTERNAL,
// and none may end the process.
func FuzzCalls(f *testing.F) {
	all := methods(f)
	for i, m := range all {
		bytes, err := proto.Marshal(m.sampleOfCall)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(uint8(i), bytes)
		f.Add(uint8(i), bytes[:len(bytes)/2])
	}
	_, conn := serve(f, openStation(f), Options{})
	f.Fuzz(func(t *testing.T, which uint8, bytes []byte) {
		m := all[int(which)%len(all)]
		if m.in.Descriptor().Name() == "FollowRequest" {
			bytes = append(bytes, 0x18, 0x01) // stop_at_end: the last word counts, and nobody waits for news
		}
		switch code := status.Code(m.callRaw(t.Context(), conn, bytes)); code {
		case codes.Unknown, codes.Internal:
			t.Errorf("%s with %x ends in %v", m.name, bytes, code)
		}
	})
}
