package station

import (
	"context"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/admit"
	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// ChangeAssistant notes who assists in a round from now on. Naming the one who
// assists already changes nothing.
func (s *Station) ChangeAssistant(ctx context.Context, req *pb.ChangeAssistantRequest) (*pb.ChangeAssistantResponse, error) {
	if err := checkDeviceTime(req); err != nil {
		return nil, err
	}
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.ChangeAssistantResponse, error) {
		_, r, err := c.state.running(req.GetRound())
		if err != nil {
			return nil, err
		}
		if err := c.state.mayAssist(req.GetAssistant(), r.round.GetDriver(), deviceTimeOf(req)); err != nil {
			return nil, err
		}
		if err := c.mayOnce(req.GetAssistant(), admit.TakeOver, req.GetDeviceTime()); err != nil {
			return nil, err
		}
		if req.GetAssistant() != r.round.GetAssistant() {
			ev := &pb.JournalEvent{Event: &pb.JournalEvent_AssistantChanged{AssistantChanged: &pb.AssistantChanged{
				Round: r.name(), Assistant: req.GetAssistant(),
			}}}
			if err := c.happen(r.event(ev, req), nil); err != nil {
				return nil, err
			}
		}
		return &pb.ChangeAssistantResponse{Round: r.progress().message()}, nil
	})
	return resp, err
}

// mayAssist refuses an assistant who is unknown or erased, or the driver; empty is
// alone. device is when the assistant came, by the device's clock.
func (st *state) mayAssist(assistant, driver string, device time.Time) error {
	if assistant == "" {
		return nil
	}
	if err := st.lib.active(assistant, device); err != nil {
		return err
	}
	if assistant == driver {
		return fault.New(fault.Invalid, "ASSISTANT_IS_DRIVER", "driver and assistant are the same person; leave the assistant empty when the driver is alone").
			At("assistant", "%s is the driver", assistant)
	}
	return nil
}

// assistantChanged puts another assistant into a round.
func (st *state) assistantChanged(v *vehicle, e *pb.AssistantChanged, rows *rowSet) error {
	r := v.rounds[e.GetRound()]
	if r == nil {
		return unknownRound(e.GetRound())
	}
	r.frame = r.assistedBy(e.GetAssistant())
	return st.putRound(r, rows)
}

// assistedBy returns the frame with another assistant.
func (f *frame) assistedBy(assistant string) *frame {
	g := *f
	g.round = proto.CloneOf(f.round)
	g.round.Assistant = assistant
	return &g
}
