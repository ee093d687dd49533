package round

import (
	"context"
	"crypto/sha256"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// A hand-over has two sides: who drove the round confirms the words with a PIN, then who
// takes over does, on the same page, so that both have read the same. Until then the page
// says that it is not confirmed. The driver who takes over may come later: the words stay,
// and can be gone back to, with what has become of what they speak of.

// confirmHandOver is the word of who hands over.
func (d *Desk) confirmHandOver(ctx context.Context, a Act) error {
	s := d.session
	if err := d.checkPIN(ctx, s.Closed.Driver, a.Values["pin"]); err != nil {
		return err
	}
	s.Closed.GivenAt = d.wall().UTC().Format(time.RFC3339Nano)
	return nil
}

// takeOver is the word of who takes over; with it the hand-over is recorded.
func (d *Desk) takeOver(ctx context.Context, a Act) error {
	s, person := d.session, a.Values["person"]
	given, err := time.Parse(time.RFC3339Nano, s.Closed.GivenAt)
	switch {
	case err != nil:
		return fault.New(fault.Precondition, "NOT_HANDED_OVER", "who drove the round confirms first; then who takes over")
	case s.Closed.TakenBy != "":
		return fault.New(fault.Precondition, "TAKEN_OVER", "this was taken over already")
	case person == s.Closed.Driver:
		return fault.New(fault.Precondition, "SAME_PERSON", "one person cannot hand over to themself; the driver who takes over confirms it")
	case d.scene.person(person) == nil || d.scene.person(person).GetErased():
		return fault.New(fault.NotFound, "PERSON_UNKNOWN", "this person is not on the station's list")
	}
	if err := d.checkPIN(ctx, person, a.Values["pin"]); err != nil {
		return err
	}
	text := sha256.Sum256([]byte(s.Closed.Handover))
	taken := d.wall()
	if taken.Before(given) {
		taken = given // the tablet's clock was set back in between
	}
	return d.command(ctx, &pending{Kind: commandHandOver}, &pb.ConfirmHandOverRequest{
		RequestId: uuid.NewString(), Round: s.Round, OffGoing: s.Closed.Driver, OnComing: person, TextSha256: text[:],
		OffGoingConfirmed: timestamppb.New(given), OnComingConfirmed: timestamppb.New(taken), Device: d.device,
	})
}

func (d *Desk) handedOver(_ context.Context, req *pb.ConfirmHandOverRequest, _ *pb.ConfirmHandOverResponse) error {
	if d.session.Closed != nil {
		d.session.Closed.TakenBy = req.GetOnComing()
	}
	return nil
}
