package round

import (
	"cmp"
	"context"
	"slices"
	"time"

	pb "bayround/proto/bayround/v1"
)

// DefectBook knows defects and what became of them. The station of record does, and the
// tablet's twin does of those that are open or were closed lately.
type DefectBook interface {
	// GetDefect returns a defect, and what is missing before it ends.
	GetDefect(context.Context, *pb.GetDefectRequest) (*pb.GetDefectResponse, error)
	// ListDefects returns a page of defects.
	ListDefects(context.Context, *pb.ListDefectsRequest) (*pb.ListDefectsResponse, error)
	// GetDefectFigures returns how many are open and how long they take.
	GetDefectFigures(context.Context, *pb.GetDefectFiguresRequest) (*pb.GetDefectFiguresResponse, error)
}

// mostClosed is how many closed defects are listed at most, the newest.
const mostClosed = 30

// Defects are those of a vehicle, or of all.
type Defects struct {
	Open    []*pb.Defect // the worst first, then the oldest
	Closed  []*pb.Defect // the last ones, newest first, at most 30
	Figures *pb.GetDefectFiguresResponse
}

// Defects returns the defects of a vehicle, of all vehicles when none is named; all of
// it from one source.
func (a *Archive) Defects(ctx context.Context, vehicle string) (Defects, Source, error) {
	return askOf(ctx, a.book, DefectBook(a.twin), func(ctx context.Context, of DefectBook) (all Defects, err error) {
		if all.Figures, err = of.GetDefectFigures(ctx, &pb.GetDefectFiguresRequest{Vehicle: vehicle}); err != nil {
			return all, err
		}
		if all.Open, err = listed(ctx, of, &pb.ListDefectsRequest{Vehicle: vehicle, PageSize: 200}); err != nil {
			return all, err
		}
		all.Closed, err = listed(ctx, of, &pb.ListDefectsRequest{Vehicle: vehicle, PageSize: 200, States: []pb.DefectState{pb.DefectState_DEFECT_STATE_CLOSED}})
		slices.SortStableFunc(all.Open, func(x, y *pb.Defect) int {
			return cmp.Or(
				cmp.Compare(worst(y.GetFindings()).GetEffect(), worst(x.GetFindings()).GetEffect()),
				cmp.Compare(worst(y.GetFindings()).GetGrade(), worst(x.GetFindings()).GetGrade()), first(x).Compare(first(y)))
		})
		slices.SortStableFunc(all.Closed, func(x, y *pb.Defect) int { return y.GetClosed().AsTime().Compare(x.GetClosed().AsTime()) })
		all.Closed = all.Closed[:min(len(all.Closed), mostClosed)]
		return all, err
	})
}

// listed reads a list of defects to its end.
func listed(ctx context.Context, of DefectBook, req *pb.ListDefectsRequest) (all []*pb.Defect, err error) {
	for {
		resp, err := of.ListDefects(ctx, req)
		if err != nil {
			return nil, err
		}
		all = append(all, resp.GetDefects()...)
		if req.PageToken = resp.GetNextPageToken(); req.GetPageToken() == "" {
			return all, nil
		}
	}
}

func first(d *pb.Defect) time.Time { return d.GetFirstFound().AsTime() }

// Defect returns one defect, what of it may wait and what is missing before it ends.
func (a *Archive) Defect(ctx context.Context, name string) (*pb.GetDefectResponse, Source, error) {
	return askOf(ctx, a.book, DefectBook(a.twin), func(ctx context.Context, of DefectBook) (*pb.GetDefectResponse, error) {
		return of.GetDefect(ctx, &pb.GetDefectRequest{Name: name})
	})
}

// defectsOverWire is the station of record as a book of defects.
type defectsOverWire struct{ client pb.DefectServiceClient }

func (o defectsOverWire) GetDefect(ctx context.Context, req *pb.GetDefectRequest) (*pb.GetDefectResponse, error) {
	return o.client.GetDefect(ctx, req)
}

func (o defectsOverWire) ListDefects(ctx context.Context, req *pb.ListDefectsRequest) (*pb.ListDefectsResponse, error) {
	return o.client.ListDefects(ctx, req)
}

func (o defectsOverWire) GetDefectFigures(ctx context.Context, req *pb.GetDefectFiguresRequest) (*pb.GetDefectFiguresResponse, error) {
	return o.client.GetDefectFigures(ctx, req)
}
