package station_test

import (
	"bytes"
	"context"
	"log/slog"
	"os"
	"testing"

	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// What was answered at any instant is answered again when that instant is
// asked for: at once, after a restart, and after the rows were made anew from
// the events.
func TestHistory_AnswersAsItDidThen(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp(t.TempDir(), "play")
		if err != nil {
			rt.Fatal(err)
		}
		p := newPlay(t, rt, dir)
		defer p.Close()
		for range rapid.IntRange(1, 60).Draw(rt, "acts") {
			p.act()
		}
		p.holds("at once")
		p.Reopen()
		p.look()
		p.holds("after a restart")

		p.Close()
		if report, err := station.Verify(context.Background(), dir, nil); err != nil || report.Problem != "" {
			rt.Fatalf("verifying: %v, %v", report, err)
		}
		if _, err := station.Rebuild(context.Background(), dir, slog.New(slog.DiscardHandler)); err != nil {
			rt.Fatalf("rebuilding: %v", err)
		}
		p.Reopen()
		p.look()
		p.holds("after a rebuild")
	})
}

// holds compares what was seen with what is answered for those instants now.
func (p *play) holds(when string) {
	for _, s := range p.seen {
		resp, err := p.GetReadiness(context.Background(), &pb.GetReadinessRequest{Vehicle: s.vehicle, AsOf: timestamppb.New(s.at)})
		if err != nil {
			p.rt.Fatalf("%s: %s as of %v: %v", when, s.vehicle, s.at, err)
		}
		if got := exact(resp.GetReadiness()); !bytes.Equal(got, s.bytes) {
			var then pb.Readiness
			unmarshal(p.rt, s.bytes, &then)
			p.rt.Fatalf("%s: %s as of %v (answered then: -, answered now: +)\n%s", when, s.vehicle, s.at, diff(&then, resp.GetReadiness()))
		}
	}
}
