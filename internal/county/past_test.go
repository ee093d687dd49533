package county_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"sync"
	"testing"
	"time"

	"bayround/internal/catalogue"
	"bayround/internal/county"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

func TestScratch(t *testing.T) {
	now := time.Date(2026, 2, 3, 7, 0, 0, 0, time.UTC)
	clock := county.NewClock(county.Begin(now))
	files := catalogue.Defaults()
	for _, pattern := range []string{"*.yaml", "vehicles/*.yaml"} {
		names, _ := filepath.Glob(filepath.Join("..", "..", "testdata", "demo", pattern))
		for _, n := range names {
			b, _ := os.ReadFile(n)
			files = append(files, catalogue.File{Name: filepath.Base(n), Content: b})
		}
	}
	s, err := station.Open(context.Background(), station.Options{Dir: t.TempDir(), Now: clock.Now, Defaults: files})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	var mu sync.Mutex
	rules := map[string]int{}
	last := map[string]string{}
	p := county.Past{Station: s, Clock: clock, Now: now, Heard: func(h county.Told) {
		mu.Lock()
		defer mu.Unlock()
		for _, f := range h.Findings {
			k := fmt.Sprintf("%s %s %s %v", h.Vehicle, f.Rule, h.Result.StepId, f.Effect)
			rules[k]++
			last[k] += fmt.Sprintf(" %d", h.Ago)
		}
	}}
	begin := time.Now()
	n, err := p.Live(context.Background())
	t.Logf("%+v in %v", n, time.Since(begin))
	if err != nil {
		t.Fatal(err)
	}
	var keys []string
	for k := range rules {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	for _, k := range keys {
		t.Logf("%4d %s  %.200s", rules[k], k, last[k])
	}
	all, _ := s.ListReadiness(context.Background(), &pb.ListReadinessRequest{PageSize: 200})
	for _, r := range all.GetReadiness() {
		t.Log(r.GetCallSign(), r.GetVerdict())
		for _, d := range r.GetOpenDefects() {
			t.Log("   ", d.GetStepId(), d.GetState(), d.GetFindings()[0].GetRule(), d.GetFindings()[0].GetText())
		}
	}
}
