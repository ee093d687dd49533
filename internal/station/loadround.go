package station

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// frame reads the frame of a round, without the outline of its plan, and the
// sequence of its newest event that is no result; nil when there is no such round.
func (l *loader) frame(uuid string) (f *frame, newest int64, err error) {
	value, err := l.journal.Row(roundRows+uuid, l.at)
	if err != nil || value == nil {
		return nil, 0, err
	}
	return parseFrame(uuid, value)
}

func parseFrame(uuid string, value []byte) (*frame, int64, error) {
	row, err := readFields(value)
	if err != nil {
		return nil, 0, unreadable("row "+roundRows+uuid, err)
	}
	f := &frame{round: &pb.Round{}, opening: row.number(2), changed: row.instant(3), planned: row.number(6)}
	if err := proto.Unmarshal([]byte(row.text(1)), f.round); err != nil {
		return nil, 0, unreadable("row "+roundRows+uuid, err)
	}
	if len(row.bytes[7]) > 0 {
		f.changedDevice = &timestamppb.Timestamp{}
		if err := proto.Unmarshal([]byte(row.text(7)), f.changedDevice); err != nil {
			return nil, 0, unreadable("row "+roundRows+uuid, err)
		}
	}
	if f.said, err = saidIn(row); err != nil {
		return nil, 0, unreadable("row "+roundRows+uuid, err)
	}
	return f, row.number(5), nil
}

// saidIn is what was said of the circumstances, as the row of a round has it.
func saidIn(row fields) ([]statement, error) {
	given, station, device := row.bytes[4], row.moments(8), row.moments(9)
	if len(given) != len(station) || len(given) != len(device) {
		return nil, errRow
	}
	all := make([]statement, len(given))
	for i, b := range given {
		all[i] = statement{&pb.RoundConditions{}, station[i], device[i]}
		if err := proto.Unmarshal(b, all[i].conditions); err != nil {
			return nil, err
		}
	}
	return all, nil
}

// progress reads a round as readers see it: of each step the newest result.
// nil frame when there is no such round.
func (l *loader) progress(ctx context.Context, uuid string) (p progress, err error) {
	if p.frame, p.newest, err = l.frame(uuid); err != nil || p.frame == nil {
		return p, err
	}
	err = l.eachRecord(ctx, answeredRows+uuid+"/", func(id string, f fields) error {
		refs := f.numbers[1]
		if len(refs) == 0 {
			return unreadable("row "+answeredRows+uuid+"/"+id, errRow)
		}
		p.entries = append(p.entries, entry{
			stepID: id, position: int(f.number(2)), notChecked: f.number(3) == 1,
			source: source{sequence: int64(refs[len(refs)-1])}, at: f.instant(4),
		})
		return nil
	})
	return p, err
}

// round reads a round to go on with it. m is the model of its vehicle now.
func (l *loader) round(ctx context.Context, uuid string, m *model, lib *library) (*round, error) {
	f, newest, err := l.frame(uuid)
	if err != nil || f == nil {
		return nil, err
	}
	if f.plan, err = l.outline(ctx, f, m, lib); err != nil {
		return nil, err
	}
	r := newRound(f)
	r.newest = newest
	sources, err := l.sources(ctx, f)
	if err != nil {
		return nil, err
	}
	for _, from := range sources {
		res, err := l.recorded(f.name(), from)
		if err != nil {
			return nil, err
		}
		r.take(res, from, res.GetStationTime().AsTime())
	}
	return r, nil
}

// sources lists where the results of a round stand, in the order they came. A
// plan that stands in for another learns from it in which order they are told.
func (l *loader) sources(ctx context.Context, f *frame) ([]source, error) {
	type turn struct {
		source
		after source // of the latest that came before it at its step, or its own
	}
	var turns []turn
	err := l.eachRecord(ctx, answeredRows+uuidOf(f.name())+"/", func(id string, row fields) error {
		places := row.numbers[5]
		if len(places) > 0 && len(places) != len(row.numbers[1]) {
			return unreadable("row "+answeredRows+uuidOf(f.name())+"/"+id, errRow)
		}
		if f.plan.standsIn {
			f.plan.positions[id] = int(row.number(2))
		}
		after := source{}
		for i, sequence := range row.numbers[1] {
			t := turn{source: source{sequence: int64(sequence)}}
			if len(places) > 0 {
				t.place = int(places[i])
			}
			if after.compare(t.source) < 0 {
				after = t.source
			}
			t.after = after
			turns = append(turns, t)
		}
		return nil
	})
	slices.SortStableFunc(turns, func(a, b turn) int { return a.after.compare(b.after) })
	sources := make([]source, len(turns))
	for i, t := range turns {
		sources[i] = t.source
	}
	return sources, err
}

// compare puts sources in the order of the journal.
func (s source) compare(t source) int {
	return cmp.Or(cmp.Compare(s.sequence, t.sequence), cmp.Compare(s.place, t.place))
}

// outline works out the plan a round was opened on: mostly it is the plan of
// today, otherwise that of what was in force then.
func (l *loader) outline(ctx context.Context, f *frame, m *model, lib *library) (*outline, error) {
	if p := m.planOf(f.round); f.planned == 0 && p.GetDigest() == f.round.GetPlanDigest() {
		return newOutline(p), nil
	}
	then := loader{journal: l.journal, at: uint64(cmp.Or(f.planned, f.opening))}
	refs, err := then.refs(ctx)
	if err != nil {
		return nil, err
	}
	old, err := then.library(refs, lib)
	if err != nil {
		return nil, err
	}
	if old.models[f.vehicle()] == nil {
		return nil, unreadable("round "+f.name(), errEvent)
	}
	p := old.models[f.vehicle()].planOf(f.round)
	if f.planned != 0 {
		return takenOver(p, f.round.GetPlanDigest()), nil
	}
	return newOutline(p), nil
}

// liveRounds lists the rounds of a vehicle that were open or paused, by uuid.
func (l *loader) liveRounds(ctx context.Context, vehicle string) (uuids []string, err error) {
	err = l.each(ctx, liveRows+vehicle+"/", func(uuid string, _ []byte) error {
		uuids = append(uuids, uuid)
		return nil
	})
	return uuids, err
}

// state reads everything: what the committer goes on from.
func (l *loader) state(ctx context.Context, st *state) (err error) {
	st.sequence = int64(cmp.Or(l.at, l.journal.Size()))
	if st.sequence > 0 {
		if st.station, err = l.instantOf(st.sequence); err != nil {
			return err
		}
	}
	refs, err := l.refs(ctx)
	if err != nil {
		return err
	}
	if st.lib, err = l.library(refs, st.lib); err != nil {
		return err
	}
	for _, name := range sortedKeys(st.lib.models) {
		v, err := l.vehicle(ctx, st.lib.models[name])
		if err != nil {
			return fmt.Errorf("read %s: %w", name, err)
		}
		st.vehicles[name] = v
		if err := l.roundsOf(ctx, v, st); err != nil {
			return fmt.Errorf("read the rounds of %s: %w", name, err)
		}
		st.changed[name] = v
	}
	if st.stock, err = l.accounts(ctx); err != nil {
		return err
	}
	return l.opened(ctx, st)
}

func (l *loader) roundsOf(ctx context.Context, v *vehicle, st *state) error {
	uuids, err := l.liveRounds(ctx, v.name)
	if err != nil {
		return err
	}
	for _, uuid := range uuids {
		r, err := l.round(ctx, uuid, v.model, st.lib)
		if err != nil {
			return err
		}
		if r == nil {
			return unreadable("row "+liveRows+v.name+"/"+uuid, errEvent)
		}
		v.rounds[r.name()], st.rounds[r.name()], st.reframed = r, r, true
	}
	return nil
}

// opened lists all rounds in the order of their opening.
func (l *loader) opened(ctx context.Context, st *state) error {
	err := l.each(ctx, roundRows, func(uuid string, value []byte) error {
		f, _, err := parseFrame(uuid, value)
		if err != nil {
			return err
		}
		st.opened = append(st.opened, f.ref())
		st.noteUnsigned(f)
		return nil
	})
	slices.SortFunc(st.opened, roundRef.compare)
	st.reframed = true
	return err
}
