package main

import (
	"bufio"
	"fmt"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"
)

// BenchmarkColdStart starts the program on the record of a tablet that knows the
// county, until its first page has come. Goals: 500 ms, and 48 MiB resident when idle; 64 MiB
// for its station, which is started anew too and knows the demo's vehicles and people.
func BenchmarkColdStart(b *testing.B) {
	s := startStation(b)
	k := startTablet(b, s.address, "tablet-1")
	for !pageHas(b, k.pages, "WN11") { // until it has taken over what is in force
		time.Sleep(50 * time.Millisecond)
	}
	s.kill()
	s.restart()
	var took time.Duration
	var resident float64
	for range b.N {
		k.kill()
		began := time.Now()
		k.restart()
		if !pageHas(b, k.pages, "WN11") {
			b.Fatal("the first page knows no vehicle")
		}
		took += time.Since(began)
		time.Sleep(3 * time.Second) // until it idles
		resident = max(resident, residentMiB(b, k.command.Process.Pid))
	}
	size, err := os.Stat(program(b, "kiosk"))
	if err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(took.Milliseconds())/float64(b.N), "ms-to-first-page")
	b.ReportMetric(resident, "MiB-resident")
	b.ReportMetric(residentMiB(b, s.command.Process.Pid), "MiB-resident-station")
	b.ReportMetric(float64(size.Size())/(1<<20), "MiB-binary")
}

func pageHas(b *testing.B, url, words string) bool {
	b.Helper()
	got, err := http.Get(url) //nolint:gosec,noctx // our own page, in a benchmark
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = got.Body.Close() }()
	for lines := bufio.NewScanner(got.Body); lines.Scan(); {
		if strings.Contains(lines.Text(), words) {
			return true
		}
	}
	return false
}

func residentMiB(b *testing.B, pid int) float64 {
	b.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		b.Skipf("no /proc: %v", err)
	}
	var kib float64
	for line := range strings.Lines(string(status)) {
		if _, err := fmt.Sscanf(line, "VmRSS: %f kB", &kib); err == nil {
			return kib / 1024
		}
	}
	b.Fatal("no VmRSS")
	return 0
}
