package rpc

import (
	"context"
	"crypto/rand"
	"errors"

	"bayround/internal/fault"
	"bayround/internal/station"
	"bayround/internal/trust"
	pb "bayround/proto/bayround/v1"
)

// enrol answers EnrolService.
type enrol struct {
	// No defaults: an rpc without a handler fails the build.
	pb.UnsafeEnrolServiceServer
	station *station.Station
	gate    *trust.Gate // nil in plain text
	denials *denials
}

// secured refuses what makes no sense in plain text.
func (e *enrol) secured() error {
	if e.gate == nil {
		return fault.New(fault.Precondition, "PLAIN_TEXT", "this station serves in plain text and lets everybody on its machine in; start it without --plaintext-on-loopback first")
	}
	return nil
}

// record makes something part of the record, once under an id of its own.
func (e *enrol) record(ctx context.Context) trust.Record {
	return func(ev *pb.JournalEvent) error {
		id := rand.Text()
		if gone := ev.GetClientRevoked().GetClient(); gone != nil {
			id = "revoke/" + gone.GetEnrolment() // sent again it is recorded once
		}
		return e.station.RecordTrust(ctx, id, ev)
	}
}

// OpenEnrolment makes a code.
func (e *enrol) OpenEnrolment(ctx context.Context, req *pb.OpenEnrolmentRequest) (*pb.OpenEnrolmentResponse, error) {
	if err := e.secured(); err != nil {
		return nil, err
	}
	return e.gate.OpenEnrolment(req.GetDevice(), by(ctx), e.record(ctx))
}

// Enrol gives a tablet its certificate.
func (e *enrol) Enrol(ctx context.Context, req *pb.EnrolRequest) (*pb.EnrolResponse, error) {
	if err := e.secured(); err != nil {
		return nil, err
	}
	resp, err := e.gate.Enrol(req, e.record(ctx))
	if f := (*fault.Fault)(nil); errors.As(err, &f) && f.Kind == fault.Unidentified {
		e.denials.note(trust.Caller{}, addressOf(ctx), pb.EnrolService_Enrol_FullMethodName, f.Reason)
	}
	return resp, err
}

// Renew gives whoever calls a certificate that lasts longer.
func (e *enrol) Renew(ctx context.Context, req *pb.RenewRequest) (*pb.RenewResponse, error) {
	if err := e.secured(); err != nil {
		return nil, err
	}
	return e.gate.Renew(callerOf(ctx), req.GetCertificateRequest(), e.record(ctx))
}

// Admit gives a program its certificate.
func (e *enrol) Admit(ctx context.Context, req *pb.AdmitRequest) (*pb.AdmitResponse, error) {
	if err := e.secured(); err != nil {
		return nil, err
	}
	return e.gate.Admit(req, by(ctx), e.record(ctx))
}

// Revoke lets somebody in no more.
func (e *enrol) Revoke(ctx context.Context, req *pb.RevokeRequest) (*pb.RevokeResponse, error) {
	if err := e.secured(); err != nil {
		return nil, err
	}
	return e.gate.Revoke(req, by(ctx), e.record(ctx))
}

// RotateAuthority has another authority take the place of the station's.
func (e *enrol) RotateAuthority(ctx context.Context, req *pb.RotateAuthorityRequest) (*pb.RotateAuthorityResponse, error) {
	if err := e.secured(); err != nil {
		return nil, err
	}
	state, err := e.gate.RotateAuthority(req, by(ctx), e.record(ctx))
	return &pb.RotateAuthorityResponse{State: state}, err
}

// RetireAuthority ends a rotation early.
func (e *enrol) RetireAuthority(ctx context.Context, req *pb.RetireAuthorityRequest) (*pb.RetireAuthorityResponse, error) {
	if err := e.secured(); err != nil {
		return nil, err
	}
	return e.gate.RetireAuthority(req, by(ctx), e.record(ctx))
}

// GetAuthority tells by what the station is known.
func (e *enrol) GetAuthority(context.Context, *pb.GetAuthorityRequest) (*pb.GetAuthorityResponse, error) {
	if err := e.secured(); err != nil {
		return nil, err
	}
	return &pb.GetAuthorityResponse{State: e.gate.AuthorityState()}, nil
}

// ListClients lists everybody who was ever let in.
func (e *enrol) ListClients(context.Context, *pb.ListClientsRequest) (*pb.ListClientsResponse, error) {
	if err := e.secured(); err != nil {
		return nil, err
	}
	return &pb.ListClientsResponse{Clients: e.gate.Clients()}, nil
}

// by is the name of who calls.
func by(ctx context.Context) string { return callerOf(ctx).Name }
