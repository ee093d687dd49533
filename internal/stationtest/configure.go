package stationtest

import (
	"context"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// Altered returns the small configuration with texts replaced, old and new in
// turn; every old one must be there.
func (k *Kit) Altered(oldNew ...string) []*pb.NamedFile {
	k.T.Helper()
	text := string(small)
	for i := 0; i < len(oldNew); i += 2 {
		if !strings.Contains(text, oldNew[i]) {
			k.T.Fatalf("the small configuration has no %q", oldNew[i])
		}
		text = strings.ReplaceAll(text, oldNew[i], oldNew[i+1])
	}
	return []*pb.NamedFile{{FileName: "small.yaml", Content: []byte(text)}}
}

// ApplyAltered puts the small configuration with texts replaced in force.
func (k *Kit) ApplyAltered(oldNew ...string) *pb.ApplyResponse {
	k.T.Helper()
	resp, err := k.Apply(context.Background(), &pb.ApplyRequest{RequestId: k.ID(), Files: k.Altered(oldNew...)})
	if err != nil {
		k.T.Fatalf("applying: %v", err)
	}
	return resp
}
