package main

import (
	"context"
	"errors"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc"

	"bayround/internal/rpc"
	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

// patience is how long one call of ours may take.
const patience = 10 * time.Second

// remote is a station that is asked over the wire.
type remote struct {
	conn      *grpc.ClientConn
	vehicles  pb.VehicleServiceClient
	defects   pb.DefectServiceClient
	callSigns pb.CallSignServiceClient
	rounds    pb.RoundServiceClient
	schedule  pb.ScheduleServiceClient
	readiness pb.ReadinessServiceClient
	history   pb.HistoryServiceClient
	stock     pb.StockServiceClient
	enrolment pb.EnrolServiceClient
}

// reach connects to a station; whether it is there shows at the first call.
func (c *console) reach(address string, more ...grpc.DialOption) (*remote, error) {
	conn, err := c.dial(address, more...)
	if err != nil {
		return nil, command.MisusedBy(err)
	}
	return &remote{
		conn: conn, vehicles: pb.NewVehicleServiceClient(conn), defects: pb.NewDefectServiceClient(conn), callSigns: pb.NewCallSignServiceClient(conn), rounds: pb.NewRoundServiceClient(conn),
		schedule: pb.NewScheduleServiceClient(conn), readiness: pb.NewReadinessServiceClient(conn), history: pb.NewHistoryServiceClient(conn), stock: pb.NewStockServiceClient(conn),
		enrolment: pb.NewEnrolServiceClient(conn),
	}, nil
}

// close ends the connection.
func (s *remote) close() { _ = s.conn.Close() }

// asking connects to a station, lets do use it, and ends the connection. It says beside
// the answer, once, when the station's record has lost its newest entries: whatever
// it tells may then be old.
func (c *console) asking(address string, do func(*remote) error) error {
	var once sync.Once
	s, err := c.reach(address, rpc.WhenBehind(func() {
		once.Do(func() {
			c.Complain("note: this station's record has lost its newest entries; it takes nothing until it is repaired (server repair)")
		})
	}))
	if err != nil {
		return err
	}
	defer s.close()
	return do(s)
}

// patiently bounds one call.
func patiently(ctx context.Context) (context.Context, context.CancelFunc) {
	return context.WithTimeout(ctx, patience)
}

// inCollection completes a name: "WN11" and "wn11" are "vehicles/wn11" among
// vehicles; a whole name stays as it is.
func inCollection(collection, name string) string {
	if name == "" || strings.Contains(name, "/") {
		return name
	}
	return collection + "/" + strings.ToLower(name)
}

// pages calls fetch with token after token until there is no next page.
func pages(fetch func(token string) (next string, err error)) error {
	for token := ""; ; {
		next, err := fetch(token)
		if err != nil || next == "" {
			return err
		}
		if next == token {
			return errors.New("the station gives the same page again and again")
		}
		token = next
	}
}
