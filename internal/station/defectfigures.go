package station

import (
	"context"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/stat"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// figuresOver is over how many days times and repeats are counted when nothing is said.
const figuresOver = 90 * 24 * time.Hour

// ages are the bounds between the ages of open defects, in days: the day itself, the
// intervals of CS-MMEL, and a month.
var ages = []int32{0, 1, 3, 10, 30, 120}

// GetDefectFigures counts open defects, and how long it took to answer and to repair.
func (s *Station) GetDefectFigures(ctx context.Context, req *pb.GetDefectFiguresRequest) (*pb.GetDefectFiguresResponse, error) {
	now := s.clock()
	since := now.Add(-figuresOver)
	if req.GetSince() != nil {
		if !req.GetSince().IsValid() {
			return nil, invalid("SINCE_WRONG", "since", "this is no instant between the years 1 and 9999")
		}
		since = req.GetSince().AsTime()
	}
	all, err := s.allDefects(ctx, req.GetVehicle(), req.GetStation(), now)
	if err != nil {
		return nil, err
	}
	figures := &pb.GetDefectFiguresResponse{Since: timestamppb.New(since), OpenByAge: emptyAges()}
	var acknowledged, rectified []float64
	byVehicle := map[string]*pb.VehicleDefects{}
	for _, d := range all {
		vehicle, _, _ := strings.Cut(d.GetName(), "/defects/")
		if byVehicle[vehicle] == nil {
			byVehicle[vehicle] = &pb.VehicleDefects{Vehicle: vehicle}
		}
		of := byVehicle[vehicle]
		countOpen(figures, of, d, now)
		for i, life := range livesOf(d) {
			found := life.GetFirstFound().AsTime()
			if found.Before(since) {
				continue
			}
			of.Found++
			if i < int(d.GetRepeats()) { // the newest lives are those that came back
				of.Repeats++
			}
			if life.GetAcknowledged() != nil {
				acknowledged = append(acknowledged, life.GetAcknowledged().AsTime().Sub(found).Hours())
			}
			if life.GetRepair() != nil {
				rectified = append(rectified, life.GetRepair().GetStationTime().AsTime().Sub(found).Hours())
			}
		}
	}
	for _, name := range sortedKeys(byVehicle) {
		of := byVehicle[name]
		figures.Found, figures.Repeats = figures.GetFound()+of.GetFound(), figures.GetRepeats()+of.GetRepeats()
		if of.GetOpen()+of.GetFound() > 0 {
			figures.ByVehicle = append(figures.ByVehicle, of)
		}
	}
	figures.ToAcknowledge, figures.ToRectify = timesOf(acknowledged), timesOf(rectified)
	return figures, nil
}

// livesOf are the lives of a defect, the present one first. A repair that did not hold
// is of the life before.
func livesOf(d *pb.Defect) []*pb.EarlierDefect {
	present := &pb.EarlierDefect{FirstFound: d.GetFirstFound(), Acknowledged: d.GetAcknowledgement().GetFirst(), Closed: d.GetClosed()}
	if d.GetState() == pb.DefectState_DEFECT_STATE_RECTIFIED || d.GetState() == pb.DefectState_DEFECT_STATE_CLOSED {
		present.Repair = d.GetRepair()
	}
	return append([]*pb.EarlierDefect{present}, d.GetEarlier()...)
}

func emptyAges() (all []*pb.DefectAge) {
	for i, over := range ages {
		age := &pb.DefectAge{OverDays: over}
		if i+1 < len(ages) {
			age.UpToDays = ages[i+1]
		}
		all = append(all, age)
	}
	return all
}

// countOpen counts a defect among the open ones, if it is one, and those of its vehicle.
func countOpen(to *pb.GetDefectFiguresResponse, of *pb.VehicleDefects, d *pb.Defect, now time.Time) {
	switch d.GetState() {
	case pb.DefectState_DEFECT_STATE_CLOSED:
		return
	case pb.DefectState_DEFECT_STATE_DEFERRED:
		to.Deferred++
	case pb.DefectState_DEFECT_STATE_RECTIFIED:
		to.Rectified++
	}
	to.Open, of.Open = to.GetOpen()+1, of.GetOpen()+1
	if d.GetAcknowledgement() == nil && d.GetState() != pb.DefectState_DEFECT_STATE_RECTIFIED {
		to.Unanswered, of.Unanswered = to.GetUnanswered()+1, of.GetUnanswered()+1
	}
	days := now.Sub(d.GetFirstFound().AsTime()).Hours() / 24
	for _, age := range slices.Backward(to.GetOpenByAge()) {
		if days > float64(age.GetOverDays()) || age.GetOverDays() == 0 {
			age.Defects++
			switch gradeOf(d) {
			case pb.Grade_GRADE_DANGEROUS:
				age.Dangerous, of.Dangerous = age.GetDangerous()+1, of.GetDangerous()+1
			case pb.Grade_GRADE_MAJOR:
				age.Major, of.Major = age.GetMajor()+1, of.GetMajor()+1
			}
			return
		}
	}
}

// timesOf are the quantiles of times in hours.
func timesOf(hours []float64) *pb.DefectTimes {
	if len(hours) == 0 {
		return &pb.DefectTimes{}
	}
	slices.Sort(hours)
	return &pb.DefectTimes{
		Defects:    int32(len(hours)), //nolint:gosec // far fewer than two thousand million
		MedianH:    stat.Quantile(0.5, stat.Empirical, hours, nil),
		NineInTenH: stat.Quantile(0.9, stat.Empirical, hours, nil), LongestH: hours[len(hours)-1],
	}
}
