package stationtest_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/faultpoint"
	"bayround/internal/rpc"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

const (
	clients    = 4
	operations = 120 // of one history, those that met a dead station not counted
	windscreen = "GLA-010/windscreen"
)

var vehicleNames = [vehicles]string{"vehicles/p1", "vehicles/p2"}

// life is one life of the station: from one start to its death.
type life struct {
	command *exec.Cmd
	address string
	log     bytes.Buffer  // complete once dead is closed
	dead    chan struct{} // closed when the process has ended
}

// begin starts the station as a process that breaks as plan says; nil when it died
// before it could be asked anything.
func begin(t *testing.T, dir, plan string) *life {
	t.Helper()
	l := &life{command: exec.Command(breakable.Path(t)), dead: make(chan struct{})}
	l.command.Env = append(os.Environ(), childDir+"="+dir, faultpoint.Variable+"="+plan)
	l.command.Stderr = &l.log
	out, err := l.command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := l.command.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	if lines.Scan() {
		l.address, _ = strings.CutPrefix(lines.Text(), "ready on ")
	}
	go func() {
		defer close(l.dead)
		for lines.Scan() {
		}
		_ = l.command.Wait()
	}()
	t.Cleanup(l.kill)
	if l.address == "" {
		<-l.dead
		if plan == "" {
			t.Fatalf("the station does not start: %s", l.log.Bytes())
		}
		return nil
	}
	return l
}

func (l *life) kill() {
	_ = l.command.Process.Kill()
	<-l.dead
}

// history is what clients asked of a station that dies now and then, and what they
// were answered.
type history struct {
	t     *testing.T
	dir   string
	clock atomic.Int64 // orders calls and returns
	left  atomic.Int64 // operations still to begin
	next  atomic.Int64 // number of the next result

	mu    sync.Mutex
	lived chan struct{}         // guarded by mu: closed and replaced at every new life
	now   *life                 // guarded by mu; nil between two lives
	done  []porcupine.Operation // guarded by mu
}

// lifeAfter waits for a life after one that has ended; the first one after nil.
func (h *history) lifeAfter(before *life) *life {
	for {
		h.mu.Lock()
		now, lived := h.now, h.lived
		h.mu.Unlock()
		if now != nil && now != before {
			return now
		}
		<-lived
	}
}

func (h *history) enter(l *life) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.now = l
	close(h.lived)
	h.lived = make(chan struct{})
}

func (h *history) note(client int, call int64, input, output any) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.done = append(h.done, porcupine.Operation{ClientId: client, Call: call, Return: h.clock.Add(1), Input: input, Output: output})
}

// play lets clients ask until all operations have begun, while the station lives
// as often as there are plans, and once more without one.
func (h *history) play(plans []string, dice *rand.Rand) {
	var all sync.WaitGroup
	for client := range clients {
		own := rand.New(rand.NewPCG(dice.Uint64(), 0))
		all.Go(func() { h.ask(client, own) })
	}
	finished := make(chan struct{})
	go func() {
		all.Wait()
		close(finished)
	}()
	for _, plan := range append(plans, "") {
		l := begin(h.t, h.dir, plan)
		if l == nil {
			continue
		}
		h.enter(l)
		select {
		case <-l.dead:
			if plan == "" {
				h.t.Errorf("the station died by itself: %s", l.log.Bytes())
				h.left.Store(0)
			}
		case <-finished:
			return
		}
	}
	<-finished
}

// asker is one client.
type asker struct {
	*history
	client int
	dice   *rand.Rand
	life   *life
	at     calls // of this life
}

// calls are how one life is asked.
type calls struct {
	rounds    pb.RoundServiceClient
	journal   pb.JournalServiceClient
	standings pb.TwinServiceClient
	close     func()
}

func reach(t *testing.T, address string) calls {
	conn, err := rpc.Dial(address)
	if err != nil {
		t.Error(err)
	}
	return calls{
		pb.NewRoundServiceClient(conn), pb.NewJournalServiceClient(conn), pb.NewTwinServiceClient(conn),
		func() { _ = conn.Close() },
	}
}

func (h *history) ask(client int, dice *rand.Rand) {
	a := asker{history: h, client: client, dice: dice}
	a.move()
	defer func() { a.at.close() }()
	for h.left.Add(-1) >= 0 {
		switch dice.IntN(4) {
		case 0:
			a.head()
		case 1:
			a.state(dice.IntN(vehicles))
		default:
			a.record(byte(h.next.Add(1) - 1))
		}
	}
}

// move waits until this life has ended and goes on with the next.
func (a *asker) move() {
	if a.life != nil {
		a.at.close()
	}
	a.life = a.lifeAfter(a.life)
	a.at = reach(a.t, a.life.address)
}

// died tells whether an error is the station's death, and makes sure that it is
// dead: what has not taken effect by then never will.
func (a *asker) died(err error) bool {
	if err == nil {
		return false
	}
	if !fault.Is(err, fault.Unavailable) {
		a.t.Errorf("client %d: %v", a.client, err)
		a.left.Store(0)
	}
	a.life.kill()
	return true
}

// record records a result, and sends it again while its fate is unknown.
func (a *asker) record(n byte) {
	in := recordOp{n, vehicleOf(n)}
	for {
		call := a.clock.Add(1)
		resp, err := a.at.rounds.RecordResult(context.Background(), resultNumber(n))
		if !a.died(err) {
			a.note(a.client, call, in, recorded{sequence: resp.GetSequence(), repeated: resp.GetRepeatedBefore()})
			return
		}
		a.note(a.client, call, in, recorded{unknown: true})
		if a.left.Load() == 0 && a.t.Failed() {
			return
		}
		a.move()
	}
}

func (a *asker) head() {
	call := a.clock.Add(1)
	resp, err := a.at.journal.GetCheckpoint(context.Background(), &pb.GetCheckpointRequest{})
	if a.died(err) {
		a.move()
		return
	}
	a.note(a.client, call, headOp{}, sizeOf(a.t, resp))
}

func sizeOf(t *testing.T, resp *pb.GetCheckpointResponse) int64 {
	lines := strings.SplitN(resp.GetCheckpoint(), "\n", 3) // C2SP tlog-checkpoint: origin, size, root
	if len(lines) < 3 {
		t.Errorf("checkpoint %q", resp.GetCheckpoint())
		return 0
	}
	size, err := strconv.ParseInt(lines[1], 10, 64)
	if err != nil {
		t.Error(err)
	}
	return size
}

func (a *asker) state(vehicle int) {
	call := a.clock.Add(1)
	resp, err := a.at.standings.GetStanding(context.Background(), &pb.GetStandingRequest{Vehicle: vehicleNames[vehicle]})
	if a.died(err) {
		a.move()
		return
	}
	out := newest{none, resp.GetStanding().GetSequence()}
	for _, answer := range resp.GetStanding().GetAnswers() {
		if answer.GetStepId() == windscreen {
			out.n = numberOf(a.t, answer.GetNewest())
		}
	}
	a.note(a.client, call, stateOp{vehicle}, out)
}

// resultNumber is the n-th result of a history: the windscreen is sound.
func resultNumber(n byte) *pb.RecordResultRequest {
	r := stationtest.Seen(windscreen, "sound")
	r.ResultId = fmt.Sprintf("00000000-0000-4000-8000-%012d", n)
	return stationtest.Complete(roundOf(vehicleOf(n)), r, nil, stationtest.Morning)
}

func roundOf(vehicle int) string {
	return fmt.Sprintf("rounds/11111111-0000-4000-8000-%012d", vehicle)
}

func numberOf(t *testing.T, r *pb.Result) byte {
	if r == nil {
		return none
	}
	n, err := strconv.ParseUint(strings.TrimLeft(r.GetResultId()[24:], "0"), 10, 8)
	if err != nil && r.GetResultId()[24:] != strings.Repeat("0", 12) {
		t.Error(err)
	}
	return byte(n)
}

// openRounds opens a round on each vehicle; afterwards the record is size events long.
func openRounds(t *testing.T, dir string) (size int64, began [vehicles]int64) {
	t.Helper()
	l := begin(t, dir, "")
	defer l.kill()
	at := reach(t, l.address)
	defer at.close()
	for v, name := range vehicleNames {
		resp, err := at.rounds.OpenRound(context.Background(), &pb.OpenRoundRequest{
			Round: roundOf(v), Vehicle: name, Routine: "routines/shift", Driver: "people/driver",
			Device: "tablet-1", DeviceTime: timestamppb.New(stationtest.Morning),
		})
		if err != nil {
			t.Fatal(err)
		}
		began[v] = resp.GetRound().GetSequence()
	}
	head, err := at.journal.GetCheckpoint(context.Background(), &pb.GetCheckpointRequest{})
	if err != nil {
		t.Fatal(err)
	}
	return sizeOf(t, head), began
}

// plans are how the lives of a station end: it falls dead, or is refused by its
// disk, round a commit.
func plans(dice *rand.Rand) (p []string) {
	points := []faultpoint.Point{
		faultpoint.JournalBeforeCommit, faultpoint.JournalAfterCommit, faultpoint.JournalBeforeAnswer, faultpoint.JournalBeforeHeadRename,
	}
	for range 1 + dice.IntN(4) {
		p = append(p, fmt.Sprintf("%s=%s@%d", points[dice.IntN(len(points))], []string{"exit", "error"}[dice.IntN(2)], 1+dice.IntN(12)))
	}
	return p
}

// A station that is asked by several clients at once and dies now and then answers
// as if all was asked one after the other, and each result was stored once or, when
// nobody was told, at most once. BAYROUND_HISTORIES says how many stations are tried.
func TestHistories_AreAsIfOneAfterTheOther(t *testing.T) {
	histories := 15
	if text := os.Getenv("BAYROUND_HISTORIES"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 {
			t.Fatalf("BAYROUND_HISTORIES=%q, want a number from 1", text)
		}
		histories = n
	}
	for n := range histories {
		well := t.Run(fmt.Sprint(n), func(t *testing.T) {
			seed := rand.Uint64()
			dice := rand.New(rand.NewPCG(seed, 0))
			h := &history{t: t, dir: t.TempDir(), lived: make(chan struct{})}
			h.left.Store(operations)
			base, began := openRounds(t, h.dir)
			deaths := plans(dice)
			h.play(deaths, dice)
			h.check(stationModel(base, began))
			t.Logf("seed %d: %d operations, %v", seed, len(h.done), deaths)
		})
		if !well {
			break // to find that nothing explains a history may take long
		}
	}
}

// check holds what was answered against the model.
func (h *history) check(model porcupine.Model) {
	h.t.Helper()
	const patience = 2 * time.Minute // so that a failure ends
	switch result, info := porcupine.CheckOperationsVerbose(model, h.done, patience); result {
	case porcupine.Illegal:
		var text strings.Builder
		for _, op := range h.done {
			fmt.Fprintf(&text, "%d: [%d, %d] %s\n", op.ClientId, op.Call, op.Return, model.DescribeOperation(op.Input, op.Output))
		}
		h.t.Errorf("no order of these explains the answers; the longest that does has %d of them\n%s", longest(info), text.String())
	case porcupine.Unknown:
		h.t.Errorf("not decided within %v", patience)
	}
}

// longest is how many operations at most could be explained.
func longest(info porcupine.LinearizationInfo) (n int) {
	for _, partition := range info.PartialLinearizations() {
		for _, order := range partition {
			n = max(n, len(order))
		}
	}
	return n
}
