package station

import (
	"context"
	"maps"
	"slices"

	"bayround/internal/fault"
	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// Rehearse judges the whole record anew under the rule packs of files and tells
// which verdicts would have been others. Where the catalogue of a time does not
// know what they speak of, the packs of that time are left in force. One rehearsal
// or rejudgement goes on at a time.
func (s *Station) Rehearse(ctx context.Context, req *pb.RehearseRequest, send func(*pb.RehearseResponse) error) error {
	leave, err := s.turn(ctx)
	if err != nil {
		return err
	}
	defer leave()
	packs, err := s.packsOf(req)
	if err != nil {
		return err
	}
	r, err := s.newRehearsal(ctx, 0, (&rehearsed{packs: packs, then: map[string]*pb.RulePack{}}).replace)
	if err != nil {
		return err
	}
	done, err := r.run(ctx, func(change *pb.VerdictChange) error {
		return send(&pb.RehearseResponse{Message: &pb.RehearseResponse_Change{Change: change}})
	})
	if err != nil {
		return err
	}
	return send(&pb.RehearseResponse{Message: &pb.RehearseResponse_Done{Done: done}})
}

// packsOf reads the rule packs of files and refuses what Apply would refuse.
func (s *Station) packsOf(req *pb.RehearseRequest) ([]*pb.RulePack, error) {
	loaded, err := loadFiles(req.GetFiles())
	if err != nil {
		return nil, err
	}
	if len(loaded.RulePacks) == 0 || len(things(loaded)) > len(loaded.RulePacks) {
		return nil, fault.New(fault.Invalid, "NOT_RULE_PACKS", "these files hold no rule pack, or something beside rule packs; only rule packs are rehearsed, the rest stays as it is recorded").
			At("files", "must hold rule packs and nothing else")
	}
	if _, err := prepare(loaded, s.current.Load().lib); err != nil {
		return nil, err
	}
	return loaded.RulePacks, nil
}

// rehearsed are packs that take the place of those that were in force.
type rehearsed struct {
	packs []*pb.RulePack
	then  map[string]*pb.RulePack // what they take the place of, by name
}

// replace puts the packs in the place of those of the same names, or leaves what
// was in force where they cannot be used with the rest.
func (r *rehearsed) replace(d *draft) {
	for _, p := range r.packs {
		switch then := d.set.Packs[p.GetName()]; then {
		case nil:
		case p:
			d.set.Packs[p.GetName()] = r.then[p.GetName()]
		default:
			r.then[p.GetName()] = then
		}
	}
	packs := maps.Clone(d.set.Packs)
	for name := range r.then {
		packs[name] = r.packs[slices.IndexFunc(r.packs, func(p *pb.RulePack) bool { return p.GetName() == name })]
	}
	if d.set.Catalogue != nil {
		if _, err := rules.Compile(sortedValues(packs), d.set.Catalogue); err != nil {
			return
		}
	}
	d.set.Packs = packs
}
