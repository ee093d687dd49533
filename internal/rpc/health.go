package rpc

import (
	"google.golang.org/grpc/health/grpc_health_v1"
)

// registerHealth answers for each service by its name, and for the station as a
// whole under the empty name: NOT_SERVING until Serve.
func (s *Server) registerHealth() {
	for name := range s.grpc.GetServiceInfo() {
		s.services = append(s.services, name)
	}
	s.services = append(s.services, "")
	s.setServing(false)
	grpc_health_v1.RegisterHealthServer(s.grpc, s.health)
}

func (s *Server) setServing(serving bool) {
	status := grpc_health_v1.HealthCheckResponse_NOT_SERVING
	if serving {
		status = grpc_health_v1.HealthCheckResponse_SERVING
	}
	for _, name := range s.services {
		s.health.SetServingStatus(name, status)
	}
}
