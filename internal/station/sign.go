package station

import (
	"bytes"
	"context"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/admit"
	"bayround/internal/fault"
	"bayround/internal/signature"
	pb "bayround/proto/bayround/v1"
)

// SignRound records an officer's signature under a round that was finished.
func (s *Station) SignRound(ctx context.Context, req *pb.SignRoundRequest) (*pb.SignRoundResponse, error) {
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.SignRoundResponse, error) {
		r, err := c.state.recall(req.GetRound())
		if err != nil {
			return nil, err
		}
		if r == nil {
			return nil, unknown("round", req.GetRound())
		}
		by, err := c.officerSigns(r, req)
		if err != nil {
			return nil, err
		}
		err = c.happen(&pb.JournalEvent{
			Person: by.GetPerson(), Device: by.GetDevice(), Vehicle: r.vehicle(), DeviceTime: by.GetDeviceTime(),
			Event: &pb.JournalEvent_RoundSigned{RoundSigned: &pb.RoundSigned{Round: r.name(), Signature: by, Shown: req.GetShown()}},
		}, nil)
		if err != nil {
			return nil, err
		}
		return &pb.SignRoundResponse{Round: r.progress().message()}, nil
	})
	return resp, err
}

// officerSigns is the signature of an officer as it is recorded, or why it is refused.
func (c *command) officerSigns(r *round, req *pb.SignRoundRequest) (*pb.Signature, error) {
	by := req.GetSignature()
	if by.GetSignedAs() != pb.Role_ROLE_OFFICER {
		return nil, invalid("SIGNED_AS_WRONG", "signature.signed_as", "a round that was finished is signed by an officer, as officer")
	}
	if r.state() != pb.RoundState_ROUND_STATE_FINISHED {
		return nil, fault.New(fault.Precondition, "ROUND_NOT_FINISHED", "an officer signs what the driver has finished; this round is %s", stateWords(r.state()))
	}
	if err := c.state.lib.active(by.GetPerson(), by.GetDeviceTime().AsTime()); err != nil {
		return nil, err
	}
	device := by.GetDeviceTime()
	if by.GetProof() == pb.Proof_PROOF_CERTIFICATE {
		device = nil // no tablet has looked at the person's roles
	}
	if err := c.mayOnce(by.GetPerson(), admit.SignSecond, device); err != nil {
		return nil, err
	}
	if by.GetPerson() == r.round.GetDriver() || slices.ContainsFunc(r.round.GetSignatures(), func(s *pb.Signature) bool {
		return s.GetPerson() == by.GetPerson() && s.GetSignedAs() != pb.Role_ROLE_OFFICER
	}) {
		return nil, fault.New(fault.Precondition, "SAME_PERSON", "who drove the round does not sign it a second time; have another officer look at it and sign").At("signature.person", "is the driver's")
	}
	for _, s := range r.round.GetSignatures() {
		if s.GetPerson() == by.GetPerson() && s.GetChangedSince() == nil && !s.GetRoleUnproven() {
			return nil, fault.New(fault.Precondition, "ALREADY_SIGNED", "this officer signed the round at %s, and it has not changed since", clockWords(s.GetStationTime().AsTime()))
		}
	}
	return c.sign(r, req.GetShown(), by)
}

// driverSigns is the signature of a driver under a round that ends, or why it is refused.
func (c *command) driverSigns(r *round, to *pb.RoundStateChanged) (*pb.Signature, error) {
	by, shown := to.GetSignature(), to.GetShown()
	switch {
	case by.GetSignedAs() != pb.Role_ROLE_DRIVER:
		return nil, invalid("SIGNED_AS_WRONG", "signature.signed_as", "a round is finished by its driver; an officer signs it after that (SignRound)")
	case shown.GetVerdict() != to.GetShownVerdict():
		return nil, invalid("SHOWN_TWICE", "shown.verdict", "the signature tells of another verdict than shown_verdict; say the one that was shown")
	case !bytes.Equal(shown.GetNoteSha256(), signature.OfNote(to.GetNote())):
		return nil, invalid("NOTE_NOT_SIGNED", "shown.note_sha256", "what was signed holds other words for the next watch than note")
	}
	if err := c.state.lib.active(by.GetPerson(), by.GetDeviceTime().AsTime()); err != nil {
		return nil, err
	}
	if err := c.mayOnce(by.GetPerson(), admit.Sign, by.GetDeviceTime()); err != nil {
		return nil, err
	}
	return c.sign(r, shown, by)
}

// sign completes a signature that is over what is known here of the round, and refuses another.
func (c *command) sign(r *round, shown *pb.ShownToSigner, by *pb.Signature) (*pb.Signature, error) {
	content := r.content()
	if !signature.Fits(content, shown, by) {
		return nil, fault.New(fault.Precondition, "SIGNED_SOMETHING_ELSE",
			"what was signed is not what is known here of this round (%d results, driver %s); look at the round again and sign it anew",
			len(content.GetResults()), content.GetDriver()).At("signature.statement_sha256", "is over something else")
	}
	by = proto.CloneOf(by)
	by.StationTime, by.ChangedSince = timestamppb.New(c.time), nil
	by.RoleUnproven = slices.Contains(c.unproven, by.GetPerson())
	return by, nil
}

// content is what is known of the round, for a signature.
func (r *round) content() *pb.RoundContent {
	var results []*pb.ResultDigest
	for id := range r.byStep {
		for _, e := range r.of(id) {
			results = append(results, &pb.ResultDigest{ResultId: e.resultID, Sha256: e.sha256})
		}
	}
	return signature.Content(r.round, r.allSaid(), results)
}

// GetRoundContent returns what a signature of a round is over.
func (s *Station) GetRoundContent(ctx context.Context, req *pb.GetRoundContentRequest) (*pb.GetRoundContentResponse, error) {
	l := loader{journal: s.journal, at: uint64(s.current.Load().sequence)}
	f, _, err := l.frame(uuidOf(req.GetName()))
	if err != nil {
		return nil, err
	}
	if f == nil {
		return nil, unknown("round", req.GetName())
	}
	f.plan = &outline{}
	sources, err := l.sources(ctx, f)
	if err != nil {
		return nil, err
	}
	r := newRound(f)
	for _, from := range sources {
		res, err := l.recorded(f.name(), from)
		if err != nil {
			return nil, err
		}
		r.take(res, from, res.GetStationTime().AsTime())
	}
	return &pb.GetRoundContentResponse{Content: r.content()}, nil
}

// roundSigned puts a signature under a round.
func (st *state) roundSigned(e *pb.RoundSigned, rows *rowSet) error {
	r, err := st.recall(e.GetRound())
	if err != nil {
		return err
	}
	if r == nil {
		return unknownRound(e.GetRound())
	}
	r.frame = r.signedBy(e.GetSignature())
	return st.putRound(r, rows)
}

// signedBy returns the frame with one more signature.
func (f *frame) signedBy(by *pb.Signature) *frame {
	g := *f
	g.round = proto.CloneOf(f.round)
	g.round.Signatures = append(g.round.Signatures, by)
	return &g
}

// noteUnsigned notes whether a round waits for an officer's signature.
func (st *state) noteUnsigned(f *frame) {
	if signature.OfficerMissing(f.round) {
		st.unsigned[f.name()] = f.ref()
	} else {
		delete(st.unsigned, f.name())
	}
}

// outgrow notes that the signatures of a round do not fit any more, now that a result
// has come after them.
func (st *state) outgrow(r *round, rows *rowSet) error {
	if !slices.ContainsFunc(r.round.GetSignatures(), func(by *pb.Signature) bool { return by.GetChangedSince() == nil }) {
		return nil
	}
	g := *r.frame
	g.round = proto.CloneOf(r.round)
	for _, by := range g.round.GetSignatures() {
		if by.GetChangedSince() == nil {
			by.ChangedSince = timestamppb.New(st.station)
		}
	}
	r.frame = &g
	return st.putFrame(r, rows)
}
