package station

import (
	"context"

	"bayround/internal/admit"
	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// Who is locked out of a tablet stands on that tablet, and nothing a station decides rests
// on it: it is recorded so that an officer hears of it.

// ReportLockOut records that wrong PINs locked somebody out of a tablet.
func (s *Station) ReportLockOut(ctx context.Context, req *pb.ReportLockOutRequest) (*pb.ReportLockOutResponse, error) {
	if err := checkDeviceTime(req); err != nil {
		return nil, err
	}
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.ReportLockOutResponse, error) {
		if err := c.state.lib.active(req.GetLocked(), deviceTimeOf(req)); err != nil {
			return nil, err
		}
		ev := &pb.JournalEvent{
			Device: req.GetDevice(), DeviceTime: req.GetDeviceTime(),
			Event: &pb.JournalEvent_LockedOut{LockedOut: &pb.LockedOut{Locked: req.GetLocked(), Failures: req.GetFailures()}},
		}
		if err := c.happen(ev, nil); err != nil {
			return nil, err
		}
		return &pb.ReportLockOutResponse{Sequence: ev.GetSequence()}, nil
	})
	return resp, err
}

// ReportUnlock records that somebody who was locked out may sign in again. Whether they were
// locked out the tablet knows alone.
func (s *Station) ReportUnlock(ctx context.Context, req *pb.ReportUnlockRequest) (*pb.ReportUnlockResponse, error) {
	if err := checkDeviceTime(req); err != nil {
		return nil, err
	}
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.ReportUnlockResponse, error) {
		if err := c.mayUnlock(req); err != nil {
			return nil, err
		}
		ev := &pb.JournalEvent{
			Person: req.GetPerson(), Device: req.GetDevice(), DeviceTime: req.GetDeviceTime(),
			Event: &pb.JournalEvent_Unlocked{Unlocked: &pb.Unlocked{Unlocked: req.GetUnlocked()}},
		}
		if err := c.happen(ev, nil); err != nil {
			return nil, err
		}
		return &pb.ReportUnlockResponse{Sequence: ev.GetSequence()}, nil
	})
	return resp, err
}

func (c *command) mayUnlock(req *pb.ReportUnlockRequest) error {
	if err := c.state.lib.active(req.GetUnlocked(), deviceTimeOf(req)); err != nil {
		return err
	}
	switch req.GetPerson() {
	case "":
		return nil // by a command on the tablet; who gave it nobody knows
	case req.GetUnlocked():
		return fault.New(fault.Precondition, "SAME_PERSON", "nobody unlocks themself; another officer does it").At("person", "is the one who is unlocked")
	}
	if err := c.state.lib.active(req.GetPerson(), deviceTimeOf(req)); err != nil {
		return err
	}
	return c.mayOnce(req.GetPerson(), admit.Unlock, req.GetDeviceTime())
}

// ofLocks tells that an event says who is locked out of a tablet.
func ofLocks(ev *pb.JournalEvent) bool { return ev.GetLockedOut() != nil || ev.GetUnlocked() != nil }
