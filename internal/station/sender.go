package station

import (
	"context"

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
