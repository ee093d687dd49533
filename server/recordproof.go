package main

import (
	"cmp"
	"context"
	"slices"

	"golang.org/x/mod/sumdb/note"
	"google.golang.org/protobuf/proto"

	"bayround/internal/merkle"
	"bayround/internal/roundproof"
	"bayround/internal/roundrecord"
	pb "bayround/proto/bayround/v1"
)

// proofOf is the file that shows a round to somebody without the station, made sure of as a
// reader would.
func (s *remote) proofOf(ctx context.Context, name string) ([]byte, error) {
	found, err := s.rounds.GetRound(ctx, &pb.GetRoundRequest{Name: name})
	if err != nil {
		return nil, err
	}
	round := found.GetRound()
	p := proving{station: s, file: &roundproof.File{Round: round.GetName()}}
	for _, ask := range []func(context.Context, *pb.Round) error{p.askHead, p.addVehicle, p.addEvents, p.addSteps} {
		if err := ask(ctx, round); err != nil {
			return nil, err
		}
	}
	slices.SortFunc(p.file.Events, func(a, b roundproof.Event) int { return cmp.Compare(a.Number, b.Number) })
	file := p.file.Bytes()
	read, err := roundproof.Parse(file)
	if err != nil {
		return nil, err
	}
	_, err = read.Check("")
	return file, err
}

// proving puts together a proof of a round.
type proving struct {
	station *remote
	file    *roundproof.File
	size    int64 // events of the tree that all is proven against
}

// askHead asks for the checkpoint against which all is proven, however the record grows meanwhile.
func (p *proving) askHead(ctx context.Context, _ *pb.Round) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	head, err := pb.NewJournalServiceClient(p.station.conn).GetCheckpoint(ctx, &pb.GetCheckpointRequest{})
	if err != nil {
		return err
	}
	p.file.Checkpoint, p.file.Key = head.GetCheckpoint(), head.GetVerifierKey()
	verifier, err := note.NewVerifier(p.file.Key)
	if err != nil {
		return err
	}
	signed, err := merkle.OpenCheckpoint([]byte(p.file.Checkpoint), verifier)
	p.size = int64(signed.Size)
	return err
}

// addVehicle adds the configuration on which the round was opened, if the record still has it.
func (p *proving) addVehicle(ctx context.Context, round *pb.Round) error {
	at := int64(0)
	err := p.station.eachEvent(ctx, 1, func(ev *pb.JournalEvent) bool {
		if v := ev.GetVehicleApplied(); v.GetName() == round.GetVehicle() && v.GetRevision() == round.GetVehicleRevision() {
			at = ev.GetSequence()
		}
		return at == 0 && ev.GetRoundOpened().GetRound().GetName() != round.GetName() && ev.GetSequence() < round.GetSequence()
	})
	if at == 0 || err != nil {
		return err
	}
	return p.add(ctx, at)
}

// addEvents adds the round's events, and of those they name whose content was dropped the hashes.
func (p *proving) addEvents(ctx context.Context, round *pb.Round) error {
	events, err := p.station.eventsOf(ctx, round)
	if err != nil {
		return err
	}
	there := map[int64]bool{0: true}
	for _, ev := range events {
		there[ev.GetSequence()] = true
	}
	for _, ev := range events {
		if ev.GetSequence() > p.size {
			break // it came after the checkpoint
		}
		if err := p.add(ctx, ev.GetSequence()); err != nil {
			return err
		}
		if before := ev.GetPreviousInRound(); !there[before] {
			if err := p.add(ctx, before); err != nil {
				return err
			}
		}
	}
	return nil
}

// addSteps adds the plan on which the round was opened, if that is still the plan.
func (p *proving) addSteps(ctx context.Context, round *pb.Round) error {
	g, now := gathering{station: p.station}, &roundrecord.Record{Round: round}
	if err := g.addPlan(ctx, now); err != nil || now.PlanChanged() {
		return err
	}
	for _, step := range now.Plan.GetSteps() {
		step = proto.CloneOf(step)
		step.Last = nil
		b, err := proto.MarshalOptions{Deterministic: true}.Marshal(step) // as package plan has them for the digest
		if err != nil {
			return err
		}
		p.file.Steps = append(p.file.Steps, b)
	}
	return nil
}

// add adds an event with its proof.
func (p *proving) add(ctx context.Context, number int64) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	resp, err := pb.NewJournalServiceClient(p.station.conn).ProveInclusion(ctx, &pb.ProveInclusionRequest{Sequence: number, TreeSize: p.size})
	if err != nil {
		return err
	}
	ev := roundproof.Event{Number: number, Record: resp.GetRecord()}
	if ev.Path, err = merkle.Hashes(resp.GetAuditPath()); err != nil {
		return err
	}
	if len(ev.Record) == 0 {
		leaf, err := merkle.Hashes([][]byte{resp.GetLeafHash()})
		if err != nil {
			return err
		}
		ev.Leaf = leaf[0]
	}
	p.file.Events = append(p.file.Events, ev)
	return nil
}
