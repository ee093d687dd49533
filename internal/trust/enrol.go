package trust

import (
	"crypto/ecdsa"
	"crypto/sha256"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/admit"
	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// Record makes something part of the station's record; what cannot be recorded is
// not done, but for a revocation.
type Record func(*pb.JournalEvent) error

func newIdentity(role pb.ClientRole, name string) Identity {
	return Identity{Role: role, Name: name, Enrolment: uuid.NewString()}
}

// OpenEnrolment makes a code for a tablet. by is who asked for it.
func (g *Gate) OpenEnrolment(device, by string, record Record) (*pb.OpenEnrolmentResponse, error) {
	drawn, err := newCode()
	if err != nil {
		return nil, err
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	next := g.listed.Load().clone()
	if err := next.mayTake(device, pb.ClientRole_CLIENT_ROLE_TABLET); err != nil {
		return nil, err
	}
	now := g.now().UTC()
	err = record(&pb.JournalEvent{Event: &pb.JournalEvent_EnrolmentOpened{EnrolmentOpened: &pb.EnrolmentOpened{Device: device, By: by}}})
	if err != nil {
		return nil, err
	}
	next.open(code{Device: device, Key: macKey(drawn), Opened: now}, now)
	if err := g.keepLocked(next); err != nil {
		return nil, err
	}
	return &pb.OpenEnrolmentResponse{Code: SpellCode(drawn), AuthoritySha256: g.AuthoritySHA256(), Expires: timestamppb.New(now.Add(codeLasts))}, nil
}

// Enrol gives a tablet that shows a code its certificate.
func (g *Gate) Enrol(req *pb.EnrolRequest, record Record) (*pb.EnrolResponse, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	a := attempt{device: req.GetDevice(), request: req.GetCertificateRequest(), mac: req.GetMac(), spkis: g.serving.Load().spkis}
	next := g.listed.Load().clone()
	c := next.code(a.device)
	if why := c.refuse(a, g.now()); why != nil {
		if why.Reason == "ENROL_CODE_WRONG" {
			if err := g.keepLocked(next); err != nil { // counted before it is answered
				return nil, err
			}
		}
		return nil, why
	}
	if c.usedBy(a) {
		return &pb.EnrolResponse{Certificate: c.Certificate, Authority: g.Authority(), Authorities: g.keys.Load().raw()}, nil
	}
	key, err := requestedKey(a.request)
	if err == nil {
		err = next.mayTake(a.device, pb.ClientRole_CLIENT_ROLE_TABLET) // somebody else may have come in since
	}
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(a.request)
	return g.enterLocked(next, newIdentity(pb.ClientRole_CLIENT_ROLE_TABLET, a.device), key, entry{
		lasts: leafLasts, record: record, used: func(cert []byte) { c.Request, c.Certificate = sum[:], cert },
	})
}

// entry is how somebody comes into the register.
type entry struct {
	lasts  time.Duration
	by     string
	record Record
	used   func(cert []byte)
}

// enterLocked records that somebody is let in and then lists them.
func (g *Gate) enterLocked(next *register, who Identity, key *ecdsa.PublicKey, e entry) (*pb.EnrolResponse, error) {
	cert, listed, err := g.sign(who, key, e.lasts)
	if err != nil {
		return nil, err
	}
	if err := next.put(listed); err != nil {
		return nil, err
	}
	err = e.record(&pb.JournalEvent{Event: &pb.JournalEvent_ClientAdmitted{ClientAdmitted: &pb.ClientAdmitted{Client: listed.message(), By: e.by}}})
	if err != nil {
		return nil, err
	}
	if e.used != nil {
		e.used(cert.Raw)
	}
	if err := g.keepLocked(next); err != nil {
		return nil, err
	}
	return &pb.EnrolResponse{Certificate: cert.Raw, Authority: g.Authority(), Authorities: g.keys.Load().raw()}, nil
}

// Admit gives a program that is no tablet its certificate. by is who asked for it.
func (g *Gate) Admit(req *pb.AdmitRequest, by string, record Record) (*pb.AdmitResponse, error) {
	key, err := requestedKey(req.GetCertificateRequest())
	if err != nil {
		return nil, err
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	next := g.listed.Load().clone()
	if err := next.mayTake(req.GetName(), req.GetRole()); err != nil {
		return nil, err
	}
	resp, err := g.enterLocked(next, newIdentity(req.GetRole(), req.GetName()), key, entry{lasts: systemLasts, by: by, record: record})
	if err != nil {
		return nil, err
	}
	return &pb.AdmitResponse{Certificate: resp.GetCertificate(), Authority: resp.GetAuthority(), Authorities: resp.GetAuthorities()}, nil
}

// mayTake refuses a name that somebody of another kind has.
func (r *register) mayTake(name string, role pb.ClientRole) error {
	switch had := r.find(name); {
	case name == administratorName:
		return fault.New(fault.Exists, "NAME_TAKEN", "%q is whoever runs this station on its own machine; choose another name", name)
	case had != nil && had.Role != role && had.Revoked.IsZero():
		return fault.New(fault.Exists, "NAME_TAKEN", "%q is let in as %s; choose another name, or revoke that one first", name, admit.Word(had.Role))
	}
	return nil
}

// Renew gives somebody who is let in a certificate that lasts longer.
func (g *Gate) Renew(c Caller, request []byte, record Record) (*pb.RenewResponse, error) {
	key, err := requestedKey(request)
	if err != nil {
		return nil, err
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	next := g.listed.Load().clone()
	if why := next.judge(c, g.now()); why != nil {
		return nil, why
	}
	lasts := systemLasts
	if c.Role == pb.ClientRole_CLIENT_ROLE_TABLET || c.Name == administratorName {
		lasts = leafLasts
	}
	cert, listed, err := g.sign(c.Identity, key, lasts)
	if err != nil {
		return nil, err
	}
	listed.Admitted = next.find(c.Name).Admitted
	if err := next.put(listed); err != nil {
		return nil, err
	}
	err = record(&pb.JournalEvent{Event: &pb.JournalEvent_ClientRenewed{ClientRenewed: &pb.ClientRenewed{Client: listed.message()}}})
	if err != nil {
		return nil, err
	}
	if err := g.keepLocked(next); err != nil {
		return nil, err
	}
	return &pb.RenewResponse{Certificate: cert.Raw, Authority: g.Authority(), Authorities: g.keys.Load().raw()}, nil
}

// Revoke lets somebody in no more. That stands even when it cannot be recorded; the
// error then says so, and sending it again records it.
func (g *Gate) Revoke(req *pb.RevokeRequest, by string, record Record) (*pb.RevokeResponse, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	next := g.listed.Load().clone()
	c := next.find(req.GetName())
	if c == nil {
		return nil, fault.New(fault.NotFound, "CLIENT_UNKNOWN", "nobody called %q was ever let in; server clients lists who was", req.GetName())
	}
	if c.Revoked.IsZero() {
		c.Revoked, c.Reason = g.now().UTC(), req.GetReason()
		next.dropCode(req.GetName())
		if err := g.keepLocked(next); err != nil {
			return nil, err
		}
	}
	err := record(&pb.JournalEvent{Event: &pb.JournalEvent_ClientRevoked{ClientRevoked: &pb.ClientRevoked{Client: c.message(), By: by}}})
	if err != nil {
		return nil, fault.New(fault.Unavailable, "REVOKED_UNRECORDED",
			"%s is let in no more, but the record could not be told; send it again when the record takes something", req.GetName()).Because(err)
	}
	return &pb.RevokeResponse{Client: c.message()}, nil
}

// Clients lists everybody who was ever let in, by name.
func (g *Gate) Clients() []*pb.Client {
	var all []*pb.Client
	for _, c := range g.listed.Load().Clients {
		all = append(all, c.message())
	}
	return all
}
