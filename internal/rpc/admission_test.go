package rpc

import (
	"context"
	"crypto/tls"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/emptypb"

	"bayround/internal/admit"
	"bayround/internal/station"
	"bayround/internal/trust"
	pb "bayround/proto/bayround/v1"
)

// gated is a station behind a gate, on a real socket.
type gated struct {
	t       testing.TB
	gate    *trust.Gate
	server  *Server
	station *station.Station
	address string
}

func serveGated(t testing.TB) *gated {
	t.Helper()
	return serveGatedOn(t, openStation(t))
}

func serveGatedOn(t testing.TB, st *station.Station) *gated {
	t.Helper()
	gate, err := trust.OpenGate(trust.GateOptions{Folder: filepath.Join(t.TempDir(), "trust"), Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	g := &gated{t: t, gate: gate, station: st}
	var plain *grpc.ClientConn
	g.server, plain = serve(t, g.station, Options{Gate: gate})
	g.address = plain.Target()
	return g
}

// as is a connection of somebody with a role; with none, of somebody without a
// certificate. Its errors are statuses.
func (g *gated) as(role pb.ClientRole) *grpc.ClientConn {
	g.t.Helper()
	config := &tls.Config{MinVersion: tls.VersionTLS13, InsecureSkipVerify: true} //nolint:gosec // who does not know the station
	if role != pb.ClientRole_CLIENT_ROLE_UNSPECIFIED {
		config = g.wallet(role).Config()
	}
	conn, err := grpc.NewClient(g.address, append(leanClient(), grpc.WithTransportCredentials(credentials.NewTLS(config)))...)
	if err != nil {
		g.t.Fatal(err)
	}
	g.t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// wallet is the identity of somebody with a role; tablets enrol by a code, over the wire.
func (g *gated) wallet(role pb.ClientRole) *trust.Wallet {
	g.t.Helper()
	a, err := trust.NewApplicant()
	if err != nil {
		g.t.Fatal(err)
	}
	folder, name := g.t.TempDir(), "a-"+admit.Word(role)
	kept := func(*pb.JournalEvent) error { return nil }
	if role == pb.ClientRole_CLIENT_ROLE_TABLET {
		opened, err := g.gate.OpenEnrolment(name, "test", kept)
		if err != nil {
			g.t.Fatal(err)
		}
		code, err := trust.ReadCode(opened.GetCode())
		if err != nil {
			g.t.Fatal(err)
		}
		if err := Enrol(g.t.Context(), g.address, a, Ticket{Device: name, Code: code, AuthoritySHA256: g.gate.AuthoritySHA256(), Folder: folder}); err != nil {
			g.t.Fatal(err)
		}
	} else {
		resp, err := g.gate.Admit(&pb.AdmitRequest{Name: name, Role: role, CertificateRequest: a.Request()}, "test", kept)
		if err != nil {
			g.t.Fatal(err)
		}
		if err := a.Keep(folder, resp); err != nil {
			g.t.Fatal(err)
		}
	}
	return trust.OpenWallet(trust.FilesIn(folder), time.Now)
}

// foreignMethods are the methods that no proto of ours lists.
func foreignMethods() []method {
	return []method{
		{name: grpc_health_v1.Health_Check_FullMethodName, sampleOfCall: &grpc_health_v1.HealthCheckRequest{}},
		{name: grpc_health_v1.Health_List_FullMethodName, sampleOfCall: &grpc_health_v1.HealthListRequest{}},
		{name: grpc_health_v1.Health_Watch_FullMethodName, sampleOfCall: &grpc_health_v1.HealthCheckRequest{}, fromStation: true},
		{name: grpc_reflection_v1.ServerReflection_ServerReflectionInfo_FullMethodName, sampleOfCall: &grpc_reflection_v1.ServerReflectionRequest{}, fromCaller: true, fromStation: true},
		{name: "/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo", sampleOfCall: &grpc_reflection_v1.ServerReflectionRequest{}, fromCaller: true, fromStation: true},
	}
}

// Every method that the server has registered, called as everybody there is, over
// real connections: who may is let through to it, all others are refused.
func TestAdmission_EveryMethodAsEveryRole(t *testing.T) {
	g := serveGated(t)
	all := append(methods(t), foreignMethods()...)
	for service, info := range g.server.grpc.GetServiceInfo() {
		for _, m := range info.Methods {
			if name := "/" + service + "/" + m.Name; !slices.ContainsFunc(all, func(m method) bool { return m.name == name }) {
				t.Errorf("%s is registered, and not called here", name)
			}
		}
	}
	for _, role := range append(admit.Roles(), pb.ClientRole_CLIENT_ROLE_UNSPECIFIED) {
		conn := g.as(role)
		for _, m := range all {
			may := admit.May(role, m.name)
			err := m.send(t.Context(), conn, m.sampleOfCall, &emptypb.Empty{})
			refused := codes.Unauthenticated
			if role != pb.ClientRole_CLIENT_ROLE_UNSPECIFIED {
				refused = codes.PermissionDenied
			}
			reason := reasonOfStatus(err)
			switch {
			case may && (reason == trust.ReasonRole || reason == "CERTIFICATE_MISSING"):
				t.Errorf("%s may call %s and was refused: %v", admit.Word(role), m.name, err)
			case !may && status.Code(err) != refused:
				t.Errorf("%s may not call %s: %v", admit.Word(role), m.name, err)
			}
		}
	}
}

// reasonOfStatus is the reason in the details of a status.
func reasonOfStatus(err error) string {
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			return info.GetReason()
		}
	}
	return ""
}

// What is not in the table is refused although it is served.
func TestAdmission_RefusesWhatStandsInNoTable(t *testing.T) {
	g := serveGated(t)
	a := &admission{gate: g.gate, denials: newDenials(g.station, g.server.options.Logger, time.Hour)}
	handled := false
	_, err := a.unary(t.Context(), nil, &grpc.UnaryServerInfo{FullMethod: "/bayround.v1.NewService/New"}, func(context.Context, any) (any, error) {
		handled = true
		return nil, nil
	})
	if err == nil || handled {
		t.Errorf("called: %v, %v", handled, err)
	}
}
