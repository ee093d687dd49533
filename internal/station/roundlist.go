package station

import (
	"context"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// readForOne is how many rounds are read at most for each one that a page may hold.
const readForOne = 10

// ListRounds returns a page of rounds, newest first. A page for which much had to be read
// ends early.
func (s *Station) ListRounds(ctx context.Context, req *pb.ListRoundsRequest) (*pb.ListRoundsResponse, error) {
	p := s.current.Load()
	all := p.opened
	if req.GetAwaitingOfficer() {
		all = p.unsigned
	}
	older, err := olderThan(all, req)
	if err != nil {
		return nil, err
	}
	seek, err := s.seek(req, p)
	if err != nil {
		return nil, err
	}
	resp := &pb.ListRoundsResponse{}
	last, read := roundRef{}, 0
	for _, ref := range slices.Backward(older) {
		if !seek.about(ref.vehicle) {
			continue
		}
		if len(resp.GetRounds()) == pageSize(req) || read == readForOne*pageSize(req) {
			resp.NextPageToken = roundToken(req, last)
			break
		}
		last = ref
		read++
		if seek.allOlder(ref) {
			break
		}
		r, err := seek.read(ctx, ref)
		if err != nil {
			return nil, err
		}
		if r != nil {
			resp.Rounds = append(resp.Rounds, r)
		}
	}
	return resp, nil
}

// seeking is a search among the rounds as they stood at a place of the journal.
type seeking struct {
	*pb.ListRoundsRequest
	station  *Station
	sequence int64
	defect   *pb.Defect // nil when rounds are not sought by a defect
}

// seek makes ready a search.
func (s *Station) seek(req *pb.ListRoundsRequest, p *published) (*seeking, error) {
	k := &seeking{ListRoundsRequest: req, station: s, sequence: p.sequence}
	if req.GetDefect() == "" {
		return k, nil
	}
	if _, err := p.vehicle(defectVehicle(req.GetDefect())); err != nil {
		return nil, err
	}
	var err error
	k.defect, err = s.defectAt(req.GetDefect(), p.sequence)
	return k, err
}

// about tells that rounds of a vehicle may be among those sought.
func (k *seeking) about(vehicle string) bool {
	return (k.GetVehicle() == "" || k.GetVehicle() == vehicle) && (k.defect == nil || defectVehicle(k.GetDefect()) == vehicle)
}

// defectVehicle is the vehicle that a defect is named after.
func defectVehicle(name string) string {
	vehicle, _, _ := strings.Cut(name, "/defects/")
	return vehicle
}

// allOlder tells that a round, and so all behind it in the list, were opened before what
// is sought: none is opened after it came into the record, and the record's times never run backwards.
func (k *seeking) allOlder(ref roundRef) bool {
	if k.GetOpenedFrom() == nil {
		return false
	}
	l := loader{journal: k.station.journal}
	ev, err := l.event(ref.opening)
	return err == nil && ev.GetStationTime().AsTime().Before(k.GetOpenedFrom().AsTime()) // of one that was dropped nobody can say
}

// read reads a round; nil when it is not one of those sought.
func (k *seeking) read(ctx context.Context, ref roundRef) (*pb.Round, error) {
	if k.defect != nil {
		l := loader{journal: k.station.journal, at: uint64(k.sequence)}
		looked, err := l.lookedSince(ref.name, k.defect.GetStepId(), beganFirst(k.defect))
		if err != nil || !looked {
			return nil, err
		}
	}
	r, err := k.station.roundOf(ctx, ref.name, k.sequence)
	if err != nil || !k.wants(r) {
		return nil, err
	}
	return r, nil
}

// wants tells that a round is one of those sought, as far as the round itself tells.
func (k *seeking) wants(r *pb.Round) bool {
	opened := r.GetOpened().AsTime()
	return (k.GetPerson() == "" || r.GetDriver() == k.GetPerson() || r.GetAssistant() == k.GetPerson()) &&
		(k.GetOpenedFrom() == nil || !opened.Before(k.GetOpenedFrom().AsTime())) &&
		(k.GetOpenedBefore() == nil || opened.Before(k.GetOpenedBefore().AsTime()))
}

// beganFirst is when a defect was found for the first time, in the earliest of its lives.
func beganFirst(d *pb.Defect) time.Time {
	began := d.GetFirstFound()
	for _, life := range d.GetEarlier() {
		began = earlier(began, life.GetFirstFound())
	}
	return began.AsTime()
}

func earlier(a, b *timestamppb.Timestamp) *timestamppb.Timestamp {
	if b.AsTime().Before(a.AsTime()) {
		return b
	}
	return a
}

// lookedSince tells that somebody looked at a step in a round, and that it came into the
// record at an instant or later.
func (l *loader) lookedSince(round, step string, since time.Time) (bool, error) {
	key := answeredRows + uuidOf(round) + "/" + step
	value, err := l.journal.Row(key, l.at)
	if err != nil || value == nil {
		return false, err
	}
	row, err := readFields(value)
	if err != nil {
		return false, unreadable("row "+key, err)
	}
	const skipped = 1 // the newest answer says that nobody looked; one before it may be a look
	if row.instant(4).Before(since) || row.number(3) != skipped {
		return !row.instant(4).Before(since), nil
	}
	for i, sequence := range row.numbers[1] {
		from := source{sequence: int64(sequence)}
		if places := row.numbers[5]; i < len(places) {
			from.place = int(places[i])
		}
		res, err := l.recorded(round, from)
		if err != nil {
			return false, err
		}
		if res.GetNotChecked() == nil && !res.GetStationTime().AsTime().Before(since) {
			return true, nil
		}
	}
	return false, nil
}

// roundToken is the token of a page of rounds: it holds the opening of its last and its name.
func roundToken(req *pb.ListRoundsRequest, last roundRef) string {
	return pageToken(req, strconv.FormatInt(last.opening, 10)+" "+last.name)
}

// olderThan returns the rounds that were opened before the one a page ended with.
func olderThan(opened []roundRef, req *pb.ListRoundsRequest) ([]roundRef, error) {
	after, err := readPageToken(req)
	if err != nil || after == "" {
		return opened, err
	}
	opening, name, found := strings.Cut(after, " ")
	before := roundRef{name: name}
	if before.opening, err = strconv.ParseInt(opening, 10, 64); err != nil || !found {
		return nil, unreadablePageToken()
	}
	return opened[:sort.Search(len(opened), func(i int) bool { return opened[i].compare(before) >= 0 })], nil
}
