package signature

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"slices"

	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"
)

// version of the statement that this package describes.
const version = 1

// MostOfStep is how many results of one step belong to the content of a round: those
// that came last.
const MostOfStep = 16

// AsGiven is a result without what a station works out: the same on the tablet that
// took it and at every station that it reached.
func AsGiven(r *pb.Result) *pb.Result {
	r = proto.CloneOf(r)
	r.StationTime, r.LookedAt, r.Round, r.GaugeOverdue, r.AirCelsius = nil, nil, "", false, nil
	for _, v := range r.GetReading().GetValues() {
		v.Si = 0
	}
	for _, s := range r.GetProfile().GetSections() {
		for _, p := range s.GetPoints() {
			p.DepthMm = 0
		}
	}
	return r
}

// OfResult is the hash of a result as it was given.
func OfResult(r *pb.Result) []byte { return sum(AsGiven(r)) }

// Content is what a record holds of a round. Results may come in any order.
func Content(r *pb.Round, conditions []*pb.RoundConditions, results []*pb.ResultDigest) *pb.RoundContent {
	results = slices.SortedFunc(slices.Values(results), func(a, b *pb.ResultDigest) int { return cmp.Compare(a.GetResultId(), b.GetResultId()) })
	return &pb.RoundContent{
		Round: r.GetName(), Vehicle: r.GetVehicle(), Routine: r.GetRoutine(), Driver: r.GetDriver(), Assistant: r.GetAssistant(),
		Conditions: conditions, Results: results,
	}
}

// Newest are the hashes of the results of a round that belong to its content, given
// all of them in the order in which they came.
func Newest(results []*pb.Result) []*pb.ResultDigest {
	left := map[string]int{}
	var newest []*pb.ResultDigest
	for _, r := range slices.Backward(results) {
		if left[r.GetStepId()]++; left[r.GetStepId()] > MostOfStep {
			continue
		}
		newest = append(newest, &pb.ResultDigest{ResultId: r.GetResultId(), Sha256: OfResult(r)})
	}
	return newest
}

// Of is the hash of what somebody signs, 32 bytes. What the hash itself and the station add to
// the signature is not part of it.
func Of(content *pb.RoundContent, shown *pb.ShownToSigner, by *pb.Signature) []byte {
	return sum(&pb.SignedStatement{
		Version: version, Content: content, Shown: shown,
		Person: by.GetPerson(), SignedAs: by.GetSignedAs(), Device: by.GetDevice(), DeviceTime: by.GetDeviceTime(),
		Proof: by.GetProof(), TabletAlone: by.GetTabletAlone(),
	})
}

// Fits tells that a signature is over this content and nothing else.
func Fits(content *pb.RoundContent, shown *pb.ShownToSigner, by *pb.Signature) bool {
	return len(by.GetStatementSha256()) == sha256.Size && bytes.Equal(by.GetStatementSha256(), Of(content, shown, by))
}

// Shown is what stands before a signer, of a readiness and the words left for the next watch.
func Shown(ready *pb.Readiness, planDigest, note string) *pb.ShownToSigner {
	shown := &pb.ShownToSigner{Verdict: ready.GetVerdict(), PlanDigest: planDigest, NoteSha256: OfNote(note)}
	for _, r := range ready.GetReasons() {
		shown.Reasons = append(shown.Reasons, r.GetText())
	}
	for _, d := range ready.GetOpenDefects() {
		for _, f := range d.GetFindings() {
			shown.Findings = append(shown.Findings, &pb.ShownFinding{
				Pack: f.GetPack(), PackVersion: f.GetPackVersion(), Rule: f.GetRule(), StepIds: f.GetStepIds(),
				Grade: f.GetGrade(), Effect: f.GetEffect(), Text: f.GetText(),
			})
		}
	}
	return shown
}

// OfNote is the hash of the words left for the next watch; nil when there were none.
func OfNote(note string) []byte {
	if note == "" {
		return nil
	}
	hash := sha256.Sum256([]byte(note))
	return hash[:]
}

// OfficerMissing tells that a finished round waits for an officer's signature, or that
// the one it has does not fit any more, or is of somebody whose role is not proven.
func OfficerMissing(r *pb.Round) bool {
	if !r.GetOfficerSigns() || r.GetState() != pb.RoundState_ROUND_STATE_FINISHED {
		return false
	}
	for _, by := range r.GetSignatures() {
		if by.GetSignedAs() == pb.Role_ROLE_OFFICER && by.GetChangedSince() == nil && !by.GetRoleUnproven() {
			return false
		}
	}
	return true
}
