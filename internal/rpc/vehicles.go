package rpc

import (
	"context"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// vehicles answers VehicleService.
type vehicles struct {
	pb.UnsafeVehicleServiceServer
	station *station.Station
}

// Apply checks configuration files and puts all or none in force.
func (v *vehicles) Apply(ctx context.Context, req *pb.ApplyRequest) (*pb.ApplyResponse, error) {
	return v.station.Apply(ctx, req)
}

// GetVehicle returns a vehicle configuration.
func (v *vehicles) GetVehicle(ctx context.Context, req *pb.GetVehicleRequest) (*pb.GetVehicleResponse, error) {
	return v.station.GetVehicle(ctx, req)
}

// ListVehicles returns all vehicles.
func (v *vehicles) ListVehicles(ctx context.Context, req *pb.ListVehiclesRequest) (*pb.ListVehiclesResponse, error) {
	return v.station.ListVehicles(ctx, req)
}

// GetPlan returns the steps of a routine for a vehicle.
func (v *vehicles) GetPlan(ctx context.Context, req *pb.GetPlanRequest) (*pb.GetPlanResponse, error) {
	return v.station.GetPlan(ctx, req)
}

// GetWalk returns a way through the steps of a plan.
func (v *vehicles) GetWalk(ctx context.Context, req *pb.GetWalkRequest) (*pb.GetWalkResponse, error) {
	return v.station.GetWalk(ctx, req)
}

// GetCatalogue returns the catalogue in force.
func (v *vehicles) GetCatalogue(ctx context.Context, req *pb.GetCatalogueRequest) (*pb.GetCatalogueResponse, error) {
	return v.station.GetCatalogue(ctx, req)
}

// ListRoutines returns the routines.
func (v *vehicles) ListRoutines(ctx context.Context, req *pb.ListRoutinesRequest) (*pb.ListRoutinesResponse, error) {
	return v.station.ListRoutines(ctx, req)
}

// ListGauges returns the gauge register.
func (v *vehicles) ListGauges(ctx context.Context, req *pb.ListGaugesRequest) (*pb.ListGaugesResponse, error) {
	return v.station.ListGauges(ctx, req)
}

// ListPeople returns the people.
func (v *vehicles) ListPeople(ctx context.Context, req *pb.ListPeopleRequest) (*pb.ListPeopleResponse, error) {
	return v.station.ListPeople(ctx, req)
}

// ErasePerson erases who a person is.
func (v *vehicles) ErasePerson(ctx context.Context, req *pb.ErasePersonRequest) (*pb.ErasePersonResponse, error) {
	return v.station.ErasePerson(ctx, req)
}

// ListStations returns the stations.
func (v *vehicles) ListStations(ctx context.Context, req *pb.ListStationsRequest) (*pb.ListStationsResponse, error) {
	return v.station.ListStations(ctx, req)
}

// GetRulePack returns a rule pack in force.
func (v *vehicles) GetRulePack(ctx context.Context, req *pb.GetRulePackRequest) (*pb.GetRulePackResponse, error) {
	return v.station.GetRulePack(ctx, req)
}

// ListRulePacks returns the rule packs in force.
func (v *vehicles) ListRulePacks(ctx context.Context, req *pb.ListRulePacksRequest) (*pb.ListRulePacksResponse, error) {
	return v.station.ListRulePacks(ctx, req)
}

// RecordRepair records that a defect was put right.
func (v *vehicles) RecordRepair(ctx context.Context, req *pb.RecordRepairRequest) (*pb.RecordRepairResponse, error) {
	return v.station.RecordRepair(ctx, req)
}
