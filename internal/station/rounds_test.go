package station_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

const (
	p1, p2        = "vehicles/p1", "vehicles/p2"
	shift, weekly = "routines/shift", "routines/weekly"
	oil           = "OIL-010/engine-flap"
	screen        = "GLA-010/windscreen"
	pump          = "PMP-010/pump"
	nowhere       = "rounds/ffffffff-ffff-4fff-8fff-ffffffffffff"
)

var ctx = context.Background()

func TestOpenRound_Refusals(t *testing.T) {
	k := stationtest.Open(t)
	for name, tc := range map[string]struct {
		change func(*pb.OpenRoundRequest)
		want   refusal
	}{
		"taken":             {func(*pb.OpenRoundRequest) {}, refusal{}},
		"no such vehicle":   {func(r *pb.OpenRoundRequest) { r.Vehicle = "vehicles/p9" }, refusal{fault.NotFound, "VEHICLE_UNKNOWN"}},
		"no such routine":   {func(r *pb.OpenRoundRequest) { r.Routine = "routines/none" }, refusal{fault.NotFound, "ROUTINE_UNKNOWN"}},
		"no such driver":    {func(r *pb.OpenRoundRequest) { r.Driver = "people/nobody" }, refusal{fault.NotFound, "PERSON_UNKNOWN"}},
		"no such assistant": {func(r *pb.OpenRoundRequest) { r.Assistant = "people/nobody" }, refusal{fault.NotFound, "PERSON_UNKNOWN"}},
		"alone with oneself": {
			func(r *pb.OpenRoundRequest) { r.Assistant = r.Driver }, refusal{fault.Invalid, "ASSISTANT_IS_DRIVER"},
		},
		"nothing applies": {func(r *pb.OpenRoundRequest) { r.Routine = "routines/before-tow" }, refusal{fault.Precondition, "PLAN_EMPTY"}},
	} {
		t.Run(name, func(t *testing.T) {
			req := &pb.OpenRoundRequest{Round: "rounds/" + k.ID(), Vehicle: p1, Routine: shift, Driver: "people/driver", Device: "tablet-1"}
			tc.change(req)
			_, err := k.Station.OpenRound(ctx, req)
			tc.want.check(t, err)
		})
	}
}

func TestOpenRound_SaysWhatItWasOpenedOn(t *testing.T) {
	k := stationtest.Open(t)
	plan := k.Plan(p1, shift)
	k.Clock.Advance(time.Minute)
	conditions := &pb.RoundConditions{EngineStopped: timestamppb.New(k.Clock.Now().Add(-time.Hour))}
	resp, err := k.Station.OpenRound(ctx, &pb.OpenRoundRequest{
		Round: "rounds/" + k.ID(), Vehicle: p1, Routine: shift, Driver: "people/driver", Assistant: "people/other",
		Device: "tablet-1", Conditions: conditions,
	})
	if err != nil {
		t.Fatal(err)
	}
	now := timestamppb.New(k.Clock.Now())
	want := &pb.Round{
		Name: resp.GetRound().GetName(), Vehicle: p1, Routine: shift, Driver: "people/driver", Assistant: "people/other",
		Device: "tablet-1", State: pb.RoundState_ROUND_STATE_OPEN, Conditions: conditions, Opened: now, LastActivity: now,
		VehicleRevision: 1, PlanDigest: plan.GetDigest(), Steps: int32(len(plan.GetSteps())), Sequence: resp.GetRound().GetSequence(),
		SpotProofs: resp.GetRound().GetSpotProofs(),
	}
	if d := diff(want, resp.GetRound()); d != "" {
		t.Errorf("round (want: -)\n%s", d)
	}
	if live := k.Readiness(p1).GetRounds(); len(live) != 1 || live[0].GetName() != want.GetName() {
		t.Errorf("rounds on the vehicle: %v", live)
	}
}

// What is asked for as a spot proof stands in the round from its opening on; what
// is answered stays in the record, and whoever does not answer is taken as well.
func TestOpenRound_AsksForSpotProofs(t *testing.T) {
	k := stationtest.Open(t)
	var asked *pb.Round
	for range 100 { // 9 steps have one in 9 of 40 rounds
		name := k.OpenRound(p1, shift)
		resp, err := k.GetRound(ctx, &pb.GetRoundRequest{Name: name})
		if err != nil {
			t.Fatal(err)
		}
		if len(resp.GetRound().GetSpotProofs()) > 0 {
			asked = resp.GetRound()
			break
		}
	}
	if asked == nil {
		t.Fatal("no round was asked for a spot proof")
	}
	step := asked.GetSpotProofs()[0].GetStepId()
	silent := k.Record(asked.GetName(), stationtest.Read(step, "pressure", 8.5, "bar"))
	r := stationtest.Read(step, "pressure", 8.4, "bar")
	r.SpotProof = "2319"
	told := k.Record(asked.GetName(), r)
	if len(silent.GetFindings())+len(told.GetFindings()) != 0 {
		t.Errorf("findings %v and %v, want none", silent.GetFindings(), told.GetFindings())
	}
	k.Reopen()
	if got := lastOf(t, k, shift, step).GetSpotProof(); got != "2319" {
		t.Errorf("the answer kept is %q", got)
	}
	resp, err := k.GetRound(ctx, &pb.GetRoundRequest{Name: asked.GetName()})
	if err != nil {
		t.Fatal(err)
	}
	want := &pb.Round{SpotProofs: asked.GetSpotProofs()}
	if d := diff(want, &pb.Round{SpotProofs: resp.GetRound().GetSpotProofs()}); d != "" {
		t.Errorf("asked (at the opening: -, after a restart: +)\n%s", d)
	}
}

// What can be done with a round depends on where it stands.
func TestRound_StatesDecideWhatIsTaken(t *testing.T) {
	type act func(k *stationtest.Kit, round string) error
	pause := func(k *stationtest.Kit, round string) error {
		_, err := k.PauseRound(ctx, &pb.PauseRoundRequest{RequestId: k.ID(), Round: round})
		return err
	}
	resume := func(k *stationtest.Kit, round string) error {
		_, err := k.ResumeRound(ctx, &pb.ResumeRoundRequest{RequestId: k.ID(), Round: round})
		return err
	}
	finish := func(k *stationtest.Kit, round string) error {
		_, err := k.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: k.ID(), Round: round})
		return err
	}
	giveUp := func(k *stationtest.Kit, round string) error {
		_, err := k.GiveUpRound(ctx, &pb.GiveUpRoundRequest{RequestId: k.ID(), Round: round, Note: "no time"})
		return err
	}
	begin := func(k *stationtest.Kit, round string) error {
		_, err := k.BeginStep(ctx, &pb.BeginStepRequest{RequestId: k.ID(), Round: round, StepId: oil})
		return err
	}
	record := func(k *stationtest.Kit, round string) error {
		_, err := k.TryRecord(round, stationtest.Seen(screen, "sound"))
		return err
	}
	late := func(k *stationtest.Kit, round string) error {
		r := stationtest.Seen(screen, "sound")
		r.DeviceTime = timestamppb.New(stationtest.Morning)
		_, err := k.TryRecord(round, r)
		return err
	}
	unknown, ended, paused := refusal{fault.NotFound, "ROUND_UNKNOWN"}, refusal{fault.Precondition, "ROUND_ENDED"}, refusal{fault.Precondition, "ROUND_PAUSED"}
	for name, tc := range map[string]struct {
		before []act
		act    act
		want   refusal
	}{
		"pause an open one": {nil, pause, refusal{}}, "pause a paused one": {[]act{pause}, pause, refusal{}},
		"pause a finished one": {[]act{finish}, pause, ended}, "pause one given up": {[]act{giveUp}, pause, ended},
		"resume a paused one": {[]act{pause}, resume, refusal{}}, "resume an open one": {nil, resume, refusal{}},
		"resume a finished one": {[]act{finish}, resume, ended}, "finish an open one": {nil, finish, refusal{}},
		"finish a paused one": {[]act{pause}, finish, refusal{}}, "finish twice": {[]act{finish}, finish, ended},
		"give up an open one": {nil, giveUp, refusal{}}, "give up twice": {[]act{giveUp}, giveUp, ended},
		"begin in an open one": {nil, begin, refusal{}}, "begin in a paused one": {[]act{pause}, begin, paused},
		"begin in a finished one": {[]act{finish}, begin, ended}, "record in an open one": {nil, record, refusal{}},
		"record in a paused one": {[]act{pause}, record, paused}, "record in a resumed one": {[]act{pause, resume}, record, refusal{}},
		"record in a finished one": {[]act{finish}, record, ended}, "record in one given up": {[]act{giveUp}, record, ended},
		"late into a paused one": {[]act{pause}, late, refusal{}}, "late into a finished one": {[]act{finish}, late, refusal{}},
		"late into one given up":        {[]act{giveUp}, late, refusal{}},
		"finish with something undone":  {[]act{begin}, finish, refusal{fault.Precondition, "STILL_UNDONE"}},
		"give up with something undone": {[]act{begin}, giveUp, refusal{fault.Precondition, "STILL_UNDONE"}},
		"pause nothing":                 {nil, func(k *stationtest.Kit, _ string) error { return pause(k, nowhere) }, unknown},
		"resume nothing":                {nil, func(k *stationtest.Kit, _ string) error { return resume(k, nowhere) }, unknown},
		"finish nothing":                {nil, func(k *stationtest.Kit, _ string) error { return finish(k, nowhere) }, unknown},
		"give up nothing":               {nil, func(k *stationtest.Kit, _ string) error { return giveUp(k, nowhere) }, unknown},
		"begin in nothing":              {nil, func(k *stationtest.Kit, _ string) error { return begin(k, nowhere) }, unknown},
		"record in nothing":             {nil, func(k *stationtest.Kit, _ string) error { return record(k, nowhere) }, unknown},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := stationtest.Open(t)
			round := k.OpenRound(p1, shift)
			k.Clock.Advance(time.Minute)
			for _, act := range tc.before {
				if err := act(k, round); err != nil {
					t.Fatal(err)
				}
				k.Clock.Advance(time.Minute)
			}
			tc.want.check(t, tc.act(k, round))
		})
	}
}

func TestRound_ProgressIsInThePlansOrder(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	steps := k.Plan(p1, shift).GetSteps()
	k.Record(round, stationtest.Sound(steps[3]))
	k.Record(round, stationtest.NotChecked(steps[1].GetStepId(), pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME))
	k.Record(round, stationtest.Sound(steps[0]))
	k.Record(round, stationtest.Sound(steps[3]))
	for _, when := range []string{"at once", "after a restart"} {
		resp, err := k.GetRound(ctx, &pb.GetRoundRequest{Name: round})
		if err != nil {
			t.Fatal(err)
		}
		r := resp.GetRound()
		want := []string{steps[0].GetStepId(), steps[1].GetStepId(), steps[3].GetStepId()}
		if !slices.Equal(r.GetAnsweredSteps(), want) || r.GetAnswered() != 3 || r.GetNotChecked() != 1 {
			t.Errorf("%s: answered %v (%d, %d not checked), want %v", when, r.GetAnsweredSteps(), r.GetAnswered(), r.GetNotChecked(), want)
		}
		if d := diff(k.Readiness(p1).GetRounds()[0], r); d != "" {
			t.Errorf("%s: in the readiness it reads otherwise (-)\n%s", when, d)
		}
		k.Reopen()
	}
}

// A round stays open for days, over restarts and changes of the configuration.
func TestRound_StaysOpenForDays(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	k.Record(round, stationtest.Seen(screen, "sound"))
	k.Clock.Advance(76 * time.Hour)
	k.Reopen()
	k.ApplyAltered("gross_mass_kg: 18000", "gross_mass_kg: 17900")
	k.Reopen()
	k.Record(round, stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.5))
	resp, err := k.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: k.ID(), Round: round})
	if err != nil {
		t.Fatal(err)
	}
	if r := resp.GetRound(); r.GetAnswered() != 2 || r.GetState() != pb.RoundState_ROUND_STATE_FINISHED || r.GetVehicleRevision() != 1 {
		t.Errorf("round: %v", r)
	}
	if v := resp.GetReadiness().GetVerdict(); v != pb.Verdict_VERDICT_UNPROVEN {
		t.Errorf("verdict %v; the windscreen was looked at three days ago, the tyres never", v)
	}
}

// Two devices work on one vehicle at the same time; what either records counts.
func TestRound_TwoDevicesOnOneVehicle(t *testing.T) {
	k := stationtest.Open(t)
	first, second := k.OpenRound(p1, shift), k.OpenRound(p1, shift)
	for i, step := range k.Plan(p1, shift).GetSteps() {
		r := stationtest.Sound(step)
		r.Device = []string{"tablet-1", "tablet-2"}[i%2]
		k.Record([]string{first, second}[i%2], r)
	}
	r := k.Readiness(p1)
	if r.GetVerdict() != pb.Verdict_VERDICT_FIT || len(r.GetRounds()) != 2 {
		t.Errorf("verdict %v with %d rounds, want FIT with 2", r.GetVerdict(), len(r.GetRounds()))
	}
	if a, b := r.GetRounds()[0].GetAnswered(), r.GetRounds()[1].GetAnswered(); a+b != 9 || a == 0 || b == 0 {
		t.Errorf("answered %d and %d, together 9 are wanted", a, b)
	}
}

func TestPauseRound_SaysWhatToMakeSafe(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	for _, step := range []string{pump, oil, screen} {
		if _, err := k.BeginStep(ctx, &pb.BeginStepRequest{RequestId: k.ID(), Round: round, StepId: step}); err != nil {
			t.Fatal(err)
		}
	}
	resp, err := k.PauseRound(ctx, &pb.PauseRoundRequest{RequestId: k.ID(), Round: round, Note: "turnout"})
	if err != nil {
		t.Fatal(err)
	}
	var steps []string
	for _, u := range resp.GetMakeSafe() {
		steps = append(steps, u.GetStepId())
	}
	var walked []string // those of the plan that undo something, in its order
	for _, s := range k.Plan(p1, shift).GetSteps() {
		if s.GetUndoS() > 0 {
			walked = append(walked, s.GetStepId())
		}
	}
	if !slices.Equal(steps, walked) || resp.GetReadinessDebtS() != 80 {
		t.Errorf("make safe %v at %d s, want %v at 80 s (small.yaml: 20 s the oil, 60 s the pump)", steps, resp.GetReadinessDebtS(), walked)
	}
}

func TestMakeSafe(t *testing.T) {
	k := stationtest.Open(t)
	round, other := k.OpenRound(p1, shift), k.OpenRound(p1, shift)
	begin := func(round, step string) int32 {
		resp, err := k.BeginStep(ctx, &pb.BeginStepRequest{RequestId: k.ID(), Round: round, StepId: step})
		if err != nil {
			t.Fatal(err)
		}
		return resp.GetReadinessDebtS()
	}
	if debt := begin(round, oil); debt != 20 {
		t.Errorf("debt %d s after the oil was begun, want 20", debt)
	}
	if debt := begin(other, pump); debt != 80 {
		t.Errorf("debt %d s after the pump was begun, want 80", debt)
	}
	if debt := begin(round, screen); debt != 80 {
		t.Errorf("debt %d s after a step that undoes nothing, want 80", debt)
	}
	_, err := k.MakeSafe(ctx, &pb.MakeSafeRequest{RequestId: k.ID(), Round: round, StepIds: []string{oil, "OIL-999/nowhere"}})
	refusal{fault.NotFound, "STEP_UNKNOWN"}.check(t, err)
	_, err = k.MakeSafe(ctx, &pb.MakeSafeRequest{RequestId: k.ID(), Round: nowhere, StepIds: []string{oil}})
	refusal{fault.NotFound, "ROUND_UNKNOWN"}.check(t, err)
	resp, err := k.MakeSafe(ctx, &pb.MakeSafeRequest{RequestId: k.ID(), Round: round, StepIds: []string{oil, screen, oil}})
	if err != nil || resp.GetReadinessDebtS() != 60 || len(resp.GetStillUndone()) != 1 {
		t.Errorf("after the oil was made safe: %v, %v", resp, err)
	}
	// What another round has undone can be put back from this one.
	resp, err = k.MakeSafe(ctx, &pb.MakeSafeRequest{RequestId: k.ID(), Round: round, StepIds: []string{pump}})
	if err != nil || resp.GetReadinessDebtS() != 0 || len(resp.GetStillUndone()) != 0 {
		t.Errorf("after the pump was made safe: %v, %v", resp, err)
	}
	if got := k.Readiness(p1).GetReadinessDebtS(); got != 0 {
		t.Errorf("readiness debt %d s, want 0", got)
	}
}

// What a step has undone is undone until its result is recorded, unless it is
// left open.
func TestUndone_EndsWithTheResultUnlessLeftOpen(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	if _, err := k.BeginStep(ctx, &pb.BeginStepRequest{RequestId: k.ID(), Round: round, StepId: pump}); err != nil {
		t.Fatal(err)
	}
	r := stationtest.Seen(pump, "sound")
	r.LeftOpen = true
	k.Record(round, r)
	if got := k.Readiness(p1); got.GetReadinessDebtS() != 60 || got.GetUndone()[0].GetStepId() != pump {
		t.Errorf("left open: %d s, %v", got.GetReadinessDebtS(), got.GetUndone())
	}
	k.Record(round, stationtest.Seen(pump, "sound"))
	if got := k.Readiness(p1); got.GetReadinessDebtS() != 0 {
		t.Errorf("after a result that leaves nothing open: %d s", got.GetReadinessDebtS())
	}
}

func TestListRounds_NewestFirstInPages(t *testing.T) {
	k := stationtest.Open(t)
	var want []string
	for i := range 7 {
		vehicle := []string{p1, p2}[i%2]
		name := k.OpenRound(vehicle, shift)
		if vehicle == p1 {
			want = append(want, name)
		}
	}
	slices.Reverse(want)
	k.Reopen()
	var got []string
	token := ""
	for pages := 0; ; pages++ {
		resp, err := k.ListRounds(ctx, &pb.ListRoundsRequest{PageSize: 2, PageToken: token, Vehicle: p1})
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range resp.GetRounds() {
			got = append(got, r.GetName())
		}
		k.OpenRound(p1, shift) // newer ones do not disturb who pages through
		if token = resp.GetNextPageToken(); token == "" {
			break
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("rounds %v, want %v", got, want)
	}
	_, err := k.ListRounds(ctx, &pb.ListRoundsRequest{PageToken: "nonsense"})
	refusal{fault.Invalid, "PAGE_TOKEN_UNREADABLE"}.check(t, err)
}
