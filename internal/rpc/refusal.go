package rpc

import (
	"context"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"

	pb "bayround/proto/bayround/v1"
)

// refusal puts an error into the words of a stream that goes on. It maps as
// toStatus does, and the log hears of faults of ours as it does for a call.
func (c *chain) refusal(ctx context.Context, err error) *pb.Refusal {
	id := requestID(ctx)
	s := toStatus(err, id)
	c.logger.LogAttrs(ctx, levelOf(s.Code()), "result refused", attrs(s.Code(), err, id)...)
	r := &pb.Refusal{Code: int32(s.Code()), Message: s.Message()} //nolint:gosec // codes are 0 to 16
	if s.Code() == codes.DeadlineExceeded {
		r.Reason = reasonLate
	}
	var fields []string
	for _, detail := range s.Details() {
		switch d := detail.(type) {
		case *errdetails.ErrorInfo:
			r.Reason = d.GetReason()
		case *errdetails.BadRequest:
			for _, v := range d.GetFieldViolations() {
				fields = append(fields, v.GetField()+": "+v.GetDescription())
			}
		}
	}
	if len(fields) > 0 {
		r.Message += ": " + strings.Join(fields, "; ")
	}
	return r
}
