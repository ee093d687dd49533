package round

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	pb "bayround/proto/bayround/v1"
)

var morning = time.Date(2026, time.March, 2, 7, 30, 0, 0, time.UTC)

// lined are marks of which each letter is one: o open, a answered, f fault, n not
// checked, c cold, r again; | begins the next halt.
func lined(line string) (marks []Mark) {
	stop := 0
	for i, letter := range line {
		if letter == '|' {
			stop++
			continue
		}
		state := map[rune]MarkState{'o': MarkOpen, 'a': MarkAnswered, 'f': MarkFault, 'n': MarkNotChecked, 'c': MarkCold, 'r': MarkAgain}[letter]
		marks = append(marks, Mark{StepID: string(rune('A' + i)), State: state, Stop: stop})
	}
	return marks
}

func TestNext_ChoosesTheStepToBeLit(t *testing.T) {
	for _, tc := range []struct {
		why     string
		line    string
		after   int
		resumed int
		want    int
	}{
		{"nothing to walk", "", -1, 0, -1},
		{"the first", "ooo", -1, 0, 0},
		{"the one after", "ooo", 0, 0, 1},
		{"answered ones are passed", "oafno", 0, 0, 4},
		{"cold ones wait", "occo", 0, 0, 3},
		{"those to be asked again are asked", "aara", 0, 0, 2},
		{"round to the beginning", "oaa", 2, 0, 0},
		{"the only one left is itself", "aoa", 1, 0, 1},
		{"nothing left but what is cold", "acfn", 0, 0, -1},
		{"resumed: the first halt first", "ro|aa|oo|oo", -1, 2, 0},
		{"resumed: all of the first halt", "ar|ro|oo|oo", 0, 2, 1},
		{"resumed: then where it broke off", "aa|ro|oo|oo", 1, 2, 4},
		{"resumed: then on from there", "aa|ro|ao|oo", 4, 2, 5},
		{"resumed: at the end round to the beginning", "aa|ro|aa|aa", 7, 2, 2},
		{"resumed at the last halt, which is done", "aa|ro|aa", 1, 2, 2},
	} {
		if got := next(lined(tc.line), tc.after, tc.resumed); got != tc.want {
			t.Errorf("%s: after %d of %s comes %d, want %d", tc.why, tc.after, tc.line, got, tc.want)
		}
	}
}

// Whoever goes on from step to step comes to every step that waits, whatever the
// walk looks like, and to no other.
func TestNext_ComesToEverything(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		marks := lined(rapid.StringMatching(`[oafncr]([oafncr|]{0,20}[oafncr])?`).Draw(rt, "walk"))
		resumed := rapid.IntRange(0, 4).Draw(rt, "resumed")
		waiting := 0
		for _, m := range marks {
			if m.State == MarkOpen || m.State == MarkAgain {
				waiting++
			}
		}
		at := rapid.IntRange(-1, len(marks)-1).Draw(rt, "from")
		for range waiting {
			if at = next(marks, at, resumed); at < 0 || marks[at].State != MarkOpen && marks[at].State != MarkAgain {
				rt.Fatalf("it comes to %d", at)
			}
			marks[at].State = MarkAnswered
		}
		if left := next(marks, at, resumed); left >= 0 {
			rt.Fatalf("then it comes to %d", left)
		}
	})
}

func coldFor(d time.Duration) *pb.CheckStep {
	return &pb.CheckStep{StepId: "FLU-010/oil", ColdAfter: durationpb.New(d)}
}

func TestEngine_IsColdWhenItHasStood(t *testing.T) {
	at := func(minutes int) time.Time { return morning.Add(time.Duration(minutes) * time.Minute) }
	for _, tc := range []struct {
		why  string
		e    engine
		step *pb.CheckStep
		now  time.Time
		want time.Time
	}{
		{"nothing said", engine{}, coldFor(time.Hour), at(0), time.Time{}},
		{"it need not be cold", engine{Said: saidStopped, Stopped: at(-1)}, &pb.CheckStep{}, at(0), time.Time{}},
		{"stopped", engine{Said: saidStopped, Stopped: at(-5)}, coldFor(time.Hour), at(0), at(55)},
		{"nobody knows: it may have run until that was said", engine{Said: saidUnknown, Stopped: at(-5)}, coldFor(time.Hour), at(0), at(55)},
		{"it runs: an hour from now at the earliest", engine{Said: saidRunning, Stopped: at(-5)}, coldFor(time.Hour), at(0), at(60)},
		{"run by a step since", engine{Said: saidStopped, Stopped: at(-90), Ran: at(-2)}, coldFor(time.Hour), at(0), at(58)},
		{"run by a step before it stopped", engine{Said: saidStopped, Stopped: at(-5), Ran: at(-20)}, coldFor(time.Hour), at(0), at(55)},
		{"run by a step, nothing said", engine{Ran: at(-2)}, coldFor(time.Hour), at(0), at(58)},
	} {
		if got := tc.e.coldAt(tc.step, tc.now); !got.Equal(tc.want) {
			t.Errorf("%s: cold at %v, want %v", tc.why, got, tc.want)
		}
	}
}

func TestEngine_TellsTheStationWhatWasSaid(t *testing.T) {
	stopped := morning.Add(-time.Hour)
	for _, tc := range []struct {
		e       engine
		ambient string
		want    *pb.RoundConditions
	}{
		{engine{}, "", &pb.RoundConditions{}},
		{engine{Said: saidUnknown, Stopped: stopped}, "", &pb.RoundConditions{}},
		{engine{Said: saidStopped, Stopped: stopped}, "8.5", &pb.RoundConditions{EngineStopped: timestamppb.New(stopped), AmbientCelsius: ptr(8.5)}},
		{engine{Said: saidRunning, Stopped: stopped}, "0", &pb.RoundConditions{EngineStopped: timestamppb.New(stopped), AmbientCelsius: ptr(0.0)}},
	} {
		if got := tc.e.conditions(tc.ambient); got.String() != tc.want.String() {
			t.Errorf("%+v %q: %v, want %v", tc.e, tc.ambient, got, tc.want)
		}
	}
}

func ptr[T any](x T) *T { return &x }

func TestWalk_MarksSayHowAStepStands(t *testing.T) {
	sound := &pb.Result{Answer: &pb.Result_Seen{Seen: &pb.ConditionsSeen{Conditions: []*pb.ConditionSeen{{Condition: "sound"}}}}}
	faulty := &pb.Result{Answer: &pb.Result_Seen{Seen: &pb.ConditionsSeen{Conditions: []*pb.ConditionSeen{{Condition: "01"}}}}}
	level := &pb.Result{Answer: &pb.Result_Level{Level: &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_BELOW}}}
	beside := &pb.Result{Answer: level.Answer, AlsoSeen: []*pb.ConditionSeen{{Condition: "02"}}}
	skipped := &pb.Result{Answer: &pb.Result_NotChecked{NotChecked: &pb.NotChecked{Reason: pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME}}}
	warm := engine{Said: saidStopped, Stopped: morning}
	for _, tc := range []struct {
		why                    string
		kind                   *pb.CheckStep
		last                   *pb.Result
		answered, again, found bool
		cold                   time.Duration
		want                   MarkState
		answer                 string
	}{
		{"nobody has answered", lampStep, nil, false, false, false, 0, MarkOpen, ""},
		{"answered in another round", lampStep, sound, false, false, false, 0, MarkOpen, ""},
		{"answered soundly", lampStep, sound, true, false, false, 0, MarkAnswered, "lit, whole"},
		{"a fault", lampStep, faulty, true, false, false, 0, MarkFault, "out"},
		{"a value that the rules find at fault", levelStep, level, true, false, true, 0, MarkFault, "below the lower mark"},
		{"a value that they do not", levelStep, level, true, false, false, 0, MarkAnswered, "below the lower mark"},
		{"a fault beside a value", levelStep, beside, true, false, false, 0, MarkFault, "below the lower mark; milky"},
		{"not checked, where something is open", levelStep, skipped, true, false, true, 0, MarkNotChecked, "not checked: no time"},
		{"warm", levelStep, nil, false, false, false, time.Hour, MarkCold, ""},
		{"warm, but answered", levelStep, level, true, false, false, time.Hour, MarkAnswered, "below the lower mark"},
		{"asked again", levelStep, level, true, true, false, 0, MarkAgain, "below the lower mark"},
		{"asked again when it is cold", levelStep, level, true, true, false, time.Hour, MarkCold, "below the lower mark"},
	} {
		step := &pb.CheckStep{StepId: "X", AnswerKind: tc.kind.AnswerKind, Conditions: tc.kind.Conditions, Last: tc.last}
		if tc.cold > 0 {
			step.ColdAfter = durationpb.New(tc.cold)
		}
		set := func(on bool) map[string]bool { return map[string]bool{"X": on} }
		w := walk{steps: []*pb.CheckStep{step}, answered: set(tc.answered), again: set(tc.again), found: set(tc.found), engine: warm, now: morning}
		if m := w.marks()[0]; m.State != tc.want || m.Answer != tc.answer {
			t.Errorf("%s: %d %q, want %d %q", tc.why, m.State, m.Answer, tc.want, tc.answer)
		}
	}
}

func TestStops_CountWhatIsLeft(t *testing.T) {
	var steps []*pb.CheckStep
	for _, stop := range []string{"cab", "cab", "front", "cab", "cab"} {
		steps = append(steps, &pb.CheckStep{Stop: stop, StopTitle: "at the " + stop})
	}
	marks := lined("ao|r|cn")
	for i, n := range stopsOf(steps) {
		if marks[i].Stop != n {
			t.Errorf("step %d is of halt %d, want %d", i, n, marks[i].Stop)
		}
	}
	want := []Stop{{"at the cab", 1, 2}, {"at the front", 1, 1}, {"at the cab", 1, 2}}
	got := stops(steps, marks)
	if len(got) != len(want) {
		t.Fatalf("halts %+v", got)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("halt %d is %+v, want %+v", i, got[i], want[i])
		}
	}
}

func TestBayWalk_TellsTheAssistant(t *testing.T) {
	v := &View{
		Phase: PhaseStep, Chosen: &Vehicle{Configuration: &pb.VehicleConfiguration{Name: "vehicles/wn11", CallSign: "WN11"}},
		Session: &Session{Driver: &pb.Person{Title: "Tamsel"}, Assistant: &pb.Person{Title: "Borin"}},
		Round:   &Round{Answered: 3, Marks: make([]Mark, 9), DebtS: 20},
		Step: &Step{CheckStep: &pb.CheckStep{
			Title: "Stop lamp", Place: &pb.Place{Title: "rear"}, AssistantCommand: "Call it", State: &pb.StepState{Assistant: true},
		}, Entry: Entry{Note: "typed"}},
		Given: &Given{Title: "Windscreen", Findings: []*pb.Finding{
			{Text: "Dirty.", Effect: pb.Effect_EFFECT_NOTHING}, {Text: "Shattered.", Effect: pb.Effect_EFFECT_MOVING},
		}},
	}
	want := BayWalk{
		Vehicle: "vehicles/wn11", CallSign: "WN11", Driver: "Tamsel", Assistant: "Borin", Step: "Stop lamp", Place: "rear",
		Command: "Call it", GoOn: "the driver says go on", Answered: 3, Steps: 9, Found: "Windscreen: Shattered.", DebtS: 20,
	}
	if got := bayWalk(v); *got != want {
		t.Errorf("it is told %+v", *got)
	}
	v.Session.Assistant = nil
	if got := bayWalk(v); got.Command != "" || got.GoOn != "" {
		t.Errorf("nobody is told %q", got.Command)
	}
	v.Phase, v.Step = PhaseTurnout, nil
	if got := bayWalk(v); !got.Turnout {
		t.Error("a turnout is not told")
	}
	for _, quiet := range []*View{{Phase: PhaseVehicles}, {Phase: PhaseHandover, Chosen: v.Chosen, Round: v.Round}, {Phase: PhaseBefore, Chosen: v.Chosen}} {
		if got := bayWalk(quiet); got != nil {
			t.Errorf("in phase %d it is told %+v", quiet.Phase, got)
		}
	}
}
