package station

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/types/known/emptypb"

	pb "bayround/proto/bayround/v1"
)

// RecordTrust makes part of the record who was let in, who is kept out, and who was
// refused what. No verdict rests on it. The same id records it once.
func (s *Station) RecordTrust(ctx context.Context, id string, ev *pb.JournalEvent) error {
	if !ofTrust(ev) {
		return fmt.Errorf("%T tells nothing of who may call the station", ev.GetEvent())
	}
	_, _, err := run(ctx, s, id, ev, func(c *command) (*emptypb.Empty, error) {
		return &emptypb.Empty{}, c.happen(&pb.JournalEvent{Event: ev.GetEvent(), Person: ev.GetPerson(), Device: ev.GetDevice(), DeviceTime: ev.GetDeviceTime()}, nil)
	})
	return err
}

// ofTrust tells that an event says who may call the station.
func ofTrust(ev *pb.JournalEvent) bool {
	switch ev.GetEvent().(type) {
	case *pb.JournalEvent_EnrolmentOpened, *pb.JournalEvent_ClientAdmitted, *pb.JournalEvent_ClientRenewed,
		*pb.JournalEvent_ClientRevoked, *pb.JournalEvent_AccessDenied, *pb.JournalEvent_AuthorityRotated, *pb.JournalEvent_AuthorityRetired:
		return true
	}
	return false
}
