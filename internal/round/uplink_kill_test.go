package round_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/faultpoint"
	"bayround/internal/round"
	"bayround/internal/rpc"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// The test binary runs itself with these set: as a tablet that sends what it
// records to a station, and falls dead at a fault point.
const (
	childDir     = "ROUND_TEST_TABLET_DIR"
	childStation = "ROUND_TEST_STATION"
	childLife    = "ROUND_TEST_LIFE" // goes into the ids
)

// breakable is this test binary with fault points.
var breakable stationtest.Breakable

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		if err := runTablet(dir, os.Getenv(childStation), os.Getenv(childLife)); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	code := m.Run()
	breakable.Remove()
	os.Exit(code)
}

// answersOfOneLife is how many results a tablet records before it waits until
// everything was sent.
const answersOfOneLife = 6

func killedID(life string, n int) string {
	return fmt.Sprintf("%s-0000-4000-8000-%012d", (life + "00000000")[:8], n)
}

// runTablet is the child's main. It tells every answer that the twin has taken.
func runTablet(dir, address, life string) error {
	ctx := context.Background()
	twin, err := station.Open(ctx, station.Options{Dir: filepath.Join(dir, "twin"), Defaults: stationtest.Small()})
	if err != nil {
		return err
	}
	conn, err := rpc.Dial(address)
	if err != nil {
		return err
	}
	up, err := round.OpenUplink(round.Config{Twin: twin, Conn: conn, Device: "tablet-1", Dir: filepath.Join(dir, "uplink")})
	if err != nil {
		return err
	}
	ended := make(chan error, 1)
	go func() { ended <- up.Run(ctx) }()
	if err := recordLife(twin, up, life); err != nil {
		return err
	}
	for {
		changed := up.Changed()
		if up.Acknowledged() >= newestCommand(twin) {
			break
		}
		<-changed
	}
	return errors.Join(up.Close(), <-ended, twin.Close())
}

// recordLife opens a round and answers its windscreen again and again.
func recordLife(twin *station.Station, up *round.Uplink, life string) error {
	defer up.Turn()()
	name := "rounds/" + killedID(life, 0)
	_, err := twin.OpenRound(context.Background(), &pb.OpenRoundRequest{
		Round: name, Vehicle: firstPump, Routine: shiftCheck, Driver: "people/driver", Device: "tablet-1", DeviceTime: timestamppb.Now(),
	})
	if err != nil {
		return err
	}
	for n := range answersOfOneLife {
		r := stationtest.Seen(windscreen, "sound")
		r.ResultId, r.Person, r.Device, r.DeviceTime = killedID(life, n+1), "people/driver", "tablet-1", timestamppb.Now()
		if _, err := twin.RecordResult(context.Background(), &pb.RecordResultRequest{Round: name, Result: r}); err != nil {
			return err
		}
		fmt.Println(r.GetResultId())
	}
	return nil
}

// newestCommand is the newest event of the twin's that is to be sent.
func newestCommand(twin *station.Station) (newest int64) {
	_ = twin.Events(context.Background(), 1, func(ev *pb.JournalEvent) error {
		if _, request := round.CommandOf(ev); request != nil {
			newest = ev.GetSequence()
		}
		return nil
	})
	return newest
}

// live runs a tablet until it falls dead or has sent everything, and returns the
// answers that it took and whether it fell dead.
func live(t *testing.T, dir, address, life, plan string) (taken []string, fell bool) {
	t.Helper()
	child := exec.Command(breakable.Path(t))
	child.Env = append(os.Environ(), childDir+"="+dir, childStation+"="+address, childLife+"="+life, faultpoint.Variable+"="+plan)
	var log strings.Builder
	child.Stderr = &log
	out, err := child.Output()
	for scan := bufio.NewScanner(strings.NewReader(string(out))); scan.Scan(); {
		taken = append(taken, scan.Text())
	}
	if code := child.ProcessState.ExitCode(); code > 0 {
		t.Fatalf("%s: %v\n%s", plan, err, log.String())
	}
	return taken, err != nil
}

// A tablet that falls dead between the station's acknowledgement and the keeping of
// it, or round a commit of its own, sends again what it cannot know to be there;
// the station has everything once. That the place cannot be kept stops nothing.
func TestUplink_ATabletThatFallsDeadSendsEverythingOnce(t *testing.T) {
	o := openOfRecord(t)
	dir := t.TempDir()
	var taken []string
	deaths := 0
	for life, plan := range []string{
		"uplink.before-receipt=exit@1",
		"uplink.before-receipt=exit@2",
		"journal.after-commit=exit@4",
		"uplink.before-receipt=error@1,uplink.before-receipt=exit@3",
		"journal.before-answer=exit@5",
		"uplink.before-receipt=exit@3",
		"journal.before-commit=exit@3",
		"uplink.before-receipt=error@1,uplink.before-receipt=error@2",
		"",
	} {
		more, fell := live(t, dir, o.served.Address, fmt.Sprint(life+1), plan)
		taken = append(taken, more...)
		if fell {
			deaths++
		}
	}
	t.Logf("%d answers, %d deaths", len(taken), deaths)
	if deaths < 5 {
		t.Errorf("the tablet fell dead %d times, want 5 at least; the points are not reached", deaths)
	}
	twin := openSmallAt(t, filepath.Join(dir, "twin"))
	sameRecord(t, twin.Station, o.Station)
	stored := map[string]bool{}
	for _, command := range driven(t, o.Station) {
		if r, ok := command.(*pb.RecordResultRequest); ok {
			stored[r.GetResult().GetResultId()] = true
		}
	}
	for _, id := range taken {
		if !stored[id] {
			t.Errorf("the tablet took answer %s, the station does not have it", id)
		}
	}
}

func openSmallAt(t *testing.T, dir string) *stationtest.Kit {
	t.Helper()
	return stationtest.OpenWith(t, nil, station.Options{Dir: dir, Defaults: stationtest.Small()})
}
