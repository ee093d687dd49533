package main

import (
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

var acknowledged = regexp.MustCompile(`(?m)^recorded (\S+) (\S+) event (\d+)$`)

func TestPlay_AgainRecordsNothingTwice(t *testing.T) {
	t.Setenv("BAYROUND_SERVER", filled(t).address)
	file := round(t, "03-wn12-shift.yaml")
	first := must(t, "play", "--each", file)
	requireIn(t, first,
		"MINOR     Screen wash level", "put right and read again",
		"/!\\  WN12  FIT WITH LIMITS", "  limit: Riders limited to seats with working belts; tag this seat", "  way back: ")
	second := must(t, "play", "--each", file)
	acks := acknowledged.FindAllString(first, -1)
	if again := acknowledged.FindAllString(second, -1); len(acks) < 100 || strings.Join(again, "\n") != strings.Join(acks, "\n") {
		t.Errorf("the second time %d answers are other ones or have other events than the %d before", len(again), len(acks))
	}
	requireIn(t, second, "128 answers, 128 of them recorded before")
	third := must(t, "play", "--each", "--again", file)
	if acknowledged.FindString(third) == acks[0] || strings.Contains(third, "recorded before") {
		t.Error("--again is the same round")
	}
	other := must(t, "play", "--each", "--key", "tomorrow", file)
	if acknowledged.FindString(other) == acks[0] {
		t.Error("another key is the same round")
	}
	got := do(t, "play", "--key", "tomorrow", round(t, "01-wn11-shift.yaml"))
	if got.code != command.ExitMisused {
		t.Errorf("a key used for another vehicle: exit code %d\n%s", got.code, got.err)
	}
}

func TestPlay_GoesOnWhereItStopped(t *testing.T) {
	t.Setenv("BAYROUND_SERVER", filled(t).address)
	file := filepath.Join(t.TempDir(), "round.yaml")
	beginning := "key: k\nvehicle: t1\nroutine: before-tow\ndriver: fennigar\n"
	sound := beginning + "gauges: {pressure: g-11}\nanswer: sound\nnominal: {TRL-080: 60 kg}\n"
	writeFile(t, file, sound+"steps: {TRL-080: {reading: 900 kg}}\n")
	got := do(t, "play", "--each", file)
	if got.code != command.ExitRefused {
		t.Fatalf("an impossible weight: exit code %d\n%s%s", got.code, got.out, got.err)
	}
	requireIn(t, got.err, "recording TRL-080/")
	kept := acknowledged.FindAllString(got.out, -1)

	writeFile(t, file, sound)
	rest := must(t, "play", "--each", file)
	requireIn(t, rest, "[^]  T1  FIT TO RESPOND")
	if again := acknowledged.FindAllString(rest, len(kept)); len(kept) == 0 || strings.Join(again, "\n") != strings.Join(kept, "\n") {
		t.Errorf("what was kept before has become something else:\n%v\n%v", kept, again)
	}
}

func TestPlay_BeginsPausesMakesSafeAndGivesUp(t *testing.T) {
	s := filled(t)
	t.Setenv("BAYROUND_SERVER", s.address)
	folder := t.TempDir()
	open := filepath.Join(folder, "open.yaml")
	writeFile(t, open, `key: open
vehicle: wn31
routine: shift
driver: venholt
steps:
  PRE-010: {seen: sound}
  HVE-020: {begin: true, seen: sound, left_open: true}
end: leave_open
`)
	must(t, "play", open)
	requireIn(t, must(t, "readiness", "wn31"), "a turnout now costs 20 s")

	call := filepath.Join(folder, "call.yaml")
	writeFile(t, call, `key: call
vehicle: wn31
routine: shift
driver: venholt
steps:
  PRE-010: {seen: sound, pause_after: turnout}
  HVE-010: {reading: 95 %}
end: give_up
note: relieved by the next watch
`)
	must(t, "play", call)
	if table := must(t, "readiness", "wn31"); strings.Contains(table, "a turnout now costs") {
		t.Errorf("it was made safe in the pause:\n%s", table)
	}
	states := map[pb.RoundState]int{}
	err := asking(s.address, func(r *remote) error {
		resp, err := r.rounds.ListRounds(t.Context(), &pb.ListRoundsRequest{Vehicle: "vehicles/wn31"})
		for _, round := range resp.GetRounds() {
			states[round.GetState()]++
		}
		return err
	})
	if err != nil || states[pb.RoundState_ROUND_STATE_OPEN] != 1 || states[pb.RoundState_ROUND_STATE_GIVEN_UP] != 1 {
		t.Errorf("rounds by state: %v, %v", states, err)
	}

	stays := filepath.Join(folder, "stays.yaml")
	writeFile(t, stays, "key: stays\nvehicle: wn31\nroutine: shift\ndriver: venholt\nend: leave_open\n"+
		"steps: {PRE-010: {seen: sound, pause_after: {note: call, resume: false}}}\n")
	must(t, "play", stays)
	must(t, "play", stays) // harmless again
}

// A cylinder that is full and hisses: the gauge alone would say that all is well.
// The later reading without the hiss does not mend it.
func TestPlay_FindsWhatIsSeenBesideAValue(t *testing.T) {
	t.Setenv("BAYROUND_SERVER", filled(t).address)
	file := filepath.Join(t.TempDir(), "round.yaml")
	beginning := "vehicle: wn32\nroutine: shift\ndriver: corrabell\nend: leave_open\nsteps:\n  AMB-030: {reading: {main: 160 bar, portable: 180 bar}"
	const hisses = "Oxygen hisses out"
	for _, tc := range []struct {
		more, out string
		found     bool // by this round
	}{
		{"", "wn32", false},
		{", also_seen: AMB-030-02", "Oxygen, main and portable", true},
		{", note: closed it tighter", "wn32", false},
	} {
		writeFile(t, file, beginning+tc.more+"}\n")
		out := must(t, "play", file)
		requireIn(t, out, tc.out)
		if found := strings.Contains(out, "  MAJOR     Oxygen, main and portable") && strings.Contains(out, hisses); found != tc.found {
			t.Errorf("%q: found is %v, want %v\n%s", tc.more, found, tc.found, out)
		}
	}
	requireIn(t, must(t, "readiness", "wn32"), hisses)
	requireIn(t, must(t, "show", "wn32"), "; beside it 1 fault can be seen")
}

func TestPlay_ARoundThatAnswersNothingIsAMistake(t *testing.T) {
	t.Setenv("BAYROUND_SERVER", filled(t).address)
	file := filepath.Join(t.TempDir(), "round.yaml")
	writeFile(t, file, wellFormed)
	if got := do(t, "play", file); got.code == command.ExitDone {
		t.Errorf("nothing was answered and all is well:\n%s", got.out)
	}
}
