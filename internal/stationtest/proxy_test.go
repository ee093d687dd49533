package stationtest_test

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"testing"

	"bayround/internal/stationtest"
)

// echo is a server that says everything back and tells what it heard.
type echo struct {
	address string
	heard   chan string
}

func newEcho(t *testing.T) *echo {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = listener.Close() })
	e := &echo{listener.Addr().String(), make(chan string, 100)}
	go func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			go func() {
				defer conn.Close()
				for lines := bufio.NewScanner(conn); lines.Scan(); {
					e.heard <- lines.Text()
					fmt.Fprintln(conn, lines.Text())
				}
				e.heard <- "the end"
			}()
		}
	}()
	return e
}

// caller is a connection through the proxy.
type caller struct {
	t *testing.T
	net.Conn
	lines *bufio.Reader
}

func call(t *testing.T, p *stationtest.Proxy) *caller {
	t.Helper()
	conn, err := net.Dial("tcp", p.Address())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return &caller{t, conn, bufio.NewReader(conn)}
}

func (c *caller) say(line string) {
	c.t.Helper()
	if _, err := fmt.Fprintln(c, line); err != nil {
		c.t.Fatal(err)
	}
}

// answer is the next line, or what came before the connection ended.
func (c *caller) answer() (line string, ended bool) {
	line, err := c.lines.ReadString('\n')
	return line, err != nil
}

func (c *caller) wantAnswer(want string) {
	c.t.Helper()
	if line, ended := c.answer(); ended || line != want+"\n" {
		c.t.Errorf("answered %q, ended %v; want %q", line, ended, want)
	}
}

func (c *caller) wantEnd(want string) {
	c.t.Helper()
	if line, ended := c.answer(); !ended || line != want {
		c.t.Errorf("answered %q, ended %v; want %q and the end", line, ended, want)
	}
}

func (e *echo) want(t *testing.T, want string) {
	t.Helper()
	if got := <-e.heard; got != want {
		t.Errorf("the server heard %q, want %q", got, want)
	}
}

func (e *echo) wantNothing(t *testing.T) {
	t.Helper()
	select {
	case got := <-e.heard:
		t.Errorf("the server heard %q, want nothing", got)
	default:
	}
}

// begun is a proxy to an echo, and a connection through it that works.
func begun(t *testing.T) (*echo, *stationtest.Proxy, *caller) {
	t.Helper()
	e := newEcho(t)
	p := stationtest.NewProxy(t, e.address)
	c := call(t, p)
	c.say("hello")
	c.wantAnswer("hello")
	e.want(t, "hello")
	return e, p, c
}

func TestProxy_CutClosesAndRefuses(t *testing.T) {
	e, p, c := begun(t)
	p.Cut()
	c.wantEnd("")
	e.want(t, "the end")
	call(t, p).wantEnd("")
	p.Heal()
	c = call(t, p)
	c.say("again")
	c.wantAnswer("again")
}

func TestProxy_ResetTellsBothEnds(t *testing.T) {
	e, p, c := begun(t)
	p.Reset()
	if _, err := io.ReadAll(c); err == nil {
		t.Error("the connection ended as if it had been closed")
	}
	e.want(t, "the end")
	c = call(t, p)
	c.say("again")
	c.wantAnswer("again")
}

func TestProxy_HoldKeepsBothWaysUntilHealed(t *testing.T) {
	e, p, c := begun(t)
	p.Hold()
	c.say("late")
	e.wantNothing(t)
	p.Heal()
	c.wantAnswer("late")
	e.want(t, "late")
}

func TestProxy_MuteLetsItHearAndNotAnswer(t *testing.T) {
	e, p, c := begun(t)
	p.Mute()
	c.say("did you hear?")
	e.want(t, "did you hear?")
	<-p.Lost()
	p.Heal()
	c.wantEnd("")
}

func TestProxy_SwallowLosesBytesAndEnds(t *testing.T) {
	e, p, c := begun(t)
	other := call(t, p)
	other.say("hello")
	other.wantAnswer("hello")
	e.want(t, "hello")
	p.Swallow()
	other.say("lost")
	<-p.Lost()
	_ = c.Close()
	e.wantNothing(t)
	p.Heal()
	e.want(t, "the end")
	e.want(t, "the end")
	other.wantEnd("")
}

func TestProxy_BreakAfterEndsInTheMiddleOfAnAnswer(t *testing.T) {
	_, p, c := begun(t)
	p.BreakAfter(7)
	c.say("one")
	c.wantAnswer("one")
	c.say("another")
	c.wantEnd("ano")
	c = call(t, p)
	c.say("whole again")
	c.wantAnswer("whole again")
}
