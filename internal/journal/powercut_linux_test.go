package journal

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"sync/atomic"
	"syscall"
	"testing"
	"time"
	"unsafe"

	"bayround/internal/fault"
)

// disk is a small ext4 of its own, whose power can be cut: everything that
// nobody has flushed is gone then, as in a machine whose plug is pulled.
type disk struct {
	t     *testing.T
	image string
	mount string
	on    bool
}

const diskBytes = 128 << 20 // sparse

// newDisk makes an empty disk and mounts it until the test ends.
func newDisk(t *testing.T) *disk {
	t.Helper()
	return newDiskOf(t, diskBytes)
}

func newDiskOf(t *testing.T, bytes int64) *disk {
	t.Helper()
	for _, tool := range []string{"mkfs.ext4", "losetup", "mount", "umount"} {
		if _, err := exec.LookPath(tool); err != nil || os.Geteuid() != 0 {
			t.Skip("skipped: needs root and loop devices")
		}
	}
	if err := exec.Command("losetup", "--find").Run(); err != nil {
		t.Skip("skipped: needs root and loop devices")
	}
	top := t.TempDir()
	d := &disk{t: t, image: filepath.Join(top, "image"), mount: filepath.Join(top, "mount")}
	if err := os.Mkdir(d.mount, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(d.image, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(d.image, bytes); err != nil {
		t.Fatal(err)
	}
	d.run("mkfs.ext4", "-q", "-F", d.image)
	t.Cleanup(func() {
		if d.on {
			d.unmount()
		}
	})
	d.power()
	return d
}

func (d *disk) dir() string { return filepath.Join(d.mount, "journal") }

func (d *disk) run(name string, args ...string) {
	d.t.Helper()
	if out, err := exec.Command(name, args...).CombinedOutput(); err != nil {
		d.t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
}

// power mounts the disk; the kernel replays the file system's own log.
func (d *disk) power() {
	d.t.Helper()
	d.run("mount", "-o", "loop", d.image, d.mount)
	d.on = true
}

func (d *disk) unmount() {
	d.t.Helper()
	d.run("umount", d.mount)
	d.on = false
}

// cut takes the power away: from this instant on no write reaches the disk, and
// what was written but not flushed never will.
func (d *disk) cut() {
	d.t.Helper()
	const (
		shutdown   = 0x8004587d // EXT4_IOC_SHUTDOWN, _IOR('X', 125, __u32)
		noLogFlush = 2          // EXT4_GOING_FLAGS_NOLOGFLUSH
	)
	f, err := os.Open(d.mount)
	if err != nil {
		d.t.Fatal(err)
	}
	defer f.Close()
	flags := uint32(noLogFlush)
	if _, _, errno := syscall.Syscall(syscall.SYS_IOCTL, f.Fd(), shutdown, uintptr(unsafe.Pointer(&flags))); errno != 0 {
		d.t.Fatalf("cutting the power: %v", errno)
	}
}

// appendAndCut lets a victim append, cuts the power at the instant for which due
// waits, and adds everything that was acknowledged by then.
//
// A machine without power answers nobody, so what the victim says once the cut has
// begun does not count. It matters: in one of some two hundred cuts the kernel tells
// an msync that meets the shutdown that all is well, though nothing of it is kept.
func (d *disk) appendAndCut(v victim, due cutter, acked acknowledgements) {
	d.t.Helper()
	v.dir = d.dir()
	child := v.start(d.t)
	var cutting atomic.Bool
	said := make(chan string, 1<<16)
	go func() {
		defer close(said)
		for child.lines.Scan() {
			if !cutting.Load() {
				said <- child.lines.Text()
			}
		}
	}()
	due(said, acked)
	cutting.Store(true)
	d.cut()
	_ = child.Process.Kill() // with such a disk it may have ended by itself
	for line := range said {
		acked.hear(d.t, line)
	}
	_ = child.Wait()
	d.unmount()
	d.power()
}

// cutter returns at the instant at which the power is to be cut; it may hear what
// the victim says until then.
type cutter func(said <-chan string, acked acknowledgements)

// afterAnswers waits for so many answers.
func afterAnswers(t *testing.T, answers int) cutter {
	return func(said <-chan string, acked acknowledgements) {
		for n := 0; n < answers; {
			line, more := <-said
			if !more {
				t.Fatal("the victim ended before its power was cut")
			}
			if acked.hear(t, line) {
				n++
			}
		}
	}
}

// onceThere waits until a file is there: an instant while a journal is made, or
// the one at which a victim stands at a fault point.
func onceThere(t *testing.T, path string) cutter {
	return func(<-chan string, acknowledgements) {
		for began := time.Now(); time.Since(began) < time.Minute; runtime.Gosched() { // only so that a failure says what it waited for
			if _, err := os.Stat(path); err == nil {
				return
			}
		}
		t.Fatalf("%s never appeared", path)
	}
}

// madeFiles are files of a new journal, in the order in which they appear.
var madeFiles = []string{
	"badger", "badger/LOCK", "badger/MANIFEST", "badger/000001.vlog", "badger/00001.mem", "badger/DISCARD", "signer.key", "JOURNAL",
}

// cutsOfOneDisk is how often one disk is cut before a fresh one takes its place.
const cutsOfOneDisk = 9

// A power cut at any instant loses nothing that was acknowledged, doubles and
// halves nothing, and leaves a journal that opens. BAYROUND_POWER_CUTS says how
// many: the first of each disk while the journal is made, the others in turn after
// some answers and at some hit of a fault point.
func TestPowerCut_LosesNothingAcknowledged(t *testing.T) {
	cuts, r := count(t, "BAYROUND_POWER_CUTS", 25), dice(t)
	var d *disk
	var acked acknowledgements
	total, slowest := 0, time.Duration(0)
	for n := range cuts {
		if n%cutsOfOneDisk == 0 {
			if d != nil {
				d.unmount()
			}
			d, acked = newDisk(t), acknowledgements{}
		}
		before := len(acked)
		d.cutSomehow(r, n, acked)
		total += len(acked) - before
		began := time.Now()
		j := open(t, d.dir())
		slowest = max(slowest, time.Since(began))
		acked.hold(t, j)
		mustClose(t, j)
	}
	d.unmount()
	t.Logf("%d cuts, %d commands acknowledged, none lost; the slowest start took %v", cuts, total, slowest)
	if total == 0 {
		t.Error("nothing was acknowledged before any cut; they came too early to test anything")
	}
}

// cutSomehow makes the n-th cut of a test.
func (d *disk) cutSomehow(r *rand.Rand, n int, acked acknowledgements) {
	d.t.Helper()
	v := victim{task: "hammer" + []string{"", smallTask}[r.IntN(2)], run: fmt.Sprint("round", n)}
	switch {
	case n%cutsOfOneDisk == 0:
		d.appendAndCut(v, onceThere(d.t, filepath.Join(d.dir(), madeFiles[r.IntN(len(madeFiles))])), acked)
	case n%2 == 0:
		d.appendAndCut(v, afterAnswers(d.t, r.IntN(150)), acked)
	default:
		never := filepath.Join(d.t.TempDir(), "never")
		v.plan = fmt.Sprintf("%s=pause:%s@%d", deaths()[r.IntN(len(deaths()))], never, 1+r.IntN(20))
		d.appendAndCut(v, onceThere(d.t, never+".reached"), acked)
	}
}

// The test above must be able to fail: a journal that does not sync loses what
// it acknowledged, and these cuts show it.
func TestPowerCut_WithoutSyncWritesLosesWhatWasAcknowledged(t *testing.T) {
	const cuts = 5
	for n := range cuts {
		d, acked := newDisk(t), acknowledgements{}
		d.appendAndCut(victim{task: "hammer" + unsyncedTask, run: fmt.Sprint("round", n)}, afterAnswers(t, 200), acked)
		lost := d.losses(acked)
		d.unmount()
		if lost > 0 {
			t.Logf("cut %d: %d of %d acknowledged commands lost", n, lost, len(acked))
			return
		}
	}
	t.Errorf("%d cuts lost nothing although nothing was synced; the cuts do not bite", cuts)
}

// losses counts what is missing; all, when the journal does not open any more.
func (d *disk) losses(acked acknowledgements) int {
	d.t.Helper()
	j, err := tryOpen(d.dir())
	if fault.Is(err, fault.Lost) {
		return len(acked)
	}
	if err != nil {
		d.t.Fatal(err)
	}
	defer mustClose(d.t, j)
	return acked.missing(d.t, j)
}
