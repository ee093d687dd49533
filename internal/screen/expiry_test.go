package screen

import (
	"context"
	"log/slog"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/net/html"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/access"
	"bayround/internal/round"
	"bayround/internal/rpc"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// bothPages are what the pages of a kiosk rest on.
type bothPages struct {
	*round.Desk
	up *round.Uplink
}

func (p bothPages) Bay() *round.Bay             { return p.up.Bay() }
func (p bothPages) BayChanged() <-chan struct{} { return p.up.BayChanged() }

// opened is a page that somebody looks at; nothing is sent to it, its hub draws for it.
func opened(t *testing.T, h *hub) func() string {
	t.Helper()
	if !h.join(&socket{hub: h, wake: make(chan struct{}, 1)}, 1) {
		t.Fatal("nobody may look")
	}
	return func() string {
		var said strings.Builder
		for _, r := range h.current.Load().regions {
			doc, err := html.Parse(strings.NewReader(r.HTML))
			if err != nil {
				t.Fatal(err)
			}
			said.WriteString(spaced(doc))
		}
		return strings.Join(strings.Fields(said.String()), " ")
	}
}

// At the second at which a deferral ends, the tablet's page and the bay display that are
// open show the other verdict, by themselves; until then they show the limit, and from
// the warning on that it ends. This one ends in the hour in which clocks go back, so that
// its end by local time, 01:05, comes twice: the second one counts.
// Source: summer time ends on 25 October 2026 at 01:00 UTC (EU Directive 2000/84/EC;
// Great Britain keeps the same instant); 4 h is the small station's last warning.
func TestExpiry_ChangesTheVerdictOnOpenPagesAtThatSecond(t *testing.T) {
	dirs := []string{t.TempDir(), t.TempDir(), t.TempDir()}
	files := stationtest.SmallDeferring(t)
	ends := time.Date(2026, time.October, 25, 1, 5, 0, 0, time.UTC)
	synctest.Test(t, func(t *testing.T) {
		ahead := time.Until(ends.Add(-6 * time.Minute)) // local time then: 01:59 in summer time
		clock := func() time.Time { return time.Now().Add(ahead) }
		then := stationtest.NewClock() // when everything was looked at
		then.Advance(clock().Sub(then.Now()))
		record := stationtest.OpenWith(t, then, station.Options{Dir: dirs[0], Defaults: files, Now: clock})
		server, err := rpc.New(record.Station, rpc.Options{})
		if err != nil {
			t.Fatal(err)
		}
		listener, served := bufconn.Listen(1<<16), make(chan error, 1)
		go func() { served <- server.Serve(listener) }()
		conn, err := grpc.NewClient("passthrough:///station", grpc.WithTransportCredentials(insecure.NewCredentials()),
			grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
		if err != nil {
			t.Fatal(err)
		}
		const p1, valve = "vehicles/p1", "TYR-010/axle-1-nearside"
		inRound := record.RecordAll(p1, "routines/shift")
		record.Record(inRound, stationtest.Beside(stationtest.Read(valve, "pressure", 8, "bar"), "03"))
		if _, err := record.DeferDefect(t.Context(), &pb.DeferDefectRequest{
			RequestId: record.ID(), Defect: record.Readiness(p1).GetOpenDefects()[0].GetName(), Person: "people/officer", Reason: "the valve is on its way",
			Restrictions: []*pb.Restriction{{Kind: pb.RestrictionKind_RESTRICTION_KIND_TASK, Text: "no motorway"}}, Until: timestamppb.New(ends),
		}); err != nil {
			t.Fatal(err)
		}

		twin := stationtest.OpenWith(t, nil, station.Options{Dir: dirs[1], Defaults: files, Now: clock})
		up, err := round.OpenUplink(round.Config{Twin: twin.Station, Conn: conn, Device: "tablet-1", Dir: dirs[2], Clock: clock})
		if err != nil {
			t.Fatal(err)
		}
		guard, err := access.OpenGuard(filepath.Join(dirs[2], "pins.json"), clock)
		if err != nil {
			t.Fatal(err)
		}
		desk, err := round.OpenDesk(t.Context(), round.DeskConfig{Twin: twin.Station, Uplink: up, Guard: guard, Device: "tablet-1", Dir: dirs[2], Clock: clock})
		if err != nil {
			t.Fatal(err)
		}
		ran, pages := make(chan error, 1), bothPages{desk, up}
		go func() { ran <- up.Run(context.Background()) }()
		c := configFor(newDesk(wholeBay(t)), clock)
		c.Desk, c.Log = pages, slog.New(slog.DiscardHandler)
		s, err := New(c)
		if err != nil {
			t.Fatal(err)
		}
		tablet, bay := opened(t, s.tablet), opened(t, s.public)

		check := func(when string, want, never []string) {
			t.Helper()
			synctest.Wait()
			for name, page := range map[string]func() string{"the tablet": tablet, "the bay display": bay} {
				said := page()
				for _, words := range want {
					if !strings.Contains(said, words) {
						t.Errorf("%s, %s does not say %q:\n%s", when, name, words, said)
					}
				}
				for _, words := range never {
					if strings.Contains(said, words) {
						t.Errorf("%s, %s says %q:\n%s", when, name, words, said)
					}
				}
			}
		}
		const limited, over = "no motorway", "MOVE ONLY"
		time.Sleep(ends.Add(-time.Minute).Sub(clock())) // 01:04, the second time
		check("a minute before", []string{"FIT WITH LIMITS", limited, "01:05"}, []string{over})
		time.Sleep(ends.Add(-time.Second).Sub(clock()))
		check("in the last second before", []string{"FIT WITH LIMITS", limited, "UNTIL 01:05 ONLY"}, []string{over})
		time.Sleep(ends.Add(time.Second - time.Millisecond).Sub(clock()))
		check("in the second at which it ends", []string{over}, []string{"FIT WITH LIMITS", "UNTIL 01:05 ONLY"})

		s.Close()
		if err := desk.Close(); err != nil {
			t.Error(err)
		}
		if err := up.Close(); err != nil {
			t.Error(err)
		}
		if err := <-ran; err != nil {
			t.Error(err)
		}
		_ = conn.Close()
		server.Stop(context.Background())
		if err := <-served; err != nil {
			t.Error(err)
		}
		twin.Close()
		record.Close()
	})
}
