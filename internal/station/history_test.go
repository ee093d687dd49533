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
	t.Parallel()
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
		p.holds("at once", 1)
		p.Reopen()
		p.look()
		p.holds("after a restart", 3) // it reads the same rows in the same way

		p.Close()
		if report, err := station.Verify(context.Background(), dir, nil); err != nil || report.Problem != "" {
			rt.Fatalf("verifying: %v, %v", report, err)
		}
		if _, err := station.Rebuild(context.Background(), dir, slog.New(slog.DiscardHandler)); err != nil {
			rt.Fatalf("rebuilding: %v", err)
		}
		p.Reopen()
		p.look()
		p.holds("after a rebuild", 1)
	})
}

// holds compares what was seen with what is answered for those instants now; of
// so many in a row it takes one, by chance.
func (p *play) holds(when string, among int) {
	for i := rapid.IntRange(0, among-1).Draw(p.rt, "first"); i < len(p.seen); i += among {
		s := p.seen[i]
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
