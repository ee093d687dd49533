package stationtest

import (
	"net"
	"sync"
	"testing"
)

// flow is what a Proxy does with the bytes that come.
type flow int

const (
	whole     flow = iota // passes them on
	held                  // keeps them until it is healed
	swallowed             // loses them, both ways, and lets nobody know
	mute                  // loses what the station says and passes on what it is told
	cut                   // has no connections and takes none
)

// Proxy is a stretch of network between tablets and a station that can be broken
// in the ways that networks break. It breaks nothing by itself and never waits for
// time to pass: what it holds back it holds until Heal.
type Proxy struct {
	listener net.Listener
	ended    sync.WaitGroup

	mu      sync.Mutex
	to      string         // guarded by mu: where the station listens
	flow    flow           // guarded by mu
	changed chan struct{}  // guarded by mu: closed and replaced when flow changes
	lost    chan struct{}  // guarded by mu: replaced with it; closed when bytes were lost
	open    map[*link]bool // guarded by mu
	answers int            // guarded by mu: bytes of the station's that still pass; -1 = as many as come
	closed  bool           // guarded by mu
}

// link is one connection through the proxy.
type link struct {
	near, far net.Conn
	torn      bool // guarded by Proxy.mu: bytes of it were lost
}

func (l *link) close() { _, _ = l.near.Close(), l.far.Close() }

// reset closes a connection so that both ends learn of it as an error.
func (l *link) reset() {
	for _, c := range []net.Conn{l.near, l.far} {
		if tcp, ok := c.(*net.TCPConn); ok {
			_ = tcp.SetLinger(0)
		}
	}
	l.close()
}

// NewProxy lays a proxy to an address; it is taken away when the test ends.
func NewProxy(t testing.TB, to string) *Proxy {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatalf("listening on the loopback interface: %v", err)
	}
	p := &Proxy{listener: listener, to: to, changed: make(chan struct{}), lost: make(chan struct{}), open: map[*link]bool{}, answers: -1}
	p.ended.Go(p.accept)
	t.Cleanup(func() {
		p.mu.Lock()
		p.closed = true
		p.mu.Unlock()
		p.Cut()
		_ = listener.Close()
		p.ended.Wait()
	})
	return p
}

// Address is where it listens, as host:port.
func (p *Proxy) Address() string { return p.listener.Addr().String() }

// Lead lets new connections lead to another address.
func (p *Proxy) Lead(to string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.to = to
}

// Cut closes every connection, and every new one.
func (p *Proxy) Cut() {
	p.turn(cut)
	p.each((*link).close)
}

// Reset breaks every connection with an error at both ends; new ones can be made.
func (p *Proxy) Reset() { p.each((*link).reset) }

// Hold keeps everything on its way until Heal: a delay as long as a test wants.
func (p *Proxy) Hold() { p.turn(held) }

// Swallow loses everything on its way, also that an end has closed: a black hole,
// in which a connection that one end gave up stands open at the other.
func (p *Proxy) Swallow() { p.turn(swallowed) }

// Mute loses what the station says, while what it is told arrives: it does what it
// is asked, and nobody learns of it.
func (p *Proxy) Mute() { p.turn(mute) }

// BreakAfter ends one connection in the middle of what the station says, when so
// many more bytes of it have passed through any of them.
func (p *Proxy) BreakAfter(bytes int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.answers = bytes
}

// Heal lets everything through again. Connections of which bytes were lost are
// reset: they could only talk nonsense.
func (p *Proxy) Heal() {
	p.turn(whole)
	p.mu.Lock()
	defer p.mu.Unlock()
	p.answers = -1
	for l := range p.open {
		if l.torn {
			l.reset()
		}
	}
}

func (p *Proxy) turn(to flow) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.flow = to
	close(p.changed)
	p.changed, p.lost = make(chan struct{}), make(chan struct{})
}

// Lost is closed when the first bytes are lost after Swallow or Mute, whichever was
// called last.
func (p *Proxy) Lost() <-chan struct{} {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.lost
}

func (p *Proxy) each(do func(*link)) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for l := range p.open {
		do(l)
	}
}

func (p *Proxy) accept() {
	for {
		near, err := p.listener.Accept()
		if err != nil {
			return
		}
		far, err := p.reach()
		if err != nil {
			_ = near.Close()
			continue
		}
		l := &link{near: near, far: far}
		if !p.keep(l) {
			l.close()
			continue
		}
		p.ended.Go(func() { p.carry(l, near, far, false) })
		p.ended.Go(func() { p.carry(l, far, near, true) })
	}
}

func (p *Proxy) reach() (net.Conn, error) {
	p.mu.Lock()
	to, flow := p.to, p.flow
	p.mu.Unlock()
	if flow == cut {
		return nil, net.ErrClosed
	}
	return net.Dial("tcp", to)
}

// keep notes a connection, unless the proxy was cut meanwhile.
func (p *Proxy) keep(l *link) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.flow == cut || p.closed {
		return false
	}
	p.open[l] = true
	return true
}

// carry passes on what comes one way, until the connection ends.
func (p *Proxy) carry(l *link, from, to net.Conn, answers bool) {
	buffer := make([]byte, 32<<10)
	for {
		n, err := from.Read(buffer)
		passed, goOn := p.admit(l, n, answers)
		if passed > 0 {
			if _, err := to.Write(buffer[:passed]); err != nil {
				break
			}
		}
		if err != nil || !goOn {
			break
		}
	}
	p.emerge()
	l.close()
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.open, l)
}

// emerge waits while everything is swallowed.
func (p *Proxy) emerge() {
	for {
		p.mu.Lock()
		flow, changed := p.flow, p.changed
		p.mu.Unlock()
		if flow != swallowed {
			return
		}
		<-changed
	}
}

// admit says how many of the bytes that came are passed on, as soon as that is
// certain, and whether the connection goes on.
func (p *Proxy) admit(l *link, n int, answers bool) (passed int, goOn bool) {
	for {
		p.mu.Lock()
		flow, changed := p.flow, p.changed
		switch {
		case flow == held && n > 0:
			p.mu.Unlock()
			<-changed
			continue
		case l.torn && flow == whole, flow == cut:
			passed, goOn = 0, false
		case flow == swallowed, flow == mute && answers:
			p.loseLocked(l, n)
			passed, goOn = 0, true
		default:
			passed, goOn = p.countLocked(n, answers)
		}
		p.mu.Unlock()
		return passed, goOn
	}
}

func (p *Proxy) loseLocked(l *link, n int) {
	if n == 0 {
		return
	}
	l.torn = true
	select {
	case <-p.lost:
	default:
		close(p.lost)
	}
}

// countLocked ends the connection at the byte at which BreakAfter wants it.
func (p *Proxy) countLocked(n int, answers bool) (passed int, goOn bool) {
	if !answers || p.answers < 0 {
		return n, true
	}
	left := p.answers
	p.answers -= n
	return min(left, n), p.answers >= 0
}
