package station

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// GetDefect returns a defect as it stands now, and what of it may wait.
func (s *Station) GetDefect(_ context.Context, req *pb.GetDefectRequest) (*pb.GetDefectResponse, error) {
	p, now := s.current.Load(), s.clock()
	snap, err := p.vehicle(defectVehicle(req.GetName()))
	if err != nil {
		return nil, err
	}
	d, err := s.defectAt(req.GetName(), p.sequence)
	if err != nil {
		return nil, err
	}
	resp := &pb.GetDefectResponse{Defect: verdict.DefectAt(d, now), Right: &pb.DeferralRight{}, ReleaseMissing: snap.releaseMissing(d)}
	if err := notPutRight(d); err != nil {
		resp.Right.WhyNot = err.Error()
		return resp, nil
	}
	resp.Right = deferralCase(snap.model, snap.input.Defects, d).Right()
	return resp, nil
}

// releaseMissing is what is missing before somebody may release a stopped vehicle, in words.
func (s *snapshot) releaseMissing(d *pb.Defect) string {
	if d.GetStop() == nil || d.GetState() == pb.DefectState_DEFECT_STATE_CLOSED {
		return ""
	}
	err := (releasing{s.model, s.input.Latest, s.input.Defects, d}).mayRelease("")
	var f *fault.Fault
	if !errors.As(err, &f) {
		return ""
	}
	return f.Message
}

// defectAt is a defect as it was kept at a sequence of the journal.
func (s *Station) defectAt(name string, sequence int64) (*pb.Defect, error) {
	row, err := s.journal.Row(defectRows+defectVehicle(name)+"/"+uuidOf(name), uint64(sequence))
	if err != nil {
		return nil, err
	}
	if row == nil {
		return nil, unknown("defect", name)
	}
	d := &pb.Defect{}
	if err := proto.Unmarshal(row, d); err != nil {
		return nil, unreadable("the row of "+name, err)
	}
	return d, nil
}

// allDefects reads the defects of a vehicle, or of all of a station, or of all when
// neither is named, as they stand at an instant; closed ones too.
func (s *Station) allDefects(ctx context.Context, vehicle, station string, now time.Time) (all []*pb.Defect, err error) {
	p := s.current.Load()
	if station != "" && p.lib.set.Stations[station] == nil {
		return nil, p.lib.unknownStation(station)
	}
	names := p.names
	if vehicle != "" {
		if _, err := p.vehicle(vehicle); err != nil {
			return nil, err
		}
		names = []string{vehicle}
	}
	for _, name := range names {
		if station != "" && p.vehicles[name].model.vehicle.GetStation() != station {
			continue
		}
		if err := s.eachDefect(ctx, name, p.sequence, func(d *pb.Defect) { all = append(all, verdict.DefectAt(d, now)) }); err != nil {
			return nil, err
		}
	}
	return all, nil
}

// eachDefect gives every defect of a vehicle as it was kept at a sequence of the journal.
func (s *Station) eachDefect(ctx context.Context, vehicle string, sequence int64, take func(*pb.Defect)) error {
	l := loader{journal: s.journal, at: uint64(sequence)}
	return l.each(ctx, defectRows+vehicle+"/", func(id string, value []byte) error {
		d := &pb.Defect{}
		if err := proto.Unmarshal(value, d); err != nil {
			return unreadable("the row of defect "+id, err)
		}
		take(d)
		return nil
	})
}

// ListDefects returns a page of defects, newest found first.
func (s *Station) ListDefects(ctx context.Context, req *pb.ListDefectsRequest) (*pb.ListDefectsResponse, error) {
	after, err := readPageToken(req)
	if err != nil {
		return nil, err
	}
	all, err := s.allDefects(ctx, req.GetVehicle(), req.GetStation(), s.clock())
	if err != nil {
		return nil, err
	}
	all = slices.DeleteFunc(all, func(d *pb.Defect) bool { return !wanted(d, req) })
	slices.SortFunc(all, func(a, b *pb.Defect) int { return cmp.Compare(listKey(a), listKey(b)) })
	from, found := slices.BinarySearchFunc(all, after, func(d *pb.Defect, key string) int { return cmp.Compare(listKey(d), key) })
	if found {
		from++
	}
	resp := &pb.ListDefectsResponse{Defects: all[from:min(len(all), from+pageSize(req))]}
	if from+len(resp.GetDefects()) < len(all) {
		resp.NextPageToken = pageToken(req, listKey(resp.GetDefects()[len(resp.GetDefects())-1]))
	}
	return resp, nil
}

// listKey puts defects in the order of the list: newest found first, then by name.
func listKey(d *pb.Defect) string {
	return fmt.Sprintf("%020d %s", math.MaxInt64-d.GetFirstFound().AsTime().UnixNano(), d.GetName())
}

// wanted tells that a list asks for a defect.
func wanted(d *pb.Defect, req *pb.ListDefectsRequest) bool {
	if req.GetReporter() != "" && d.GetFoundBy() != req.GetReporter() || req.GetGrade() != pb.Grade_GRADE_UNSPECIFIED && gradeOf(d) != req.GetGrade() {
		return false
	}
	if len(req.GetStates()) == 0 {
		return d.GetState() != pb.DefectState_DEFECT_STATE_CLOSED
	}
	return slices.Contains(req.GetStates(), d.GetState())
}

// gradeOf is that of the worst finding.
func gradeOf(d *pb.Defect) (worst pb.Grade) {
	for _, f := range d.GetFindings() {
		worst = max(worst, f.GetGrade())
	}
	return worst
}
