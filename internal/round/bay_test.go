package round_test

import (
	"context"
	"net"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/test/bufconn"

	"bayround/internal/round"
	"bayround/internal/rpc"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// tap is a connection whose reading side can be held without being cut.
type tap struct {
	net.Conn
	gate   *gate
	closed chan struct{}
	once   sync.Once
}

// Read gives what was read once the gate is open, or the connection closed.
func (c *tap) Read(b []byte) (int, error) {
	n, err := c.Conn.Read(b)
	select {
	case <-c.gate.way():
	case <-c.closed:
	}
	return n, err
}

func (c *tap) Close() error {
	c.once.Do(func() { close(c.closed) })
	return c.Conn.Close()
}

// gate holds whoever wants to pass while it is shut.
type gate struct {
	mu   sync.Mutex
	open chan struct{} // guarded by mu: closed while the gate is open
}

func (g *gate) way() <-chan struct{} {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.open
}

func (g *gate) shut() {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.open = make(chan struct{})
}

func (g *gate) unshut() {
	g.mu.Lock()
	defer g.mu.Unlock()
	close(g.open)
}

// inBubble runs a test with a tablet, its station and all time between them in a
// bubble, where time passes only when everybody waits.
func inBubble(t *testing.T, test func(t *testing.T, k *stationtest.Kit, b *tablet, g *gate)) {
	t.Helper()
	inBubbleBy(t, nil, test)
}

// inBubbleBy is inBubble; a tablet with a clock of its own knows no vehicle at first,
// and its gate is shut until the test opens it.
func inBubbleBy(t *testing.T, device func() time.Time, test func(t *testing.T, k *stationtest.Kit, b *tablet, g *gate)) {
	t.Helper()
	dirs := []string{t.TempDir(), t.TempDir(), t.TempDir()}
	synctest.Test(t, func(t *testing.T) {
		k := stationtest.OpenWith(t, nil, station.Options{Dir: dirs[0], Defaults: stationtest.Small()})
		server, err := rpc.New(k.Station, rpc.Options{})
		must(t, err)
		listener := bufconn.Listen(1 << 16)
		served := make(chan error, 1)
		go func() { served <- server.Serve(listener) }()
		g := &gate{open: make(chan struct{})}
		if device == nil {
			g.unshut()
		}
		conn, err := grpc.NewClient("passthrough:///station", grpc.WithTransportCredentials(insecure.NewCredentials()),
			grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
				c, err := listener.DialContext(ctx)
				return &tap{Conn: c, gate: g, closed: make(chan struct{})}, err
			}))
		must(t, err)
		b := &tablet{conn: conn, device: "tablet-1", dir: dirs[2], patience: time.Hour}
		twin := station.Options{Dir: dirs[1], Defaults: stationtest.Small()}
		if device != nil {
			b.right, err = round.OpenClock(round.ClockConfig{Device: device, Dir: dirs[2]})
			must(t, err)
			b.wall, twin = device, station.Options{Dir: dirs[1], Now: device, Right: b.right}
		}
		b.Kit = stationtest.OpenWith(t, nil, twin)
		b.start()
		test(t, k, b, g)
		b.stop() // within the bubble: what was started there must end there
		must(t, conn.Close())
		server.Stop(context.Background())
		must(t, <-served)
		b.Close()
		k.Close()
	})
}

func TestBay_FailsSafeByItself(t *testing.T) {
	inBubble(t, func(t *testing.T, k *stationtest.Kit, b *tablet, g *gate) {
		b.await("the station", func() bool { return b.up.Bay().Live })
		time.Sleep(time.Minute)
		synctest.Wait()
		if bay := b.up.Bay(); !bay.Live || len(bay.Vehicles) != 2 || bay.Station != "Quay" || bay.TimeZone.String() != "Europe/London" || bay.Titles[firstPump] != "pump" {
			t.Fatalf("after a minute with the station: %+v", bay)
		}
		g.shut()
		told, before := b.up.BayChanged(), time.Now()
		<-told
		if gone := time.Since(before); gone > 5*time.Second {
			t.Errorf("the bay was told after %v of silence", gone)
		}
		bay := b.up.Bay()
		if bay.Live || before.Sub(bay.Since) > 5*time.Second || bay.Since.After(before) {
			t.Errorf("in silence that began at %v: live %v since %v", before, bay.Live, bay.Since)
		}
		k.RecordAll(firstPump, shiftCheck)
		time.Sleep(4 * time.Second) // not so long that the server gives the connection up
		if b.up.Live() || b.up.Bay().Live {
			t.Error("it came alive in silence")
		}
		g.unshut()
		b.await("the newest state", func() bool {
			return b.up.Bay().Live && b.up.Station(firstPump).GetVerdict() == pb.Verdict_VERDICT_FIT
		})
	})
}

// What waited somewhere while the line was held is not taken for current.
func TestUplink_DoesNotBelieveWhatWaited(t *testing.T) {
	inBubble(t, func(t *testing.T, k *stationtest.Kit, b *tablet, g *gate) {
		b.await("the station", b.up.Live)
		watches := b.up.Watches()
		k.RecordAll(firstPump, shiftCheck)
		synctest.Wait()
		g.shut()
		time.Sleep(6 * time.Second) // a heartbeat waits behind the gate
		synctest.Wait()
		g.unshut()
		b.await("the station again", b.up.Live)
		if b.up.Watches() == watches {
			t.Error("an old word was believed")
		}
	})
}

func TestBay_ShowsTheWalkAndWhatHappened(t *testing.T) {
	o := openOfRecord(t)
	o.wire.Cut()
	b := newTablet(t, o.wire, "tablet-1")
	if bay := b.up.Bay(); bay.Live || !bay.Since.IsZero() || len(bay.Vehicles) != 2 {
		t.Errorf("before anything was heard: %+v", bay)
	}
	walk := &round.BayWalk{Vehicle: firstPump, Step: "Pump", Command: "Turn it."}
	changed, version := b.up.BayChanged(), b.up.Bay().Version
	b.up.SetWalk(walk)
	<-changed
	if bay := b.up.Bay(); bay.Walk != walk || bay.Version <= version {
		t.Errorf("after the walk was set: %+v", bay)
	}
	o.wire.Heal()
	b.await("the station", b.up.Live)
	name := b.begin(secondPump)
	b.answer(name, stationtest.Seen(windscreen, "03"))
	b.await("what was found", func() bool {
		bay := b.up.Bay()
		return len(bay.Vehicles) == 2 && bay.Vehicles[0].GetVehicle() == secondPump && bay.Vehicles[0].GetVerdict() == pb.Verdict_VERDICT_UNFIT
	})
	var told []string
	for _, e := range b.up.Bay().Events {
		told = append(told, e.Text)
	}
	for _, want := range []string{"Q2: round begun", "Q2: found: The windscreen is shattered.", "Q2 must not move"} {
		if !slices.Contains(told, want) {
			t.Errorf("the events %q lack %q", told, want)
		}
	}
	b.up.SetWalk(nil)
	if b.up.Bay().Walk != nil {
		t.Error("the walk stays after it has ended")
	}
}

// The display is told at every heartbeat when the station was heard, and in silence
// it stays as it was.
func TestBay_SaysWhenTheStationWasHeard(t *testing.T) {
	inBubble(t, func(t *testing.T, _ *stationtest.Kit, b *tablet, g *gate) {
		b.await("the station", func() bool { return b.up.Bay().Live })
		for range 5 {
			before := b.up.Bay()
			<-b.up.BayChanged() // nothing happens at the station but its heartbeat
			synctest.Wait()
			if bay := b.up.Bay(); !bay.Heard.Equal(time.Now()) || bay.Version <= before.Version {
				t.Fatalf("at a heartbeat: heard %v, it is %v", bay.Heard, time.Now())
			}
		}
		last := b.up.Bay().Heard
		g.shut()
		<-b.up.BayChanged()
		time.Sleep(5 * time.Second)
		if bay := b.up.Bay(); bay.Live || !bay.Heard.Equal(last) || !bay.Since.Equal(last) {
			t.Errorf("in silence: live %t, heard %v, since %v, want %v", bay.Live, bay.Heard, bay.Since, last)
		}
	})
}
