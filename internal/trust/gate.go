package trust

import (
	"context"
	"crypto/ecdsa"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	pb "bayround/proto/bayround/v1"
)

// GateOptions are what a station's gate is told from outside.
type GateOptions struct {
	// Folder holds the station's keys and its register; made when it is not there.
	Folder string
	// Names are further host names and addresses under which other programs reach the
	// station; this machine's own are known.
	Names []string
	// Now is the station's clock.
	Now func() time.Time
}

// Gate says who may come in at a station. Its methods may be called from any
// goroutine.
type Gate struct {
	folder  string
	names   []string
	now     func() time.Time
	keys    atomic.Pointer[keys]
	serving atomic.Pointer[serving]
	listed  atomic.Pointer[register] // never changed, replaced

	mu      sync.Mutex // held by whoever changes the register
	streams map[*stream]struct{}
}

// serving is the certificate that the station shows.
type serving struct {
	pair   *tls.Certificate
	spkis  [][]byte // its key, and that of the certificate before
	expiry time.Time
}

// OpenGate opens the gate kept in a folder, with a certificate of the station's and an
// identity of the administrator that are new.
func OpenGate(o GateOptions) (*Gate, error) {
	k, r, err := openFolder(o.Folder, o.Now())
	if err != nil {
		return nil, err
	}
	g := &Gate{folder: o.Folder, names: o.Names, now: o.Now, streams: map[*stream]struct{}{}}
	g.keys.Store(k)
	g.listed.Store(r)
	if err := g.Rotate(); err != nil {
		return nil, err
	}
	return g, nil
}

// AdministratorFolder is where the identity of whoever runs the station lies.
func (g *Gate) AdministratorFolder() string { return filepath.Join(g.folder, administratorFolder) }

// AuthoritySHA256 is by what a tablet knows the station: the SHA-256 of its
// authority's public key, in hex.
func (g *Gate) AuthoritySHA256() string { return g.keys.Load().shows.digest() }

// Authority is the certificate of the authority that signs what is given to programs, DER.
func (g *Gate) Authority() []byte { return slices.Clone(g.keys.Load().signs().cert.Raw) }

// Config is the TLS side of a server. Whoever connects may show a certificate;
// whether it counts is judged on every call, so that callers are told in words.
func (g *Gate) Config() *tls.Config {
	return &tls.Config{
		MinVersion: tls.VersionTLS13,
		ClientAuth: tls.RequestClientCert,
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) {
			return g.serving.Load().pair, nil
		},
	}
}

// Rotate gives the station a new certificate, and the administrator a new identity;
// new connections see them. The administrator's former one is void.
func (g *Gate) Rotate() error {
	if err := g.rotateStation(); err != nil {
		return err
	}
	return g.rotateAdministrator()
}

func (g *Gate) rotateStation() error {
	key, err := newKey()
	if err != nil {
		return err
	}
	k := g.keys.Load()
	cert, err := k.shows.station(g.hostNames(), &key.PublicKey, g.now())
	if err != nil {
		return err
	}
	chain := [][]byte{cert.Raw, k.shows.cert.Raw}
	if k.next != nil { // nobody needs it to know the station; who sees it knows that it is time to be renewed
		chain = append(chain, k.next.cert.Raw)
	}
	next := &serving{
		pair:  &tls.Certificate{Certificate: chain, PrivateKey: key, Leaf: cert},
		spkis: [][]byte{cert.RawSubjectPublicKeyInfo}, expiry: cert.NotAfter,
	}
	if before := g.serving.Load(); before != nil {
		next.spkis = append(next.spkis, before.spkis[0])
	}
	g.serving.Store(next)
	return nil
}

// administratorName is the name of whoever runs the station on its machine.
const administratorName = "this-machine"

func (g *Gate) rotateAdministrator() error {
	key, err := newKey()
	if err != nil {
		return err
	}
	who := newIdentity(pb.ClientRole_CLIENT_ROLE_ADMINISTRATOR, administratorName)
	g.mu.Lock()
	defer g.mu.Unlock()
	cert, entry, err := g.sign(who, &key.PublicKey, leafLasts)
	if err != nil {
		return err
	}
	next := g.listed.Load().clone()
	if err := next.put(entry); err != nil {
		return err
	}
	if err := g.keepLocked(next); err != nil {
		return err
	}
	return writeIdentity(g.AdministratorFolder(), key, cert.Raw, g.keys.Load().certificates())
}

// sign makes a certificate and the entry of the register that goes with it.
func (g *Gate) sign(who Identity, public *ecdsa.PublicKey, lasts time.Duration) (*x509.Certificate, client, error) {
	now, signs := g.now(), g.keys.Load().signs()
	cert, err := signs.client(who, public, now, lasts)
	if err != nil {
		return nil, client{}, err
	}
	return cert, client{
		Name: who.Name, Role: who.Role, Enrolment: who.Enrolment, KeySHA256: digestOf(cert.RawSubjectPublicKeyInfo),
		NotAfter: cert.NotAfter, Admitted: now.UTC(), CertSHA256: digestOf(cert.Raw), Authority: signs.digest(),
	}, nil
}

// keepLocked writes a register, believes it once it is on disk, and ends the streams of
// whoever is not let in by it any more.
func (g *Gate) keepLocked(next *register) error { return g.keepWithLocked(next, g.keys.Load()) }

// keepWithLocked is keepLocked with other authorities.
func (g *Gate) keepWithLocked(next *register, k *keys) error {
	if err := next.write(g.folder); err != nil {
		return err
	}
	g.keys.Store(k)
	g.listed.Store(next)
	for s := range g.streams {
		if why := k.judge(next, s.caller, g.now()); why != nil {
			s.end(why)
		}
	}
	return nil
}

// often is how often Run looks whether a certificate is to be replaced, and how finely the
// overlap of a rotation is counted.
const often = 10 * time.Minute

// Told is who hears of what Run sees. Both are called by the goroutine of Run.
type Told struct {
	// Failed hears when something could not be replaced; it is tried again.
	Failed func(error)
	// Ending hears, at the start and once a day, when the station's authority ends, while
	// that is less than EndingWithin away and no other takes its place.
	Ending func(notAfter time.Time)
}

// EndingWithin is how long before its end an authority is warned of: as long as what it
// signs for other programs lasts.
const EndingWithin = systemLasts

// Run replaces the station's certificates when two thirds of their time are over, and
// ends a rotation when its overlap is, until ctx ends.
func (g *Gate) Run(ctx context.Context, record Record, told Told) {
	tick := time.NewTicker(often)
	defer tick.Stop()
	var warned time.Time
	for before := time.Now(); ; {
		if end := g.keys.Load().signs().cert.NotAfter; end.Sub(g.now()) < EndingWithin && before.Sub(warned) >= 24*time.Hour {
			warned = before
			told.Ending(end)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		now := time.Now() // by the clock that nobody can set
		if err := g.pass(now.Sub(before), record); err != nil {
			told.Failed(err)
		}
		before = now
		if !due(g.serving.Load().expiry, leafLasts, g.now()) {
			continue
		}
		if err := g.Rotate(); err != nil {
			told.Failed(err)
		}
	}
}

// due tells that two thirds of a certificate's time are over.
func due(notAfter time.Time, lasts time.Duration, now time.Time) bool {
	return now.After(notAfter.Add(-lasts / 3))
}

// hostNames are the names under which the station can be reached.
func (g *Gate) hostNames() []string {
	names := append([]string{"localhost", "127.0.0.1", "::1"}, g.names...)
	slices.Sort(names)
	return slices.Compact(names)
}

// LocalNames are the addresses of this machine, for certificates of stations that
// listen on all of them.
func LocalNames() ([]string, error) {
	addresses, err := net.InterfaceAddrs()
	if err != nil {
		return nil, fmt.Errorf("list this machine's addresses: %w", err)
	}
	var names []string
	for _, a := range addresses {
		if ip, ok := a.(*net.IPNet); ok && !ip.IP.IsLinkLocalUnicast() {
			names = append(names, ip.IP.String())
		}
	}
	return names, nil
}
