package rules

import (
	"crypto/sha256"
	"encoding/hex"

	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"
)

// Digest is the SHA-256, in hex, of the pack's deterministic serialisation. It
// changes when anything in the pack changes.
func Digest(pack *pb.RulePack) string {
	// Marshal fails only on text that is not UTF-8, which parsing has refused;
	// what it wrote up to there still tells packs apart.
	bytes, _ := proto.MarshalOptions{Deterministic: true}.Marshal(pack)
	sum := sha256.Sum256(bytes)
	return hex.EncodeToString(sum[:])
}
