package station

import (
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// A tablet that was away from the station gives its commands late. They are
// carried out as they come, one after the other; the time at which they were
// given stays in the record, by the device's clock.

// timed is a request that may say when it was made, by the device's clock.
type timed interface {
	proto.Message
	GetDeviceTime() *timestamppb.Timestamp
}

// checkDeviceTime refuses a device time that is none. Devices need not say it.
func checkDeviceTime(req timed) error {
	if t := req.GetDeviceTime(); t != nil && !t.IsValid() {
		return invalid("DEVICE_TIME_WRONG", "device_time", "this is no instant between the years 1 and 9999")
	}
	return nil
}

// takes refuses what was done, by the device's clock, after the round was
// interrupted or ended. When that was, the station knows by its own clock and,
// where the device said so, by the device's, which may run ahead; whatever came
// before either of them is taken.
func (f *frame) takes(deviceTime time.Time) error {
	interrupted := f.changed
	if f.changedDevice != nil {
		interrupted = later(interrupted, f.changedDevice.AsTime())
	}
	switch {
	case f.state() == pb.RoundState_ROUND_STATE_OPEN || deviceTime.Before(interrupted):
		return nil
	case f.live():
		return paused()
	}
	return fault.New(fault.Precondition, "ROUND_ENDED", "this round was %s at %s; record it in a new round", stateWords(f.state()), clockWords(f.changed))
}

// begins refuses to begin a step while the round, which has not ended, is
// paused; what was begun before the pause is taken.
func (f *frame) begins(req timed) error {
	switch {
	case req.GetDeviceTime() != nil:
		return f.takes(req.GetDeviceTime().AsTime())
	case f.state() == pb.RoundState_ROUND_STATE_PAUSED:
		return paused()
	}
	return nil
}
