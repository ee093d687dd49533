package rpc

import (
	"sync"

	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"
)

// encodings keeps the bytes of the newest readiness of each vehicle, so that a
// state told to a thousand watchers is encoded once. A watcher that is given an
// older message than the newest has it encoded for itself. It holds one message
// for each vehicle.
//
// It relies on the station never changing a message it has handed out.
type encodings struct {
	mu  sync.Mutex // guards all; held while encoding, so that others wait for the bytes instead of making them too
	all map[string]sharedBytes
}

type sharedBytes struct {
	of    *pb.WatchReadinessResponse
	bytes encoded
}

func newEncodings() *encodings { return &encodings{all: map[string]sharedBytes{}} }

// of returns what to hand to SendMsg for resp: its bytes, or resp itself when it
// is not a state.
func (e *encodings) of(resp *pb.WatchReadinessResponse) any {
	state := resp.GetReadiness()
	if state == nil {
		return resp
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	known := e.all[state.GetVehicle()]
	if known.of == resp {
		return known.bytes
	}
	bytes, err := proto.Marshal(resp)
	if err != nil {
		return resp // the codec will meet the same error and say so
	}
	if known.of.GetReadiness().GetSequence() <= state.GetSequence() {
		e.all[state.GetVehicle()] = sharedBytes{of: resp, bytes: bytes}
	}
	return encoded(bytes)
}
