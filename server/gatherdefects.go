package main

import (
	"context"

	"bayround/internal/roundrecord"
	pb "bayround/proto/bayround/v1"
)

// everyState are the states of a defect, closed ones too.
var everyState = []pb.DefectState{
	pb.DefectState_DEFECT_STATE_OPEN, pb.DefectState_DEFECT_STATE_ACKNOWLEDGED, pb.DefectState_DEFECT_STATE_DEFERRED,
	pb.DefectState_DEFECT_STATE_RECTIFIED, pb.DefectState_DEFECT_STATE_CLOSED,
}

// addDefects adds the defects of the vehicle as they are now, with what became of them.
func (g *gathering) addDefects(ctx context.Context, r *roundrecord.Record) error {
	vehicle := r.Round.GetVehicle()
	if _, asked := g.defects[vehicle]; !asked {
		ctx, cancel := patiently(ctx)
		defer cancel()
		found := []*pb.Defect{}
		err := pages(func(token string) (string, error) {
			resp, err := g.station.defects.ListDefects(ctx, &pb.ListDefectsRequest{PageSize: 200, PageToken: token, Vehicle: vehicle, States: everyState})
			found = append(found, resp.GetDefects()...)
			return resp.GetNextPageToken(), err
		})
		if err != nil {
			return err
		}
		if g.defects == nil {
			g.defects = map[string][]*pb.Defect{}
		}
		g.defects[vehicle] = found
	}
	r.Defects = g.defects[vehicle]
	return nil
}
