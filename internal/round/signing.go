package round

import (
	"context"
	"encoding/hex"

	"github.com/google/uuid"

	"bayround/internal/fault"
	"bayround/internal/signature"
	pb "bayround/proto/bayround/v1"
)

// paper is what lies before somebody who signs.
type paper struct {
	content *pb.RoundContent
	shown   *pb.ShownToSigner
}

// paper is that of the round in hand, which leaves the vehicle with a readiness.
func (d *Desk) paper(ctx context.Context, ready *pb.Readiness) (paper, error) {
	s := d.session
	resp, err := d.twin.GetRoundContent(ctx, &pb.GetRoundContentRequest{Name: s.Round})
	if err != nil {
		return paper{}, err
	}
	note := s.endingNote()
	if s.Phase == PhaseSecond {
		note = d.scene.round.GetClosingNote()
	}
	return paper{resp.GetContent(), signature.Shown(ready, d.scene.round.GetPlanDigest(), note)}, nil
}

// seen stands for the whole paper, on the page that shows it.
func (p paper) seen() string {
	return hex.EncodeToString(signature.Of(p.content, p.shown, nil))
}

// signed is the paper with a person's signature, after the PIN has been checked.
func (d *Desk) signed(p paper, person string, as pb.Role) *pb.Signature {
	by := &pb.Signature{
		Person: person, SignedAs: as, Device: d.device, DeviceTime: d.deviceTime(),
		Proof: pb.Proof_PROOF_PIN, TabletAlone: !d.uplink.Link().Live,
	}
	if d.session.ByBadge && person == d.session.Driver {
		by.Proof = pb.Proof_PROOF_BADGE_AND_PIN
	}
	by.StatementSha256 = signature.Of(p.content, p.shown, by)
	return by
}

// lookAgain refuses a signature under a page that shows another paper than lies there now.
func (p paper) lookAgain(a Act) error {
	if seen := a.Values["seen"]; seen != "" && seen != p.seen() {
		return fault.New(fault.Precondition, "CHANGED_BEFORE_SIGNING", "this has changed since the page was shown; look at it again, then sign")
	}
	return nil
}

// sign takes the PIN again and ends the round with the driver's signature under what was shown.
func (d *Desk) sign(ctx context.Context, a Act) error {
	s := d.session
	if undone := d.undoneHere(); len(undone) > 0 {
		return fault.New(fault.Precondition, "STILL_UNDONE", "put back first and say so: %s (%s)", undone[0].Title, undone[0].Place)
	}
	ready, _ := d.readinessOf(s.Vehicle, d.link())
	p, err := d.paper(ctx, ready)
	if err != nil {
		return err
	}
	if err := p.lookAgain(a); err != nil {
		return err
	}
	if err := d.checkPIN(ctx, s.Driver, a.Values["pin"]); err != nil {
		return err
	}
	return d.command(ctx, &pending{Kind: commandFinish}, &pb.FinishRoundRequest{
		RequestId: uuid.NewString(), Round: s.Round, Note: s.endingNote(), ShownVerdict: p.shown.GetVerdict(), DeviceTime: d.deviceTime(),
		Signature: d.signed(p, s.Driver, pb.Role_ROLE_DRIVER), Shown: p.shown,
	})
}
