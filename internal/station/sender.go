package station

import (
	"context"

	"google.golang.org/protobuf/proto"

	"bayround/internal/admit"
	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// sentBy is under what a context holds who sent a command.
type sentBy struct{}

// SentBy returns a context in which commands are recorded as sent by who is named: the
// station is told by whoever has the connection, and believes no request about it.
func SentBy(ctx context.Context, who *pb.Sender) context.Context {
	return context.WithValue(ctx, sentBy{}, who)
}

// senderOf is who sent a command; nil for what a station does by itself.
func senderOf(ctx context.Context) *pb.Sender {
	who, _ := ctx.Value(sentBy{}).(*pb.Sender)
	return who
}

// ReasonProof is the reason for which a program is not believed that somebody has proven
// who they are.
const ReasonProof = "PROOF_NOT_VOUCHED"

// vouched refuses a request that says that somebody has proven who they are, when it comes
// from a program that is not believed that. A tablet's own station and the plain text
// of the own machine have nobody's certificate and are believed.
func vouched(by *pb.Sender, request proto.Message) error {
	if by == nil || by.GetPlainText() {
		return nil
	}
	for _, claimed := range admit.Claims(request) {
		if admit.MayClaim(by.GetRole(), claimed) {
			continue
		}
		if claimed == pb.Proof_PROOF_CERTIFICATE {
			return fault.New(fault.Denied, ReasonProof, "%s is let in as %s, which names nobody by its certificate; take the person's PIN, or sign with server sign", by.GetClient(), admit.Word(by.GetRole()))
		}
		return fault.New(fault.Denied, ReasonProof, "%s is let in as %s, and that somebody gave a PIN the station takes from an enrolled tablet alone; sign at a tablet, or as PROOF_CERTIFICATE", by.GetClient(), admit.Word(by.GetRole()))
	}
	return nil
}

// late tells that a command may be delivered later than it was given: by a tablet, which has
// looked at the roles of people then. Of plain text nobody knows that it was none.
func late(by *pb.Sender) bool {
	return by == nil || by.GetPlainText() || by.GetRole() == pb.ClientRole_CLIENT_ROLE_TABLET
}
