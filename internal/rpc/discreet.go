package rpc

import (
	"context"

	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"
)

// Records made before names and PINs stood apart hold hashes of PINs in their events.
// Nobody but the station's tablets is shown them.

// forTablets tells that a caller is shown hashes of PINs.
func forTablets(ctx context.Context) bool {
	return callerOf(ctx).Role == pb.ClientRole_CLIENT_ROLE_TABLET
}

// discreet is a message of a stream of events without the hashes of PINs in it; where
// there are none, the message itself. An event's exact bytes go with its hash.
func discreet(m *pb.FollowResponse) *pb.FollowResponse {
	var out *pb.FollowResponse
	for i, ev := range m.GetEvents().GetEvents() {
		if ev.GetPersonApplied().GetPinArgon2Id() == "" {
			continue
		}
		if out == nil {
			out = proto.CloneOf(m)
		}
		out.GetEvents().GetEvents()[i].GetPersonApplied().PinArgon2Id = ""
		if len(out.GetEvents().GetRecords()) > i {
			out.GetEvents().GetRecords()[i] = nil
		}
	}
	if out == nil {
		return m
	}
	return out
}

// discreetRecord is the exact bytes of an event; none where they hold the hash of a PIN.
func discreetRecord(record []byte) []byte {
	ev := &pb.JournalEvent{}
	if proto.Unmarshal(record, ev) == nil && ev.GetPersonApplied().GetPinArgon2Id() != "" {
		return nil
	}
	return record
}
