package main

import (
	"archive/tar"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"

	"bayround/internal/round"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// makeFixture writes a new fixture, where BAYROUND_FIXTURE says how it is called: the
// folders of a station and of a tablet, as this program leaves them, with a backup and an
// export of the record. A fixture that is there is never written over.
func makeFixture(t *testing.T) {
	t.Helper()
	name := os.Getenv("BAYROUND_FIXTURE")
	if name == "" {
		return
	}
	folder := filepath.Join(fixtures, name)
	if _, err := os.Stat(folder); err == nil {
		t.Fatalf("there is a fixture %s already; fixtures are never replaced, give the new one a name of its own", folder)
	}
	m := &maker{T: t, folder: folder, device: "tablet-1"}
	m.live()
	m.note()
}

// maker makes a fixture.
type maker struct {
	*testing.T
	folder, device          string
	station, tablet, copies string // folders that are packed
	at                      time.Time
	pending                 int
	said                    strings.Builder
	ids                     int
}

func (m *maker) id() string {
	m.ids++
	return fmt.Sprintf("%08d-0000-4000-8000-000000000000", m.ids)
}

// live lets a station and a tablet live through a morning.
func (m *maker) live() {
	s := startStation(m.T)
	s.play("01-wn11-shift.yaml", "04-wn13-shift.yaml", "05-wn21-shift.yaml", "09-t1-before-tow.yaml")
	m.station, m.tablet, m.copies = s.data, m.TempDir(), m.TempDir()
	m.server("erase", "marrable", "--by", "venholt", "--reason", "asked for it", "--server", s.address)

	enrolTablet(m.T, s.address, m.tablet, m.device)
	r, err := start(m.Context(), tabletFlags(s.address, m.tablet, m.device), slog.New(slog.DiscardHandler), clocks{device: time.Now})
	if err != nil {
		m.Fatal(err)
	}
	m.until(r.desk.Changed, func() bool { return len(r.desk.View().Vehicles) == 10 })
	m.act(r.desk, "choose", map[string]string{"vehicle": "vehicles/t1", "routine": "routines/before-tow"})
	if err := r.desk.Do(m.Context(), round.Act{Name: "sign-in", Values: map[string]string{"person": "people/arkwith", "pin": "8642"}}); err == nil {
		m.Error("a wrong PIN was taken")
	}
	m.act(r.desk, "sign-in", map[string]string{"person": "people/arkwith", "pin": demoPIN})
	m.driven(r.twin, "vehicles/t1", 3)
	m.until(r.uplink.Changed, func() bool { return r.uplink.Link().Pending == 0 && r.uplink.Link().Live })
	m.server("backup", "--to", filepath.Join(m.copies, "backup"), "--data", s.data, "--server", s.address)
	if code := s.end(); code != 0 {
		m.Fatalf("the station ended with %d", code)
	}
	m.until(r.uplink.Changed, func() bool { return !r.uplink.Link().Live })
	m.driven(r.twin, "vehicles/t2", 2)
	m.until(r.uplink.Changed, func() bool { return r.uplink.Link().Pending == 3 })
	m.at, m.pending = time.Now().UTC(), r.uplink.Link().Pending
	m.verdicts("tablet", r.twin)
	if err := r.stop(); err != nil {
		m.Fatal(err)
	}
	st, err := station.Open(m.Context(), station.Options{Dir: m.station, Now: func() time.Time { return m.at }})
	if err != nil {
		m.Fatal(err)
	}
	m.verdicts("station", st)
	stop(m.T, st)
}

// driven opens a round at the tablet and answers some steps, one with a fault.
func (m *maker) driven(twin *station.Station, vehicle string, answers int) {
	m.Helper()
	name := "rounds/" + m.id()
	if _, err := twin.OpenRound(m.Context(), &pb.OpenRoundRequest{
		Round: name, Vehicle: vehicle, Routine: "routines/before-tow", Driver: "people/arkwith", Device: m.device, Conditions: &pb.RoundConditions{},
	}); err != nil {
		m.Fatal(err)
	}
	plan, err := twin.GetPlan(m.Context(), &pb.GetPlanRequest{Vehicle: vehicle, Routine: "routines/before-tow"})
	if err != nil {
		m.Fatal(err)
	}
	for _, step := range plan.GetPlan().GetSteps() {
		if answers == 0 {
			return
		}
		fault := faultOf(step)
		if step.GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_CONDITION || fault == "" {
			continue
		}
		result := stationtest.Sound(step)
		if answers == 1 {
			result = stationtest.Seen(step.GetStepId(), fault)
		}
		result.Person = "people/arkwith"
		if _, err := twin.RecordResult(m.Context(), stationtest.Complete(name, result, m.id, time.Now())); err == nil {
			answers--
		}
	}
	m.Fatalf("%d answers are left for %s", answers, vehicle)
}

func (m *maker) act(d *round.Desk, name string, values map[string]string) {
	m.Helper()
	if err := d.Do(m.Context(), round.Act{Name: name, Values: values}); err != nil {
		m.Fatalf("%s: %v", name, err)
	}
}

func (m *maker) server(args ...string) {
	m.Helper()
	if said, err := serverProgram(m.T, args...).CombinedOutput(); err != nil {
		m.Fatalf("server %s: %v\n%s", strings.Join(args, " "), err, said)
	}
}

// until waits, from one change to the next.
func (m *maker) until(changed func() <-chan struct{}, is func() bool) {
	m.Helper()
	for {
		next := changed()
		if is() {
			return
		}
		select {
		case <-next:
		case <-m.Context().Done():
			m.Fatal(m.Context().Err())
		}
	}
}

func (m *maker) verdicts(which string, st *station.Station) {
	all := verdictsOf(m.T, st)
	for _, vehicle := range slices.Sorted(maps.Keys(all)) {
		fmt.Fprintf(&m.said, "readiness %s %s %s\n", which, vehicle, all[vehicle])
	}
}

// note packs the folders, and writes what is in them beside.
func (m *maker) note() {
	if err := os.MkdirAll(m.folder, 0o755); err != nil {
		m.Fatal(err)
	}
	var b strings.Builder
	b.WriteString("# What these folders held when the program of that day wrote them.\n# record: events, root; readiness: verdict, open defects; pending: commands not sent yet.\n")
	fmt.Fprintf(&b, "at %s\ndevice %s\npending %d\n", m.at.Format(time.RFC3339Nano), m.device, m.pending)
	for which, dir := range map[string]string{"station": m.station, "tablet": filepath.Join(m.tablet, "record")} {
		report, err := station.Verify(m.Context(), dir, nil)
		if err != nil {
			m.Fatal(err)
		}
		fmt.Fprintf(&b, "record %s %d %s\n", which, report.Events, report.Root)
	}
	b.WriteString(m.said.String())
	if err := os.WriteFile(filepath.Join(m.folder, "noted.txt"), []byte(b.String()), 0o644); err != nil { //nolint:gosec // everybody may read it
		m.Fatal(err)
	}
	if err := m.pack(); err != nil {
		m.Fatal(err)
	}
}

// pack puts the folders into the archive.
func (m *maker) pack() error {
	f, err := os.Create(filepath.Join(m.folder, archive))
	if err != nil {
		return err
	}
	packer, err := zstd.NewWriter(f, zstd.WithEncoderLevel(zstd.SpeedBestCompression), zstd.WithWindowSize(8<<20))
	if err != nil {
		return err
	}
	to := tar.NewWriter(packer)
	for _, from := range []struct{ name, dir string }{{"station", m.station}, {"tablet", m.tablet}, {"copies", m.copies}} {
		if err := packFolder(to, from.name, from.dir); err != nil {
			return err
		}
	}
	return errors.Join(to.Close(), packer.Close(), f.Close())
}

// packFolder packs all but what only takes up room.
func packFolder(to *tar.Writer, name, dir string) error {
	return filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || entry.Name() == "ballast" {
			return err
		}
		content, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		inside, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		head := &tar.Header{Typeflag: tar.TypeReg, Name: name + "/" + filepath.ToSlash(inside), Mode: 0o600, Size: int64(len(content))}
		if err := to.WriteHeader(head); err != nil {
			return err
		}
		_, err = to.Write(content)
		return err
	})
}
