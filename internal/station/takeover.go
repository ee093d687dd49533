package station

import (
	"context"

	"google.golang.org/protobuf/proto"

	"bayround/internal/admit"
	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// ConfirmHandOver records that a vehicle was handed over from one driver to the next. Who
// they are was proven where they signed in; a station does not know their PINs.
func (s *Station) ConfirmHandOver(ctx context.Context, req *pb.ConfirmHandOverRequest) (*pb.ConfirmHandOverResponse, error) {
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.ConfirmHandOverResponse, error) {
		r, err := c.state.recall(req.GetRound())
		if err != nil {
			return nil, err
		}
		if r == nil {
			return nil, unknown("round", req.GetRound())
		}
		v := c.state.vehicles[r.vehicle()]
		if err := c.mayHandOver(v, r, req); err != nil {
			return nil, err
		}
		ev := &pb.JournalEvent{
			Person: req.GetOnComing(), Device: req.GetDevice(), DeviceTime: req.GetOnComingConfirmed(), Vehicle: v.name,
			Event: &pb.JournalEvent_HandedOver{HandedOver: &pb.HandOver{
				Round: r.name(), OffGoing: req.GetOffGoing(), OnComing: req.GetOnComing(), TextSha256: req.GetTextSha256(),
				OffGoingConfirmed: req.GetOffGoingConfirmed(), OnComingConfirmed: req.GetOnComingConfirmed(), Device: req.GetDevice(),
			}},
		}
		if err := c.happen(ev, nil); err != nil {
			return nil, err
		}
		return &pb.ConfirmHandOverResponse{HandOver: ev.GetHandedOver(), Sequence: ev.GetSequence()}, nil
	})
	return resp, err
}

func (c *command) mayHandOver(v *vehicle, r *round, req *pb.ConfirmHandOverRequest) error {
	at := req.GetOnComingConfirmed().AsTime()
	switch before := v.happenings.told.GetHandOver(); {
	case req.GetOffGoing() == req.GetOnComing():
		return fault.New(fault.Precondition, "SAME_PERSON", "one person cannot hand over to themself; the driver who takes over confirms it").At("on_coming", "is the one who hands over")
	case r.live():
		return fault.New(fault.Precondition, "ROUND_NOT_ENDED", "what is handed over is told when a round ends; finish it or give it up first")
	case before != nil && before.GetOnComingConfirmed().AsTime().After(at):
		return fault.New(fault.Precondition, "HANDED_OVER_SINCE", "the vehicle was handed over at %s already; what is confirmed now was before that", clockWords(before.GetOnComingConfirmed().AsTime()))
	}
	for _, person := range []string{req.GetOffGoing(), req.GetOnComing()} {
		if err := c.state.lib.active(person, at); err != nil {
			return err
		}
		if err := c.mayOnce(person, admit.Drive, req.GetOnComingConfirmed()); err != nil {
			return err
		}
	}
	return nil
}

func (st *state) handedOver(v *vehicle, h *pb.HandOver, rows *rowSet) error {
	told := proto.CloneOf(v.happenings.told)
	told.HandOver = h
	return st.putHappenings(v, told, rows)
}
