package rules

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"

	pb "bayround/proto/bayround/v1"
)

// finding words what a rule says of the observations it looked at.
func (j *Judge) finding(m met, s *scene, looked []*pb.Observation) *pb.Finding {
	rule := m.rule.rule
	f := &pb.Finding{
		Pack: m.rule.pack.name, PackVersion: m.rule.pack.version, PackDigest: m.rule.pack.digest,
		Rule: rule.GetId(), Fault: m.fault, Scope: rule.GetScope(), Source: rule.GetSource(),
		Decider: rule.GetDecider(),
	}
	lookedAt(f, looked)
	f.Numbers = numbers(looked)
	about := m.rule.names
	if m.fault != "" {
		about = j.engine.known.faults[m.fault]
	}
	if m.err != nil {
		// What the rule would take away is not known, so it takes away what
		// "not known" does; and a result that can be judged later settles it.
		f.RecheckCloses = true
		f.Text = fmt.Sprintf("Rule %s could not be worked out: %v", rule.GetId(), m.err)
		f.FindingId = findingID(f)
		return f
	}
	f.Limit = m.limit.said()
	if m.undecided() {
		// Nobody has found the fault, so the finding does not bear it.
		f.RecheckCloses = true
		f.Text = m.limit.cannotTell()
		f.FindingId = findingID(f)
		return f
	}
	if m.fault == "" {
		f.Fault = rule.GetNamesFault()
	}
	f.Grade, f.Effect = rule.GetGrade(), rule.GetEffect()
	f.CapabilitiesLost, f.Restrictions = rule.GetCapabilitiesLost(), rule.GetRestrictions()
	f.LongestDeferralDays = rule.GetLongestDeferralDays()
	f.DriverDoes = about.GetDriverDoes()
	f.RecheckCloses = rule.GetRecheckCloses() || about.GetPutRightNow()
	s.showFault(about)
	f.Text = m.rule.text.fill(s)
	f.FindingId = findingID(f)
	return f
}

// unspoken is the finding of a fault that no rule in force speaks of. Nobody
// has said that it may be passed over.
func (j *Judge) unspoken(fault string, o *pb.Observation) *pb.Finding {
	known := j.engine.known.faults[fault]
	words := known.GetText()
	if words == "" {
		words = "fault " + fault
	}
	f := &pb.Finding{
		Fault: fault, Scope: pb.RuleScope_RULE_SCOPE_RESULT,
		Text:       "What this means could not be worked out: no rule of this vehicle's packs speaks of it. Seen: " + words,
		DriverDoes: known.GetDriverDoes(), RecheckCloses: known.GetPutRightNow(),
	}
	looked := []*pb.Observation{o}
	lookedAt(f, looked)
	f.Numbers = numbers(looked)
	f.FindingId = findingID(f)
	return f
}

func lookedAt(f *pb.Finding, looked []*pb.Observation) {
	f.StepIds = make([]string, len(looked))
	f.ResultIds = make([]string, len(looked))
	for i, o := range looked {
		f.StepIds[i] = o.GetStep().GetStepId()
		f.ResultIds[i] = o.GetResult().GetResultId()
	}
}

// findingID is the first 16 bytes, in hex, of the SHA-256 over pack, rule,
// fault and step ids, each preceded by its length as a 32-bit number. It stays
// the same from result to result and from version to version of the pack.
func findingID(f *pb.Finding) string {
	size := 0
	parts := append([]string{f.GetPack(), f.GetRule(), f.GetFault()}, f.GetStepIds()...)
	for _, p := range parts {
		size += 4 + len(p)
	}
	b := make([]byte, 0, size)
	for _, p := range parts {
		b = binary.BigEndian.AppendUint32(b, uint32(len(p)))
		b = append(b, p...)
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:16])
}
