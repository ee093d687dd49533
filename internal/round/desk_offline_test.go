package round_test

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/access"
	"bayround/internal/round"
	"bayround/internal/rpc"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// openLinked opens a desk whose twin knows nothing at first, and an uplink to a
// station of the whole county. Their clocks begin with the computer's.
func openLinked(t *testing.T) (tab *hands, record *stationtest.Kit, w *stationtest.Proxy) {
	t.Helper()
	record = stationtest.OpenDemo(t)
	served := stationtest.Serve(t, record.Station, rpc.Options{StopAfter: time.Millisecond})
	w = stationtest.NewProxy(t, served.Address)
	clock := stationtest.NewClock()
	clock.Advance(time.Since(clock.Now()))
	twin := stationtest.OpenWith(t, nil, station.Options{Dir: t.TempDir()})
	conn, err := rpc.Dial(w.Address())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	b := &tablet{Kit: twin, device: "tablet-1", dir: t.TempDir(), conn: conn}
	b.start()
	t.Cleanup(b.stop)
	tab = &hands{t: t, kit: twin, clock: clock, wall: clock.Now, dir: t.TempDir(), up: b.up}
	if tab.guard, err = access.OpenGuard(filepath.Join(tab.dir, "pins.json"), clock.Now); err != nil {
		t.Fatal(err)
	}
	tab.open()
	t.Cleanup(func() {
		if err := tab.Close(); err != nil {
			t.Errorf("closing the desk: %v", err)
		}
	})
	return tab, record, w
}

// await waits until the view is as wanted.
func (tab *hands) await(wanted func(*round.View) bool) *round.View {
	tab.t.Helper()
	for {
		changed := tab.Changed()
		if v := tab.View(); wanted(v) {
			return v
		}
		select {
		case <-changed:
		case <-tab.t.Context().Done():
			tab.t.Fatal("the test ends before the view is as wanted")
		}
	}
}

func settled(v *round.View) bool { return v.Link.Live && v.Link.Pending == 0 }

// A round with three faults, with the network cut in the middle of it: the tablet
// goes on, says what it does not know, and the station gets everything once.
func TestDesk_TheNetworkIsCutInTheMiddle(t *testing.T) {
	t.Parallel()
	tab, record, w := openLinked(t)
	tab.await(func(v *round.View) bool { return settled(v) && len(v.Vehicles) == 10 && len(v.Gauges) > 0 })
	tab.begin(wn11, shift, "people/quellmere")
	v := tab.act("go", "step", atStopLamp)
	if w := tab.up.(*round.Uplink).Bay().Walk; w == nil || w.Command != v.Step.AssistantCommand || w.Command == "" || w.CallSign != "WN11" {
		t.Errorf("the bay display is told %+v", w)
	}
	tab.act("go", "step", v.Round.Marks[1].StepID) // the first is the floor, which is faulty
	for range 5 {
		tab.sound()
	}
	v = tab.await(func(v *round.View) bool { // what was recorded is counted as to be sent a moment later
		return settled(v) && !v.Chosen.Provisional && record.Readiness(wn11).GetRounds()[0].GetAnswered() >= 5
	})
	if v.Session.Offline {
		t.Error("signed in offline")
	}
	if got := record.Readiness(wn11).GetRounds()[0].GetAnswered(); got != 5 {
		t.Errorf("the station has %d answers", got)
	}

	w.Cut()
	faulty := map[string]bool{atWindscreen: true, atFloor: true, atStopLamp: true}
	for tab.View().Phase == round.PhaseStep {
		step := tab.View().Step
		if !faulty[step.StepId] {
			tab.sound()
			continue
		}
		id := faultsOf(step)[0]
		tab.act("see", "condition", id)
		if step.Alike > 1 {
			tab.act("count", "condition", id, "affected", "1")
		}
		tab.look()
		v := tab.act("record")
		if len(v.Given.Findings) == 0 || v.Given.StepID != step.StepId {
			t.Errorf("%s: given %+v", step.StepId, v.Given)
		}
	}
	v = tab.View()
	if len(v.Closing.Found) != 3 {
		t.Errorf("found %v", v.Closing.Found)
	}
	for _, m := range v.Round.Marks {
		if (m.State == round.MarkFault) != faulty[m.StepID] {
			t.Errorf("%s is marked %d", m.StepID, m.State)
		}
	}
	if !v.Chosen.Provisional || v.Link.Pending == 0 || !strings.Contains(v.Closing.ProvisionalWhy, "wait to be sent") {
		t.Errorf("cut off: provisional %t, %d wait, said %q", v.Chosen.Provisional, v.Link.Pending, v.Closing.ProvisionalWhy)
	}
	v = tab.await(func(v *round.View) bool { return !v.Link.Live })
	if !strings.Contains(v.Closing.ProvisionalWhy, "no connection since ") {
		t.Errorf("said %q", v.Closing.ProvisionalWhy)
	}
	v = tab.sign()
	verdict, name := v.Closing.Readiness.GetVerdict(), v.Round.Name
	if !strings.Contains(v.Closing.Handover, "(provisional: no connection since ") {
		t.Errorf("the hand-over says\n%s", v.Closing.Handover)
	}
	found, _, _ := strings.Cut(strings.SplitAfter(v.Closing.Handover, "Found today:\n")[1], "Due ")
	if n := strings.Count(found, "\n- ") + 1; n != 3 || !strings.Contains(found, "To do: ") {
		t.Errorf("the hand-over says\n%s", v.Closing.Handover)
	}

	w.Heal()
	v = tab.await(settled)
	if v.Chosen.Provisional || v.Closing.ProvisionalWhy != "" || len(v.Link.Refused) != 0 {
		t.Errorf("back: provisional %t, %q, refused %v", v.Chosen.Provisional, v.Closing.ProvisionalWhy, v.Link.Refused)
	}
	resp, err := record.GetRound(ctx, &pb.GetRoundRequest{Name: name})
	if err != nil {
		t.Fatal(err)
	}
	if r := resp.GetRound(); r.GetState() != pb.RoundState_ROUND_STATE_FINISHED || r.GetAnswered() != r.GetSteps() {
		t.Errorf("the station's round: %v, %d of %d", r.GetState(), r.GetAnswered(), r.GetSteps())
	}
	if by := resp.GetRound().GetSignatures(); len(by) != 1 || by[0].GetPerson() != "people/arkwith" || !by[0].GetTabletAlone() || by[0].GetChangedSince() != nil {
		t.Errorf("the station's round is signed by %v", by)
	}
	if got := record.Readiness(wn11).GetVerdict(); got != verdict {
		t.Errorf("the tablet said %v, the station says %v", verdict, got)
	}
	compareResults(t, tab.results(), (&hands{t: t, kit: record}).results())
}

// compareResults wants the same results in the same order, but for what each
// station says of its own clock.
func compareResults(t *testing.T, ours, theirs []*pb.Result) {
	t.Helper()
	if len(ours) != len(theirs) {
		t.Fatalf("%d results here, %d there", len(ours), len(theirs))
	}
	for i := range ours {
		a, b := proto.CloneOf(ours[i]), proto.CloneOf(theirs[i])
		a.StationTime, a.LookedAt, b.StationTime, b.LookedAt = nil, nil, nil, nil
		if !proto.Equal(a, b) {
			t.Errorf("result %d is\n%v here and\n%v there", i, a, b)
		}
	}
}
