package station

import (
	"math/rand/v2"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// The verdict put together from what is remembered of each step is the one
// that verdict gives when it looks at everything: after every result and
// repair, and at every instant at which it changes by itself.
func TestFold_AgreesWithVerdict(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(3, 4)) //nolint:gosec // a repeatable test
	lib := demoLibrary(t)
	st := newState(noArchive{})
	st.station = time.Date(2026, time.March, 2, 7, 30, 0, 0, time.UTC)
	var rows rowSet
	if err := st.adopt(lib, &rows); err != nil {
		t.Fatal(err)
	}
	for _, name := range sortedKeys(st.vehicles) {
		v := st.vehicles[name]
		c := &command{state: st, id: name, time: st.station}
		openRound(t, c, v)
		for range 100 {
			c.time = c.time.Add(time.Duration(random.Int64N(int64(2 * time.Hour))))
			disturb(t, random, c, v)
			agree(t, v, c.time)
			for at := v.standing.until; !at.IsZero() && at.Before(c.time.Add(24*time.Hour)); {
				_, at = agree(t, v, at)
			}
		}
	}
}

// agree compares both ways and returns what they say.
func agree(t *testing.T, v *vehicle, at time.Time) (pb.Verdict, time.Time) {
	t.Helper()
	got, gotUntil := v.fold(at)
	want, wantUntil := verdict.Fold(v.input(), at)
	if got != want || !gotUntil.Equal(wantUntil) {
		t.Fatalf("%s at %v: %v until %v, verdict says %v until %v", v.name, at, got, gotUntil, want, wantUntil)
	}
	return got, gotUntil
}

func openRound(t testing.TB, c *command, v *vehicle) {
	t.Helper()
	round := &pb.Round{Name: "rounds/" + v.name, Vehicle: v.name, Routine: "routines/shift", State: pb.RoundState_ROUND_STATE_OPEN}
	if err := c.happen(&pb.JournalEvent{Vehicle: v.name, Event: &pb.JournalEvent_RoundOpened{RoundOpened: &pb.RoundOpened{Round: round}}}, nil); err != nil {
		t.Fatal(err)
	}
}

// disturb answers a step, well or badly, or repairs a defect.
func disturb(t *testing.T, random *rand.Rand, c *command, v *vehicle) {
	t.Helper()
	ev := &pb.JournalEvent{Vehicle: v.name}
	if defects := v.input().Defects; len(defects) > 0 && random.IntN(4) == 0 {
		d := defects[random.IntN(len(defects))]
		ev.Event = &pb.JournalEvent_RepairRecorded{RepairRecorded: &pb.RepairRecorded{
			Defect: d.GetName(), Repair: &pb.Repair{StationTime: timestamppb.New(c.time)}, RecheckSteps: []string{d.GetStepId()},
		}}
	} else {
		ids := sortedKeys(v.model.steps)
		s := v.model.steps[ids[random.IntN(len(ids))]]
		r := anyAnswer(random, s)
		if random.IntN(5) == 0 {
			r.Answer = &pb.Result_NotChecked{NotChecked: &pb.NotChecked{}}
		}
		r.Round, r.StationTime = "rounds/"+v.name, timestamppb.New(c.time)
		ev.Event = &pb.JournalEvent_ResultRecorded{ResultRecorded: &pb.ResultRecorded{
			Result: r, Findings: v.model.single(v.model.observe(s, r, nil)),
		}}
	}
	if err := c.happen(ev, nil); err != nil {
		t.Fatal(err)
	}
}
