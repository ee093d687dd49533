package station_test

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"unsafe"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// The test binary runs itself with these set: as a station in a directory whose
// disk fails under it at one kind of system call.
const (
	deafDir  = "STATION_TEST_DEAF_DIR"
	deafCall = "STATION_TEST_DEAF_CALL"
)

// deafCalls are the system calls that fail: the sync of what was written, so that
// nobody knows what reached the disk, and the making of a new file of a given
// length, which Badger needs for a new write-ahead log when one is full.
var deafCalls = map[string]uint32{"msync": syscall.SYS_MSYNC, "ftruncate": syscall.SYS_FTRUNCATE}

// checks is how often a property is tried where nobody says otherwise: here each
// try opens stations with disks of their own, most of them several.
const checks = "30"

// TestMain lets the test binary be its own victim.
func TestMain(m *testing.M) {
	flag.Parse()
	said := false
	flag.Visit(func(f *flag.Flag) { said = said || f.Name == "rapid.checks" })
	if !said {
		if err := flag.Set("rapid.checks", checks); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	if dir := os.Getenv(deafDir); dir != "" {
		if err := runDeaf(dir, deafCalls[os.Getenv(deafCall)]); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// deafRound is the round of the child; deafResult is its n-th result. Both are
// the same in whatever process makes them.
const deafRound = "rounds/44444444-0000-4000-8000-000000000000"

func deafResult(n int) *pb.RecordResultRequest {
	r := stationtest.Seen(screen, "01")
	r.DeviceTime, r.Note = timestamppb.New(stationtest.Morning), strings.Repeat("much to say ", 80)
	return stationtest.Complete(deafRound, r, func() string { return fmt.Sprintf("44444444-0000-4000-8000-%012d", n+1) }, stationtest.Morning)
}

const (
	deafAfter   = 5      // results that the child records before its disk fails
	deafAtMost  = 20_000 // and how many after that, at the very most: some 20 MB
	deafAtATime = 64
)

// runDeaf is the child's main. It tells what happens line by line on standard
// output, and on standard error what the station's log says.
func runDeaf(dir string, call uint32) error {
	ctx := context.Background()
	st, err := station.Open(ctx, station.Options{Dir: dir, Defaults: stationtest.Small(), Logger: slog.New(slog.NewTextHandler(os.Stderr, nil))})
	if err != nil {
		return err
	}
	_, err = st.OpenRound(ctx, &pb.OpenRoundRequest{Round: deafRound, Vehicle: p1, Routine: shift, Driver: "people/driver", Device: "tablet-1"})
	if err != nil {
		return err
	}
	record := func(n int) {
		resp, err := st.RecordResult(ctx, deafResult(n))
		if err != nil {
			fmt.Println("refused", n, reasonOf(err))
			return
		}
		fmt.Println("recorded", n, resp.GetSequence())
	}
	for n := range deafAfter {
		record(n)
	}
	if err := noMore(call); err != nil {
		return fmt.Errorf("taking away the disk: %w", err)
	}
	for n := deafAfter; n < deafAtMost && !failed(st); n += deafAtATime {
		var writers sync.WaitGroup
		for i := range deafAtATime {
			writers.Go(func() { record(n + i) })
		}
		writers.Wait()
	}
	record(0) // long durable; but nobody can say so now
	fmt.Println("failed", failed(st))
	return look(ctx, st) // without Close, which would sync as well
}

func failed(st *station.Station) bool {
	select {
	case <-st.Failed():
		return true
	default:
		return false
	}
}

// look tells what readers are shown.
func look(ctx context.Context, st *station.Station) error {
	resp, err := st.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: p1})
	if err != nil {
		return err
	}
	fmt.Println("read", resp.GetReadiness().GetSequence())
	err = st.Watch(ctx, nil, func(m *pb.WatchReadinessResponse) error {
		if m.GetHeartbeat() != nil {
			return errEnough // it goes on as if nothing were
		}
		return nil
	})
	fmt.Println("watch", reasonOf(err))
	followed := int64(0)
	err = st.Follow(ctx, &pb.FollowRequest{StopAtEnd: true}, func(m *pb.FollowResponse) error {
		for _, ev := range m.GetEvents().GetEvents() {
			followed = ev.GetSequence()
		}
		return nil
	})
	fmt.Println("followed", followed, reasonOf(err))
	return nil
}

func reasonOf(err error) string {
	var f *fault.Fault
	if !errors.As(err, &f) {
		return fmt.Sprint(err)
	}
	return f.Reason
}

// noMore makes every such system call of this process, on all its threads, fail
// with an input/output error from now on, as the kernel answers when a disk does
// not take what was written: a seccomp filter, for which nobody needs to be root.
func noMore(call uint32) error {
	seccomp, known := map[string]uintptr{"amd64": 317, "arm64": 277}[runtime.GOARCH]
	if !known {
		return errors.ErrUnsupported
	}
	const (
		setNoNewPrivs = 38      // PR_SET_NO_NEW_PRIVS
		modeFilter    = 1       // SECCOMP_SET_MODE_FILTER
		allThreads    = 1       // SECCOMP_FILTER_FLAG_TSYNC
		answerError   = 0x50000 // SECCOMP_RET_ERRNO
		allow         = 0x7fff0000
	)
	filter := []syscall.SockFilter{
		{Code: syscall.BPF_LD | syscall.BPF_W | syscall.BPF_ABS}, // the number of the call
		{Code: syscall.BPF_JMP | syscall.BPF_JEQ | syscall.BPF_K, K: call, Jf: 1},
		{Code: syscall.BPF_RET | syscall.BPF_K, K: answerError | uint32(syscall.EIO)},
		{Code: syscall.BPF_RET | syscall.BPF_K, K: allow},
	}
	program := syscall.SockFprog{Len: uint16(len(filter)), Filter: &filter[0]}
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	if _, _, errno := syscall.RawSyscall(syscall.SYS_PRCTL, setNoNewPrivs, 1, 0); errno != 0 {
		return errno
	}
	if _, _, errno := syscall.RawSyscall(seccomp, modeFilter, allThreads, uintptr(unsafe.Pointer(&program))); errno != 0 {
		return errno
	}
	return nil
}

// deafStory is what a child told.
type deafStory struct {
	recorded map[int]int64  // sequences by result
	refused  map[int]string // reasons by result; of one that was tried twice the last
	rest     []string
	log      string
}

func hearDeaf(t *testing.T, dir, call string) deafStory {
	t.Helper()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), deafDir+"="+dir, deafCall+"="+call)
	var said, log bytes.Buffer
	child.Stdout, child.Stderr = &said, &log
	if err := child.Run(); err != nil {
		if strings.Contains(log.String(), "taking away the disk") {
			t.Skipf("skipped: needs seccomp: %s", log.String())
		}
		t.Fatalf("%v: %s", err, log.String())
	}
	story := deafStory{recorded: map[int]int64{}, refused: map[int]string{}, log: log.String()}
	for scan := bufio.NewScanner(&said); scan.Scan(); {
		var n int
		var sequence int64
		var reason string
		if _, err := fmt.Sscanf(scan.Text(), "recorded %d %d", &n, &sequence); err == nil {
			story.recorded[n] = sequence
		} else if _, err := fmt.Sscanf(scan.Text(), "refused %d %s", &n, &reason); err == nil {
			story.refused[n] = reason
		} else {
			story.rest = append(story.rest, scan.Text())
		}
	}
	return story
}

// When the disk fails under a station it acknowledges nothing more, says so and
// why, shows nothing that it does not vouch for, and a new start finds the truth:
// everything that was acknowledged, and of what was not, all or nothing.
func TestFailure_OfTheDisk(t *testing.T) {
	for call := range deafCalls {
		t.Run(call, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			story := hearDeaf(t, dir, call)
			newest := int64(0) // acknowledged
			for _, sequence := range story.recorded {
				newest = max(newest, sequence)
			}
			want := []string{"failed true", fmt.Sprint("read ", newest), "watch STATION_FAILED", fmt.Sprint("followed ", newest, " <nil>")}
			if call == "ftruncate" { // Badger can read nothing any more
				want[3] = "followed 0 JOURNAL_STOPPED"
			}
			if !slices.Equal(story.rest, want) {
				t.Errorf("the station whose disk failed shows %q, want %q", story.rest, want)
			}
			if story.refused[0] == "" || len(story.refused) < 2 {
				t.Errorf("refused: %v, want what failed, and then all", story.refused)
			}
			for n, reason := range story.refused {
				if reason != "JOURNAL_STOPPED" && reason != "STATION_FAILED" {
					t.Errorf("result %d is refused with %s", n, reason)
				}
			}
			if !strings.Contains(story.log, "station stopped") || !strings.Contains(story.log, syscall.EIO.Error()) {
				t.Errorf("the log does not say why:\n%s", story.log)
			}
			story.holds(t, dir)
		})
	}
}

// holds opens the station anew and sends everything again.
func (s deafStory) holds(t *testing.T, dir string) {
	t.Helper()
	if report, err := station.Verify(ctx, dir, nil); err != nil || report.Problem != "" {
		t.Errorf("verifying: %v, %v", report, err)
	}
	k := stationtest.OpenWith(t, nil, station.Options{Dir: dir, Defaults: stationtest.Small()})
	all := maps.Clone(s.refused)
	for n := range s.recorded {
		all[n] = ""
	}
	for n := range all {
		resp, err := k.RecordResult(ctx, deafResult(n))
		sequence, acknowledged := s.recorded[n]
		switch {
		case err != nil:
			t.Errorf("result %d after a new start: %v", n, err)
		case acknowledged && (!resp.GetRepeatedBefore() || resp.GetSequence() != sequence):
			t.Errorf("result %d was acknowledged as event %d, now it is %v", n, sequence, resp)
		}
	}
	// 14 things are in force (small.yaml), then the round, then each result once.
	if got := events(t, k); got != 14+1+len(all) {
		t.Errorf("%d events, want %d", got, 14+1+len(all))
	}
}
