package trust

import (
	"context"
	"crypto/sha256"
	"crypto/x509"
	"time"

	"bayround/internal/admit"
	"bayround/internal/fault"
)

// Caller is who is at the other end of a connection.
type Caller struct {
	Identity
	// NotAfter is until when the certificate lasts.
	NotAfter time.Time
	// CertificateSHA256 is of the certificate that was shown, DER; nil when none counts.
	CertificateSHA256 []byte
	// signer is the SHA-256 of the authority that signed it.
	signer string
	// problem is why the certificate that was shown says nothing; nil for one that does.
	problem *fault.Fault
}

// Identify reads who showed certificates on a connection. Whether that counts now is
// for Judge to say.
func (g *Gate) Identify(shown []*x509.Certificate) Caller {
	if len(shown) == 0 {
		return Caller{problem: fault.New(fault.Unidentified, "CERTIFICATE_MISSING",
			"this call needs a certificate of this station's, and none was shown; a tablet is enrolled with server enrol, another program is let in with server admit")}
	}
	leaf := shown[0]
	who, err := parseIdentity(uriOf(leaf))
	signer, foreign := g.keys.Load().signerOf(leaf)
	if foreign != nil {
		err = foreign
	}
	if err != nil {
		return Caller{problem: fault.New(fault.Unidentified, "CERTIFICATE_FOREIGN",
			"the certificate that was shown is not one of this station's, or of an authority that it has retired; enrol here, or call the station that gave it. What waits to be sent is kept").Because(err)}
	}
	sum := sha256.Sum256(leaf.Raw)
	return Caller{Identity: who, NotAfter: leaf.NotAfter, CertificateSHA256: sum[:], signer: signer}
}

// Judge refuses whoever is not let in now.
func (g *Gate) Judge(c Caller) error {
	if why := g.keys.Load().judge(g.listed.Load(), c, g.now()); why != nil {
		return why
	}
	return nil
}

// judge says why somebody is not let in by a register; nil when they are.
func (k *keys) judge(r *register, c Caller, now time.Time) *fault.Fault {
	if why := r.judge(c, now); why != nil {
		return why
	}
	if !k.trusts(c.signer) {
		return fault.New(fault.Unidentified, "CERTIFICATE_RETIRED", "the certificate of %s was given by an authority that this station has retired; enrol again. What waits to be sent is kept", c.Name)
	}
	return nil
}

// May refuses whoever may not make a call.
func (g *Gate) May(c Caller, method string) error {
	if admit.May(0, method) {
		return nil
	}
	if err := g.Judge(c); err != nil {
		return err
	}
	if !admit.May(c.Role, method) {
		return fault.New(fault.Denied, ReasonRole, "%s is let in as %s, and as such may not call %s; server roles prints who may", c.Name, admit.Word(c.Role), method)
	}
	return nil
}

// ReasonRole is the reason for which somebody who is known is refused a call.
const ReasonRole = "ROLE_NOT_ALLOWED"

// judge says why somebody is not let in; nil when they are.
func (r *register) judge(c Caller, now time.Time) *fault.Fault {
	if c.problem != nil {
		return c.problem
	}
	listed := r.find(c.Name)
	switch {
	case listed == nil || listed.Role != c.Role:
		return fault.New(fault.Unidentified, "CERTIFICATE_UNKNOWN", "this station does not know the certificate of %s any more; enrol again. What waits to be sent is kept", c.Name)
	case !listed.Revoked.IsZero() && listed.Enrolment == c.Enrolment:
		return fault.New(fault.Unidentified, "CERTIFICATE_REVOKED", "%s is not let in any more (%s); ask whoever runs the station. What waits to be sent is kept", c.Name, reasonOr(listed.Reason))
	case listed.Enrolment != c.Enrolment:
		return fault.New(fault.Unidentified, "CERTIFICATE_SUPERSEDED", "the name %s was given anew, and this certificate is of before; enrol again. What waits to be sent is kept", c.Name)
	case !now.Before(c.NotAfter):
		return fault.New(fault.Unidentified, "CERTIFICATE_EXPIRED", "the certificate of %s ended on %s; enrol again. What waits to be sent is kept", c.Name, c.NotAfter.UTC().Format("2 January 2006"))
	}
	return nil
}

func reasonOr(reason string) string {
	if reason == "" {
		return "no reason was given"
	}
	return reason
}

// stream is a call that lasts.
type stream struct {
	caller Caller
	end    context.CancelCauseFunc
}

// Bind returns a context that ends with parent, or when the caller is let in no more;
// its cause then says why. release frees what it holds.
func (g *Gate) Bind(parent context.Context, c Caller) (ctx context.Context, release func()) {
	ctx, cancel := context.WithCancelCause(parent)
	s := &stream{caller: c, end: cancel}
	g.mu.Lock()
	g.streams[s] = struct{}{}
	g.mu.Unlock()
	if err := g.Judge(c); err != nil { // since the call was let in, and before it was listed here
		cancel(err)
	}
	return ctx, func() {
		g.mu.Lock()
		delete(g.streams, s)
		g.mu.Unlock()
		cancel(context.Canceled)
	}
}
