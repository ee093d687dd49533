package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"testing"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
	"bayround/internal/faultpoint"
)

// players is how many rounds are carried out side by side while the server is killed.
const players = 3

// acks is what players were told is safely kept: result id to event. It is a
// writer for what "play --each" prints.
type acks struct {
	mu     sync.Mutex
	events map[string]string // guarded by mu
	after  int               // guarded by mu: how many more acknowledgements until enough is closed
	enough chan struct{}
	wrong  []string // guarded by mu
}

func newAcks() *acks { return &acks{events: map[string]string{}} }

// Write takes a line of a player. An id that was told before must have the same event again.
func (a *acks) Write(line []byte) (int, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, found := range acknowledged.FindAllStringSubmatch(string(line), -1) {
		id, event := found[2], found[3]
		if before, told := a.events[id]; told && before != event {
			a.wrong = append(a.wrong, fmt.Sprintf("result %s was event %s and is now event %s", id, before, event))
		}
		a.events[id] = event
		if a.after--; a.after == 0 {
			close(a.enough)
		}
	}
	return len(line), nil
}

// arm returns a channel that is closed after so many more acknowledgements.
func (a *acks) arm(after int) <-chan struct{} {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.after, a.enough = after, make(chan struct{})
	return a.enough
}

// playAll carries out all rounds of a cycle and returns their exit codes.
func (a *acks) playAll(t *testing.T, address string, cycle int) []int {
	t.Helper()
	codes := make([]int, players)
	var all sync.WaitGroup
	for n := range players {
		all.Go(func() {
			args := []string{"play", "--each", "--server", address, "--key", fmt.Sprintf("cycle %d player %d", cycle, n), round(t, "09-t1-before-tow.yaml")}
			codes[n] = run(t.Context(), args, a, io.Discard)
		})
	}
	all.Wait()
	return codes
}

// deaths are the fault points at which a server falls dead.
var deaths = []faultpoint.Point{faultpoint.JournalBeforeCommit, faultpoint.JournalAfterCommit, faultpoint.JournalBeforeAnswer}

// surelyHit is how often the points are reached at least while all players carry
// out their rounds: a commit takes in no more than one result of each.
const surelyHit = 30

// TestKill_LosesNothingAcknowledgedAndDoublesNothing kills the server in the middle
// of rounds, in turn at random instants and at fault points, starts it again and
// plays the same rounds to their end. BAYROUND_KILLS counts the kills of the
// journal's own test, which are cheaper; here is one for each fifty of them.
func TestKill_LosesNothingAcknowledgedAndDoublesNothing(t *testing.T) {
	cycles := 40
	if text := os.Getenv("BAYROUND_KILLS"); text != "" {
		kills, err := strconv.Atoi(text)
		if err != nil {
			t.Fatalf("BAYROUND_KILLS: %v", err)
		}
		cycles = max(1, kills/50)
	}
	if testing.Short() {
		cycles = 10
	}
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0)) //nolint:gosec // a test's dice
	data, told, broken := t.TempDir(), newAcks(), 0
	p := launch(t, data)
	must(t, "apply", county(t), "--server", p.address)
	for cycle := range cycles {
		if cycle%2 == 0 {
			broken += told.killAfter(t, p, 1+random.IntN(33*players-1), cycle)
		} else {
			p.end()
			p = launchToBreak(t, data, fmt.Sprintf("%s=exit@%d", deaths[cycle/2%len(deaths)], 1+random.IntN(surelyHit)))
			broken += told.letDie(t, p, cycle)
		}
		p = launch(t, data)
		for _, code := range told.playAll(t, p.address, cycle) {
			if code != command.ExitDone {
				t.Fatalf("cycle %d: after the restart a player ends with %d", cycle, code)
			}
		}
	}
	if broken == 0 {
		t.Error("no player was ever interrupted; the kills came too late to test anything")
	}
	t.Logf("%d of %d rounds were interrupted", broken, cycles*players)
	for _, wrong := range told.wrong {
		t.Error(wrong)
	}
	told.compare(t, p.address)
	if code := p.end(); code != command.ExitDone {
		t.Errorf("the last server ended with %d\n%s", code, p.log)
	}
	requireIn(t, must(t, "verify", "--data", data), "sound: ")
}

// killAfter kills a server that is played against, after so many acknowledgements,
// and counts the players it interrupted.
func (a *acks) killAfter(t *testing.T, p *process, after, cycle int) (broken int) {
	t.Helper()
	enough, killed := a.arm(after), make(chan struct{})
	go func() {
		defer close(killed)
		<-enough
		p.kill()
	}()
	broken = a.playUntilDead(t, p.address, cycle)
	<-killed
	return broken
}

// letDie plays against a server that falls dead at a fault point.
func (a *acks) letDie(t *testing.T, p *process, cycle int) (broken int) {
	t.Helper()
	broken = a.playUntilDead(t, p.address, cycle)
	if broken == 0 {
		t.Fatalf("cycle %d: no player was interrupted; the server never came to its fault point\n%s", cycle, p.log)
	}
	if code := p.exitCode(); code != -1 {
		t.Errorf("cycle %d: the server ended with %d\n%s", cycle, code, p.log)
	}
	return broken
}

// playUntilDead plays against a server that is about to die, and counts the players
// who did not come to their end.
func (a *acks) playUntilDead(t *testing.T, address string, cycle int) (broken int) {
	t.Helper()
	for _, code := range a.playAll(t, address, cycle) {
		if code != command.ExitDone && code != command.ExitNotThere {
			t.Errorf("cycle %d: a player whose server is killed ends with %d", cycle, code)
		}
		if code != command.ExitDone {
			broken++
		}
	}
	return broken
}

// What is shipped holds no fault points, whatever its environment says.
func TestServe_ShipsNoFaultPoints(t *testing.T) {
	for path, want := range map[string]bool{binary(t): false, binaryWithFaults(t): true} {
		content, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if got := bytes.Contains(content, []byte(faultpoint.Variable)); got != want {
			t.Errorf("%s names %s: %v, want %v", path, faultpoint.Variable, got, want)
		}
	}
}

// compare holds what was acknowledged against the journal: each result once, in
// the event that was told, and none that nobody was told of in the end.
func (a *acks) compare(t *testing.T, address string) {
	t.Helper()
	inJournal := map[string]string{}
	err := asking(address, func(r *remote) error {
		stream, err := pb.NewJournalServiceClient(r.conn).Follow(t.Context(), &pb.FollowRequest{StopAtEnd: true})
		if err != nil {
			return err
		}
		for {
			message, err := stream.Recv()
			if errors.Is(err, io.EOF) {
				return nil
			}
			if err != nil {
				return err
			}
			for _, event := range message.GetEvents().GetEvents() {
				id := event.GetResultRecorded().GetResult().GetResultId()
				if id == "" {
					continue
				}
				if before, twice := inJournal[id]; twice {
					t.Errorf("result %s stands in events %s and %d", id, before, event.GetSequence())
				}
				inJournal[id] = fmt.Sprint(event.GetSequence())
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	for id, event := range a.events {
		if inJournal[id] != event {
			t.Errorf("result %s was acknowledged as event %s; the journal has it in event %q", id, event, inJournal[id])
		}
	}
	if len(inJournal) != len(a.events) {
		t.Errorf("%d results were acknowledged, the journal holds %d", len(a.events), len(inJournal))
	}
}

// TestServe_StopsItselfWhenAWriteFails lets the kernel refuse to flush from some
// point on. It holds on to the running server for that: counted from its start, the flushes of each of its
// threads would be counted apart, and nobody can tell which one commits.
func TestServe_StopsItselfWhenAWriteFails(t *testing.T) {
	data, told := t.TempDir(), newAcks()
	p := launch(t, data)
	must(t, "apply", county(t), "--server", p.address)
	for _, code := range told.playAll(t, p.address, 0) {
		if code != command.ExitDone {
			t.Fatalf("before anything fails a player ends with %d", code)
		}
	}
	refuseFlushes(t, p)
	refused := 0
	for _, code := range told.playAll(t, p.address, 1) {
		if code == command.ExitNotThere {
			refused++
		} else if code == command.ExitDone {
			t.Error("a round was played to its end although nothing could be flushed any more")
		}
	}
	if refused == 0 {
		t.Fatal("no player was refused")
	}
	if code := p.exitCode(); code != command.ExitStopped {
		t.Errorf("the server ended with %d, want %d\n%s", code, command.ExitStopped, p.log)
	}
	requireIn(t, p.log.String(), "the journal stopped itself")

	p = launch(t, data)
	for cycle := range 2 {
		for _, code := range told.playAll(t, p.address, cycle) {
			if code != command.ExitDone {
				t.Errorf("after the restart a player ends with %d", code)
			}
		}
	}
	if len(told.wrong) > 0 {
		t.Error(strings.Join(told.wrong, "\n"))
	}
	told.compare(t, p.address)
}

// refuseFlushes lets every flush of a running server fail from now on.
func refuseFlushes(t *testing.T, p *process) {
	t.Helper()
	strace, err := exec.LookPath("strace")
	if err != nil {
		needs(t, "strace")
	}
	hold := exec.Command(strace, "-f", "-o", "/dev/null", "-e", "trace=msync", "-e", "inject=msync:error=EIO", //nolint:gosec // a tool of the machine
		"-p", strconv.Itoa(p.command.Process.Pid))
	says, err := hold.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := hold.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = hold.Process.Kill() // it ends with the server, mostly
		_ = hold.Wait()
	})
	lines := bufio.NewScanner(says)
	for lines.Scan() {
		if strings.Contains(lines.Text(), " attached") {
			go func() { _, _ = io.Copy(io.Discard, says) }()
			return
		}
		if strings.Contains(lines.Text(), "not permitted") {
			needs(t, "strace that may trace: %s", lines.Text())
		}
	}
	t.Fatal("strace ended before it held the server")
}
