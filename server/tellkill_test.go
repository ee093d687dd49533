package main

import (
	"cmp"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"bayround/internal/command"
	"bayround/internal/durable"
	"bayround/internal/notice"
	"bayround/internal/notify"
	"bayround/internal/station"
	"bayround/internal/stationtest"
)

var stopped = regexp.MustCompile(`(wn1[123]|p2)/stop-[0-9a-z-]+`)

// stop stops a vehicle and returns what that defect is called; "" when the station is gone.
func stop(t *testing.T, address, vehicle string) string {
	t.Helper()
	person := map[string]string{"p2": "driver"}[vehicle]
	got := do(t, "defect", "stop", vehicle, "--person", cmp.Or(person, "arkwith"), "--reason", "it pulls to the left", "--server", address)
	if name := stopped.FindString(got.out); got.code == command.ExitDone && name != "" {
		return name
	}
	if got.code != command.ExitNotThere {
		t.Errorf("stopping %s: exit code %d\n%s%s", vehicle, got.code, got.out, got.err)
	}
	return ""
}

// stopAndRelease stops a vehicle, repairs and releases it; false when the station is gone.
func stopAndRelease(t *testing.T, address, vehicle string) bool {
	t.Helper()
	name := stop(t, address, vehicle)
	for _, args := range [][]string{
		{"defect", "rectify", name, "--person", "steddow", "--done", "tracking set"},
		{"defect", "release", name, "--person", "venholt", "--checked", "driven round the yard"},
	} {
		if name == "" {
			return false
		}
		got := do(t, append(args, "--server", address)...)
		if got.code == command.ExitNotThere {
			return false
		}
		if got.code != command.ExitDone {
			t.Errorf("server %s: exit code %d\n%s%s", strings.Join(args, " "), got.code, got.out, got.err)
			return false
		}
	}
	return true
}

// launchTelling starts the server with a file of subscriptions.
func launchTelling(t *testing.T, data, subscriptions string) *process {
	t.Helper()
	return launched(t, exec.Command(binary(t), "serve", "--data", data, "--listen", "127.0.0.1:0", "--metrics", "", "--subscriptions", subscriptions)) //nolint:gosec // our own binary
}

// A station that is killed while it tells, in turn before and after an event was answered,
// goes on after its next start: in the end each event that its record calls for was told,
// some of them twice, with the same id and the same words. What the record calls for is
// what another receiver is told by a station that nobody kills. BAYROUND_KILLS as in
// TestKill_LosesNothingAcknowledgedAndDoublesNothing.
func TestKill_TellsEachEventAtLeastOnce(t *testing.T) {
	cycles := 4
	if kills, err := strconv.Atoi(os.Getenv("BAYROUND_KILLS")); err == nil {
		cycles = max(cycles, kills/50)
	}
	if testing.Short() {
		cycles = 2
	}
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0)) //nolint:gosec // a test's dice
	data, receiver := ofCounty.copy(t), hear(t)
	file := subscriptionsFile(t, receiver.URL)
	p := launchTelling(t, data, file)
	first := stop(t, p.address, "wn11")
	receiver.until(aboutDefect("vehicles/"+strings.Replace(first, "/", "/defects/", 1), notice.DefectFound)) // so a first place is kept
	place, err := os.ReadFile(filepath.Join(data, notify.Folder, "control.json"))
	if err != nil {
		t.Fatal(err)
	}
	for cycle := range cycles {
		acting := make(chan struct{})
		go func() {
			defer close(acting)
			for n := 0; stopAndRelease(t, p.address, []string{"wn12", "wn13"}[n%2]); n++ {
			}
		}()
		told := len(receiver.until(moreThan(0)))
		receiver.until(moreThan(told + random.IntN(4)))
		if cycle%2 == 0 {
			receiver.before(p.kill)
			<-p.ended
		} else {
			p.kill()
		}
		<-acting
		p = launchTelling(t, data, file)
	}
	last := "vehicles/" + strings.Replace(stop(t, p.address, "wn12"), "/", "/defects/", 1)
	told := receiver.until(aboutDefect(last, notice.DefectFound))
	if code := p.end(); code != command.ExitDone {
		t.Errorf("the last server ended with %d\n%s", code, p.log)
	}
	doubled := compareHeard(t, told, fromPlace(t, data, place, last))
	if doubled < cycles/2 {
		t.Errorf("%d events were told twice; before %d kills one was not answered", doubled, (cycles+1)/2)
	}
	t.Logf("%d events, %d of them told again", len(told)-doubled, doubled)
}

// fromPlace is what a receiver is told from a place on, up to the event that a defect was found.
func fromPlace(t *testing.T, data string, place []byte, last string) []heard {
	t.Helper()
	k, other, beside := stationtest.OpenWith(t, nil, station.Options{Dir: data}), hear(t), t.TempDir()
	if err := os.Mkdir(filepath.Join(beside, notify.Folder), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := durable.Replace(filepath.Join(beside, notify.Folder, "control.json"), place); err != nil {
		t.Fatal(err)
	}
	subscriptions, err := notify.Load(subscriptionsFile(t, other.URL))
	if err != nil {
		t.Fatal(err)
	}
	n, err := notify.Open(k.Station, notify.Options{Data: beside, Subscriptions: subscriptions})
	if err != nil {
		t.Fatal(err)
	}
	defer n.Close()
	return other.until(aboutDefect(last, notice.DefectFound))
}

// compareHeard holds what came through the kills against what was to come, and counts the doubles.
func compareHeard(t *testing.T, told, want []heard) (doubled int) {
	t.Helper()
	wanted, got := map[string]heard{}, map[string]heard{}
	for _, one := range want {
		wanted[one.id] = one
	}
	newest := map[string]int64{}
	for _, one := range told {
		if before, again := got[one.id]; again {
			doubled++
			if before.kind != one.kind || before.content != one.content {
				t.Errorf("%s was told as\n%s\nand again as\n%s", one.id, before.content, one.content)
			}
			continue
		}
		got[one.id] = one
		if one.data.Sequence < newest[one.data.Vehicle] {
			t.Errorf("%s came first after event %d of its vehicle", one.id, newest[one.data.Vehicle])
		}
		newest[one.data.Vehicle] = one.data.Sequence
		if _, is := wanted[one.id]; !is && !strings.HasPrefix(one.id, "present-") && one.data.Sequence > want[0].data.Sequence {
			t.Errorf("%s was told, and the record does not call for it", one.id)
		}
	}
	for _, one := range want {
		if got[one.id].content != one.content {
			t.Errorf("%s was told as %q, want %s", one.id, got[one.id].content, one.content)
		}
	}
	return doubled
}
