package main

import (
	"archive/tar"
	"bufio"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// fixtures are data folders that released programs wrote: one folder for each change of a
// format, never replaced. noted.txt says what is in them; make fixture writes a new one.
const fixtures = "../testdata/fixtures"

// noted is what was true of a fixture when it was written.
type noted struct {
	folder    string
	at        time.Time // verdicts are as of then
	events    map[string]uint64
	root      map[string]string
	readiness map[string]map[string]string // by record, by vehicle: its verdict and open defects
	device    string
	pending   int // commands that the tablet had not sent
}

// readNoted reads what was noted, a line "of what value" for each.
func readNoted(t *testing.T, folder string) *noted {
	t.Helper()
	f, err := os.Open(filepath.Join(folder, "noted.txt"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	n := &noted{folder: folder, events: map[string]uint64{}, root: map[string]string{}, readiness: map[string]map[string]string{"station": {}, "tablet": {}}}
	for lines := bufio.NewScanner(f); lines.Scan(); {
		words := strings.Fields(lines.Text())
		if len(words) == 0 || words[0] == "#" {
			continue
		}
		if err := n.take(words); err != nil {
			t.Fatalf("%s: %q: %v", f.Name(), lines.Text(), err)
		}
	}
	return n
}

func (n *noted) take(words []string) (err error) {
	what, rest := words[0], words[1:]
	switch {
	case what == "at" && len(rest) == 1:
		n.at, err = time.Parse(time.RFC3339Nano, rest[0])
	case what == "device" && len(rest) == 1:
		n.device = rest[0]
	case what == "pending" && len(rest) == 1:
		_, err = fmt.Sscan(rest[0], &n.pending)
	case what == "record" && len(rest) == 3:
		var events uint64
		_, err = fmt.Sscan(rest[1], &events)
		n.events[rest[0]], n.root[rest[0]] = events, rest[2]
	case what == "readiness" && len(rest) == 4:
		n.readiness[rest[0]][rest[1]] = rest[2] + " " + rest[3]
	default:
		err = fmt.Errorf("%d words", len(words))
	}
	return err
}

// archive is the name of a fixture's archive: a tar with a folder for the station, the
// tablet and the copies, compressed as one, for most of it stands in each of them.
const archive = "folders.tar.zst"

// unpack puts one of a fixture's folders into a folder of the test's own.
func (n *noted) unpack(t testing.TB, which string) (folder string) {
	t.Helper()
	f, err := os.Open(filepath.Join(n.folder, archive))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	unpacker, err := zstd.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	defer unpacker.Close()
	folder = t.TempDir()
	for from := tar.NewReader(unpacker); ; {
		entry, err := from.Next()
		if errors.Is(err, io.EOF) {
			return folder
		}
		if err == nil && entry.Typeflag == tar.TypeReg {
			err = unpackFile(from, entry, which, folder)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

func unpackFile(from io.Reader, entry *tar.Header, which, folder string) error {
	name, of := strings.CutPrefix(entry.Name, which+"/")
	if !of {
		return nil
	}
	content, err := io.ReadAll(from)
	if err != nil {
		return err
	}
	to := filepath.Join(folder, filepath.FromSlash(name))
	return errors.Join(os.MkdirAll(filepath.Dir(to), 0o700), os.WriteFile(to, content, 0o600))
}

func allFixtures(t *testing.T) (all []*noted) {
	t.Helper()
	folders, err := filepath.Glob(filepath.Join(fixtures, "*", "noted.txt"))
	if err != nil || len(folders) == 0 {
		t.Fatalf("no fixtures in %s: %v", fixtures, err)
	}
	for _, name := range folders {
		all = append(all, readNoted(t, filepath.Dir(name)))
	}
	return all
}

// recordIs makes sure that a folder's whole record is what was noted.
func (n *noted) recordIs(t *testing.T, which, dir string, more uint64) {
	t.Helper()
	report, err := station.Verify(t.Context(), dir, nil)
	if err != nil || report.Events != n.events[which]+more || more == 0 && report.Root != n.root[which] {
		t.Errorf("%s: the record is %s, %v; noted are %d events and root %s", which, report, err, n.events[which], n.root[which])
	}
}

// verdictsAre makes sure that a station says of every vehicle what was noted.
func (n *noted) verdictsAre(t *testing.T, which string, st *station.Station) {
	t.Helper()
	if got := verdictsOf(t, st); len(n.readiness[which]) == 0 || fmt.Sprint(got) != fmt.Sprint(n.readiness[which]) {
		t.Errorf("%s: the verdicts are\n%v, noted are\n%v", which, got, n.readiness[which])
	}
}

// verdictsOf gives the verdict and the number of open defects of each vehicle.
func verdictsOf(t *testing.T, st *station.Station) map[string]string {
	t.Helper()
	list, err := st.ListReadiness(t.Context(), &pb.ListReadinessRequest{PageSize: 100})
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for _, r := range list.GetReadiness() {
		then, err := st.GetReadiness(t.Context(), &pb.GetReadinessRequest{Vehicle: r.GetVehicle()})
		if err != nil {
			t.Fatal(err)
		}
		got[r.GetVehicle()] = fmt.Sprintf("%s %d", then.GetReadiness().GetVerdict(), len(then.GetReadiness().GetOpenDefects()))
	}
	return got
}

// appendTo records one event at a station.
func (n *noted) appendTo(t *testing.T, which string, st *station.Station) {
	t.Helper()
	const round = "rounds/7a1c2a52-3a37-4d0e-9c7e-3b1f0a9d2c11"
	if _, err := st.OpenRound(t.Context(), &pb.OpenRoundRequest{
		Round: round, Vehicle: "vehicles/t1", Routine: "routines/before-tow", Driver: "people/venholt", Device: "tablet-7", Conditions: &pb.RoundConditions{},
	}); err != nil {
		t.Errorf("%s: %v", which, err)
	}
}

func TestFixture_AStationsFolderOfEveryReleaseIsOpenedAndGoneOnWith(t *testing.T) {
	makeFixture(t)
	for _, n := range allFixtures(t) {
		t.Run(filepath.Base(n.folder), func(t *testing.T) {
			dir := n.unpack(t, "station")
			n.recordIs(t, "station", dir, 0)
			open := func() *station.Station {
				st, err := station.Open(t.Context(), station.Options{Dir: dir, Now: func() time.Time { return n.at }})
				if err != nil {
					t.Fatal(err)
				}
				return st
			}
			st := open()
			n.verdictsAre(t, "station", st)
			n.appendTo(t, "station", st)
			stop(t, st)
			n.recordIs(t, "station", dir, 1)
			stop(t, open())

			copies := n.unpack(t, "copies")
			for _, line := range [][]string{
				{"verify-export", filepath.Join(copies, "backup", "record")},
				{"backup", "verify", filepath.Join(copies, "backup")},
				{"restore", "--from", filepath.Join(copies, "backup"), "--data", filepath.Join(copies, "restored")},
			} {
				if said, err := serverProgram(t, line...).CombinedOutput(); err != nil {
					t.Errorf("server %s: %v\n%s", strings.Join(line, " "), err, said)
				}
			}
			n.recordIs(t, "station", filepath.Join(copies, "restored"), 0)
		})
	}
}

func stop(t *testing.T, st *station.Station) {
	t.Helper()
	if err := st.Close(); err != nil {
		t.Error(err)
	}
}

func TestFixture_ATabletsFolderOfEveryReleaseIsOpenedAndGoneOnWith(t *testing.T) {
	for _, n := range allFixtures(t) {
		t.Run(filepath.Base(n.folder), func(t *testing.T) {
			dir := n.unpack(t, "tablet")
			record := filepath.Join(dir, "record")
			n.recordIs(t, "tablet", record, 0)
			f := tabletFlags("127.0.0.1:1", dir, n.device) // nobody is there
			clock := func() time.Time { return n.at }
			for again := range 2 {
				r, err := start(t.Context(), f, slog.New(slog.DiscardHandler), clocks{device: clock})
				if err != nil {
					t.Fatal(err)
				}
				if link := r.uplink.Link(); link.Pending != n.pending+again || link.Alarm != "" {
					t.Errorf("%d commands are to be sent, %d were noted; alarm %q", link.Pending, n.pending, link.Alarm)
				}
				n.verdictsAre(t, "tablet", r.twin)
				if again == 0 {
					n.appendTo(t, "tablet", r.twin)
				}
				if err := r.stop(); err != nil {
					t.Error(err)
				}
			}
			n.recordIs(t, "tablet", record, 1)
			files, err := filepath.Glob(filepath.Join(dir, "copy", "*.record"))
			if err != nil || len(files) == 0 {
				t.Errorf("the copy of the station's record: %v, %v", files, err)
			}
		})
	}
}

// tabletFlags are those of a kiosk within this process.
func tabletFlags(station, data, device string) *serveFlags {
	var display displayFlags
	display.tabletInches, display.tabletPX = 10.1, 1509
	display.bayInches, display.bayWidthPX, display.bayHeightPX, display.bayFarM = 55, 1920, 1080, 15
	return &serveFlags{station: station, data: data, device: device, listen: "127.0.0.1:0", bay: "127.0.0.1:0", display: display}
}
