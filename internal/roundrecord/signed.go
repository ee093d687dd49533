package roundrecord

import (
	"bytes"
	"slices"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/signature"
	pb "bayround/proto/bayround/v1"
)

// Signed is a signature under the round as the page tells it.
type Signed struct {
	*pb.Signature
	// Event holds it.
	Event int64
	// Fit says whether it is over what the record holds, worked out from the events.
	Fit string
	// Sent says who sent it: that program vouched for how the person was known.
	Sent string
}

// Signatures are those under the round, oldest first.
func (r *Record) Signatures() (all []Signed) {
	note := ""
	for i, ev := range r.Events {
		by, shown := ev.GetRoundStateChanged().GetSignature(), ev.GetRoundStateChanged().GetShown()
		if ev.GetRoundStateChanged().GetState() == pb.RoundState_ROUND_STATE_FINISHED {
			note = ev.GetRoundStateChanged().GetNote()
		}
		if e := ev.GetRoundSigned(); e != nil {
			by, shown = e.GetSignature(), e.GetShown()
		}
		if by == nil {
			continue
		}
		fits := func(events []*pb.JournalEvent) bool {
			return bytes.Equal(shown.GetNoteSha256(), signature.OfNote(note)) && signature.Fits(r.content(events), shown, by)
		}
		s := Signed{Signature: by, Event: ev.GetSequence(), Sent: SenderWords(ev.GetSender())}
		switch {
		case fits(r.Events):
			s.Fit = "fits what is on record"
		case fits(r.Events[:i]):
			s.Fit = "fits what was on record then; the round has changed since it was signed"
		case !r.Whole():
			s.Fit = "nobody can say whether it fits: not all of the round could be read"
		default:
			s.Fit = "DOES NOT FIT what is on record"
		}
		all = append(all, s)
	}
	return all
}

// LastShown is what whoever signed last was shown, and the event that holds it; nil when
// nobody signed.
func (r *Record) LastShown() (shown *pb.ShownToSigner, event int64) {
	for _, ev := range slices.Backward(r.Events) {
		for _, said := range []*pb.ShownToSigner{ev.GetRoundStateChanged().GetShown(), ev.GetRoundSigned().GetShown()} {
			if said != nil {
				return said, ev.GetSequence()
			}
		}
	}
	return nil, 0
}

// ShownBeside are the findings that stood before whoever signed last and are not among
// those of the round's own answers.
func (r *Record) ShownBeside() (beside []*pb.ShownFinding) {
	shown, _ := r.LastShown()
	found := r.Found()
	for _, f := range shown.GetFindings() {
		if !slices.ContainsFunc(found, func(own Found) bool {
			return own.GetPack() == f.GetPack() && own.GetRule() == f.GetRule() && slices.Equal(own.GetStepIds(), f.GetStepIds())
		}) {
			beside = append(beside, f)
		}
	}
	return beside
}

// content is what events say of the round, for a signature.
func (r *Record) content(events []*pb.JournalEvent) *pb.RoundContent {
	var said []*pb.RoundConditions
	var results []*pb.Result
	round := &pb.Round{}
	for _, ev := range events {
		switch e := ev.GetEvent().(type) {
		case *pb.JournalEvent_RoundOpened:
			o := e.RoundOpened.GetRound()
			round.Name, round.Vehicle, round.Routine, round.Driver, round.Assistant = o.GetName(), o.GetVehicle(), o.GetRoutine(), o.GetDriver(), o.GetAssistant()
			said = append(said, o.GetConditions())
		case *pb.JournalEvent_AssistantChanged:
			round.Assistant = e.AssistantChanged.GetAssistant()
		case *pb.JournalEvent_RoundStateChanged:
			if c := e.RoundStateChanged.GetConditions(); c != nil {
				said = append(said, c)
			}
		case *pb.JournalEvent_ResultRecorded:
			results = append(results, e.ResultRecorded.GetResult())
		}
	}
	return signature.Content(round, said, signature.Newest(results))
}

// As is as what somebody signed.
func (s Signed) As() string {
	if s.GetSignedAs() == pb.Role_ROLE_OFFICER {
		return "officer in charge"
	}
	return "driver"
}

// At is when it was signed, by the device's clock.
func (s Signed) At() *timestamppb.Timestamp { return s.GetDeviceTime() }

// How says by what the person was known.
func (s Signed) How() string {
	how := "a PIN"
	switch s.GetProof() {
	case pb.Proof_PROOF_BADGE_AND_PIN:
		how = "a badge and a PIN"
	case pb.Proof_PROOF_CERTIFICATE:
		return "the certificate of the program that sent it"
	}
	if s.GetTabletAlone() {
		how += ", checked by the tablet alone while no station was heard"
	}
	return how
}

// Role says that the role was not proven; empty when it was.
func (s Signed) Role() string {
	if !s.GetRoleUnproven() {
		return ""
	}
	return "ROLE NOT PROVEN: it came late, and by the record the person was no " + strings.TrimSuffix(s.As(), " in charge") + " when it was signed"
}

// Missing says that an officer's signature is missing which the routine asks for.
func (r *Record) Missing() bool { return signature.OfficerMissing(r.Round) }

// SignedWords say in short who signed the round, and what is missing.
func (r *Record) SignedWords() string {
	var words []string
	for _, by := range r.Round.GetSignatures() {
		who := strings.TrimPrefix(by.GetPerson(), "people/")
		if by.GetChangedSince() != nil {
			who += " (changed since)"
		}
		if by.GetRoleUnproven() {
			who += " (role not proven)"
		}
		words = append(words, who)
	}
	if r.Missing() {
		words = append(words, "officer MISSING")
	}
	if len(words) == 0 {
		return "-"
	}
	return strings.Join(words, ", ")
}

// ClosingNote is what was left for the next watch when the round was finished.
func (r *Record) ClosingNote() string { return r.Signed().GetRoundStateChanged().GetNote() }
