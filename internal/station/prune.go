package station

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"bayround/internal/journal"
	"bayround/internal/roundproof"
	pb "bayround/proto/bayround/v1"
)

// Records are kept for at least 15 months (GB Guide to maintaining roadworthiness,
// for what a daily check finds); what is older may go when nothing rests on it.
// Dropped are whole rounds that have ended: their events lose their content, their
// hashes stay. Which rounds stay is worked out from what was known at the horizon,
// so that every verdict since then can be worked out again.

// PruneOptions says what is dropped of a station's record.
type PruneOptions struct {
	// Dir is the directory of the journal; no other process may have it open.
	Dir string
	// Keep is for how long everything is kept.
	Keep time.Duration
	// DryRun only says what would be dropped.
	DryRun bool
	// Now is the station's clock; nil for time.Now.
	Now func() time.Time
	// Logger hears what people who run the station should know; nil = discard.
	Logger *slog.Logger

	origin string // what the journal's checkpoints bear
}

// Pruned is what a pruning has dropped, or would drop.
type Pruned struct {
	// Before is the instant from which on everything was kept.
	Before time.Time
	// Rounds and Events are how many were dropped; KeptRounds are older ones that
	// something rests on.
	Rounds, Events, KeptRounds int
	// Photos are those that only dropped results named, Named those that something
	// which is left names.
	Photos, Named map[string]bool
	// Whole are vehicles of which everything was kept, as what is left would not say
	// the same of them.
	Whole []string
	// Doubted is a gauge that was found wrong and not put right since: what was read
	// with it may have to be judged anew, so nothing from then on was dropped. Empty for none.
	Doubted string
}

// Prune drops what is older than it must be kept and what nothing rests on. Then
// the rows are made anew from what is left, and the store is compacted, so that no
// file of it holds what was dropped. It verifies the journal first.
//
// When it breaks off, the next start of the station undoes it or finishes it; doing it
// again compacts.
func Prune(ctx context.Context, o PruneOptions) (Pruned, error) {
	sound, err := Verify(ctx, o.Dir, o.Logger)
	if err != nil || sound.Events == 0 {
		return Pruned{}, err
	}
	o.origin = sound.Signer
	report, pruning, err := planned(ctx, o)
	if err != nil || o.DryRun {
		return report, err
	}
	options := journal.Options{Dir: o.Dir, RowsVersion: rowsVersion, Logger: o.Logger}
	if pruning != nil {
		if err := journal.Prune(ctx, options, *pruning); err != nil {
			return report, err
		}
		if err := o.open(ctx, func(*Station) error { return nil }); err != nil { // it finishes what is owed
			return report, err
		}
	}
	return report, journal.Compact(ctx, options)
}

// open opens the station for a while.
func (o PruneOptions) open(ctx context.Context, do func(*Station) error) error {
	s, err := Open(ctx, Options{Dir: o.Dir, Now: o.Now, Logger: o.Logger, Origin: o.origin})
	if err != nil {
		return err
	}
	return errors.Join(do(s), s.Close())
}

// planned works out what is to be dropped; nil when nothing is.
func planned(ctx context.Context, o PruneOptions) (report Pruned, pruning *journal.Pruning, err error) {
	err = o.open(ctx, func(s *Station) error {
		report.Before = s.clock().Add(-o.Keep)
		for _, name := range sortedKeys(s.current.Load().lib.set.Gauges) {
			if since, doubted := inDoubt(s.current.Load().lib.set.Gauges[name]); doubted && since.Before(report.Before) {
				report.Before, report.Doubted = since, name
			}
		}
		p := &pruner{journal: s.journal, before: report.Before, trace: newTrace()}
		if err := p.plan(ctx, &report); err != nil {
			return err
		}
		if len(p.drop) == 0 {
			return nil
		}
		owed, err := s.owedOf(ctx)
		pruning = &journal.Pruning{Horizon: p.horizon, Drop: p.drop, Owed: owed}
		return err
	})
	return report, pruning, err
}

// inDoubt tells that a gauge in use was newest found wrong, and since when what was
// read with it is in doubt; the zero time is for ever.
func inDoubt(g *pb.Gauge) (since time.Time, doubted bool) {
	for _, check := range slices.Backward(g.GetChecks()) {
		if check.GetGood() {
			return check.GetStationTime().AsTime(), doubted
		}
		doubted = !g.GetWithdrawn()
	}
	return time.Time{}, doubted
}

// pruner works out which rounds can be dropped.
type pruner struct {
	journal *journal.Journal
	before  time.Time // what happened from then on is kept
	trace   *trace    // of what happened before

	horizon uint64
	kept    map[string]bool // rounds that are kept, of those that began before the horizon
	drop    []journal.Span
}

// plan goes through the record once, works out what is dropped, and makes sure that
// what is left says the same at the horizon.
func (p *pruner) plan(ctx context.Context, report *Pruned) error {
	then := newReplay(p.journal)
	if err := p.read(ctx, then); err != nil {
		return err
	}
	p.kept = p.trace.keep(then.state)
	left, err := p.left(ctx)
	if err != nil {
		return err
	}
	for _, name := range sortedKeys(then.state.vehicles) {
		if saysTheSame(then.state.vehicles[name], left.vehicles[name], p.before) {
			continue
		}
		report.Whole = append(report.Whole, name)
		for round, t := range p.trace.rounds {
			if t.vehicle == name {
				p.kept[round] = true
			}
		}
	}
	if p.horizon > p.journal.Horizon() {
		p.list(report)
	} else {
		p.kept = nil // nothing is dropped
	}
	report.Photos, report.Named = p.trace.photosOf(p.kept)
	return nil
}

// read goes through the whole record: what happened before is replayed and traced,
// of what happened since is noted which rounds it speaks of.
func (p *pruner) read(ctx context.Context, then *replay) error {
	l := loader{journal: p.journal}
	newest, err := l.event(int64(p.journal.Size()))
	if err != nil {
		return err
	}
	return p.journal.Events(ctx, 1, func(sequence uint64, event []byte) error {
		ev, err := parseEvent(sequence, event)
		if err != nil {
			return err
		}
		if !ev.GetStationTime().AsTime().Before(p.before) || ev.GetCommandId() == newest.GetCommandId() {
			p.trace.since(ev)
			return nil
		}
		p.horizon = sequence
		open := p.trace.before(then.state, ev)
		if _, err := then.project(sequence, event); err != nil {
			return err
		}
		p.trace.after(then.state, ev, open)
		return nil
	})
}

// left replays up to the horizon what would be left.
func (p *pruner) left(ctx context.Context) (*state, error) {
	r := newReplay(p.journal)
	r.state.horizon = int64(p.horizon)
	errEnough := errors.New("the horizon is reached")
	err := p.journal.Events(ctx, 1, func(sequence uint64, event []byte) error {
		if sequence > p.horizon {
			return errEnough
		}
		ev, err := parseEvent(sequence, event)
		if err != nil {
			return err
		}
		if round := roundproof.RoundOf(ev); round != "" && !p.kept[round] {
			return nil
		}
		_, err = r.project(sequence, event)
		return err
	})
	if err != nil && !errors.Is(err, errEnough) {
		return nil, fmt.Errorf("go through what would be left: %w", err)
	}
	return r.state, nil
}

// list puts together what is dropped.
func (p *pruner) list(report *Pruned) {
	for _, name := range sortedKeys(p.trace.rounds) {
		if p.kept[name] {
			report.KeptRounds++
			continue
		}
		report.Rounds++
		for _, sequence := range p.trace.rounds[name].events {
			report.Events++
			p.drop = append(p.drop, journal.Span{First: sequence, Last: sequence})
		}
	}
}
