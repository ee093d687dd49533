package rpc

import (
	"context"
	"crypto/tls"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/netip"
	"slices"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health/grpc_health_v1"

	"bayround/internal/fault"
	"bayround/internal/trust"
	pb "bayround/proto/bayround/v1"
)

// secured is who makes connections, and why one could not be made.
type secured interface {
	// Trouble is why the newest connection could not be made for want of trust.
	Trouble() error
	// Met is closed when the next one could not be made for it.
	Met() <-chan struct{}
}

// DialSecure returns a connection to the station at address, as whoever the wallet
// says. The wallet is read when a connection is made; that it is empty then, or that
// another station answers, every call says as a fault of kind Unidentified.
func DialSecure(address string, wallet *trust.Wallet, more ...grpc.DialOption) (*grpc.ClientConn, error) {
	return dial(address, slices.Concat(secure(wallet.Config(), wallet), more)...)
}

// secure are the options of a connection whose maker tells why there is none.
func secure(config *tls.Config, by secured) []grpc.DialOption {
	return append([]grpc.DialOption{
		grpc.WithTransportCredentials(credentials.NewTLS(config)), untrusted(by), untrustedStreams(by),
	}, faults()...)
}

// untrusted has calls say why there is no connection, where it is for want of trust.
// It stands outermost.
func untrusted(by secured) grpc.DialOption {
	return grpc.WithChainUnaryInterceptor(func(ctx context.Context, method string, req, resp any, conn *grpc.ClientConn, invoke grpc.UnaryInvoker, options ...grpc.CallOption) error {
		ctx, cancel := context.WithCancel(ctx)
		defer cancel()
		met := by.Met()
		go func() { // a call that waits for a connection must not wait for one that is not to be trusted
			select {
			case <-met:
				cancel()
			case <-ctx.Done():
			}
		}()
		return whyUntrusted(by, invoke(ctx, method, req, resp, conn, options...))
	})
}

func untrustedStreams(by secured) grpc.DialOption {
	return grpc.WithChainStreamInterceptor(func(ctx context.Context, desc *grpc.StreamDesc, conn *grpc.ClientConn, method string, open grpc.Streamer, options ...grpc.CallOption) (grpc.ClientStream, error) {
		stream, err := open(ctx, desc, conn, method, options...)
		if err != nil {
			return nil, whyUntrusted(by, err)
		}
		return distrustful{stream, by}, nil
	})
}

// distrustful is a stream that says why it ended, where it is for want of trust.
type distrustful struct {
	grpc.ClientStream
	by secured
}

// RecvMsg receives.
func (d distrustful) RecvMsg(m any) error { return whyUntrusted(d.by, d.ClientStream.RecvMsg(m)) }

// whyUntrusted is why a call came to nothing: want of trust, where the station could
// not be asked at all.
func whyUntrusted(by secured, err error) error {
	if err == nil || errors.Is(err, io.EOF) {
		return err
	}
	var f *fault.Fault
	if errors.As(err, &f) && f.Reason != reasonNotReached && f.Reason != reasonLate {
		return err // the station said it
	}
	if trouble := by.Trouble(); trouble != nil {
		return trouble
	}
	return err
}

// Enrol has a tablet let in at the station at address, which is known by the SHA-256
// of its authority, and puts its identity into a folder. Called again with the same
// applicant after an answer was lost, it goes on with the same.
func Enrol(ctx context.Context, address string, a *trust.Applicant, t Ticket) error {
	conn, err := dial(address, secure(a.Config(t.AuthoritySHA256), a)...)
	if err != nil {
		return err
	}
	defer func() { _ = conn.Close() }() // it has told all it had to tell
	// The proof speaks of the certificate that the station shows, so it is asked something first.
	if _, err := grpc_health_v1.NewHealthClient(conn).Check(ctx, &grpc_health_v1.HealthCheckRequest{}); err != nil {
		return err
	}
	req, err := a.Apply(t.Device, t.Code)
	if err != nil {
		return err
	}
	resp, err := pb.NewEnrolServiceClient(conn).Enrol(ctx, req)
	if err != nil {
		return err
	}
	return a.Keep(t.Folder, resp)
}

// Ticket is what whoever enrols a tablet was given at the station.
type Ticket struct {
	Device          string
	Code            string // as trust.ReadCode returns it
	AuthoritySHA256 string // as trust.ReadPin returns it
	Folder          string // where the identity goes
}

// KeepRenewed renews the certificate of a wallet when two thirds of its time are
// over, or the station showed another authority, until ctx ends. What goes wrong is logged and tried again.
func KeepRenewed(ctx context.Context, conn grpc.ClientConnInterface, wallet *trust.Wallet, log *slog.Logger, every time.Duration) {
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		if wallet.Due() {
			if err := Renew(ctx, conn, wallet); err != nil && ctx.Err() == nil {
				log.Warn("the certificate could not be renewed; it will be tried again", "cause", err)
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// Renew has the certificate of a wallet renewed now.
func Renew(ctx context.Context, conn grpc.ClientConnInterface, wallet *trust.Wallet) error {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	held, err := wallet.Read()
	if err != nil {
		return err
	}
	request, err := held.Request()
	if err != nil {
		return err
	}
	resp, err := pb.NewEnrolServiceClient(conn).Renew(ctx, &pb.RenewRequest{CertificateRequest: request})
	if err != nil {
		return err
	}
	return wallet.Renewed(resp)
}

// Loopback tells whether an address can be reached from its own machine alone.
func Loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	if host == "localhost" {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback()
}
