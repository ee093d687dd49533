package rpc

import (
	"google.golang.org/grpc"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// registerServices puts the handlers of one station on a server.
func registerServices(to grpc.ServiceRegistrar, st *station.Station, o Options, c *chain) {
	pb.RegisterVehicleServiceServer(to, &vehicles{station: st})
	pb.RegisterDefectServiceServer(to, &defects{station: st})
	pb.RegisterCallSignServiceServer(to, &callSigns{station: st})
	pb.RegisterScheduleServiceServer(to, &schedules{station: st})
	pb.RegisterPeopleServiceServer(to, &people{station: st, badges: o.Badges})
	pb.RegisterRoundServiceServer(to, &rounds{station: st, chain: c})
	pb.RegisterReadinessServiceServer(to, &readiness{station: st, encodings: newEncodings()})
	pb.RegisterJournalServiceServer(to, &journal{station: st, chain: c})
	pb.RegisterTwinServiceServer(to, &twin{station: st, badges: o.Badges})
	pb.RegisterHistoryServiceServer(to, &history{station: st, chain: c})
	pb.RegisterStockServiceServer(to, &stocks{station: st})
	pb.RegisterPhotoServiceServer(to, &photos{store: o.Photos})
	pb.RegisterEnrolServiceServer(to, &enrol{station: st, gate: o.Gate, denials: c.admission.denials})
}
