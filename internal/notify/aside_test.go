package notify_test

import (
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"bayround/internal/notice"
	"bayround/internal/notify"
	"bayround/internal/stationtest"
)

// cracked is a station with a receiver that was told how its vehicles stand. Then a screen
// of p2 was found cracked, and behind that p1 was checked.
func cracked(t *testing.T) (*stationtest.Kit, *receiver, notify.Subscription) {
	t.Helper()
	k, r := stationtest.Open(t), receive(t)
	s := to(t, r.URL, notice.Filter{})
	n, _ := tells(t, k, s)
	kept(t, n)
	n.Close()
	k.Record(k.OpenRound(p2, shift), stationtest.Seen(screen, "03"))
	k.RecordAll(p1, shift)
	return k, r, s
}

// found tells that an event says that a defect was found.
func found(g got) bool { return g.data.Kind == notice.DefectFound }

// behindIt tells that p1, which was told as fit behind the defect, is told as fit no more.
func behindIt(g got) bool { return g.data.Vehicle == p1 && g.data.Was == "FIT" }

// attempts are the events of all requests that are of a kind.
func attempts(all []got, of func(got) bool) (some []got) {
	for _, g := range all {
		if of(g) {
			some = append(some, g)
		}
	}
	return some
}

func asides(t *testing.T, k *stationtest.Kit) []notify.Aside {
	t.Helper()
	all, err := notify.Asides(k.Dir())
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// A notice that a receiver refuses, or breaks over, though it takes others, is set aside
// after a day and not before; what lies behind it is told, and it can be sent again: then
// it is the same event.
func TestNotifier_SetsAsideWhatIsRefusedForADay(t *testing.T) {
	for _, tc := range []struct {
		why    string
		poison func(got) int
	}{
		{"it says that it cannot be processed", func(g got) int { return map[bool]int{true: 422}[found(g)] }},
		{"it says so, and knows no test either", func(g got) int { return map[bool]int{true: 400}[found(g) || g.data.Kind == "test"] }},
		{"it hangs up over it", func(g got) int { return map[bool]int{true: 1}[found(g)] }},
	} {
		t.Run(tc.why, func(t *testing.T) {
			k, r, s := cracked(t)
			r.refuses(tc.poison)
			began := k.Clock.Now()
			n, w := tells(t, k, s)
			all, _ := r.until(func(_, taken []got) bool { return slices.ContainsFunc(taken, behindIt) })
			if len(w.noted()) < 20 {
				t.Errorf("tried again after %v, want twenty times and a day", w.noted())
			}
			var waited time.Duration
			for _, d := range w.noted() {
				waited += d
			}
			if waited < 24*time.Hour || waited > 24*time.Hour+15*time.Minute {
				t.Errorf("it held up what lies behind it for %v", waited)
			}
			n.Close()
			aside := asides(t, k)
			if len(aside) != 1 || aside[0].ID != attempts(all, found)[0].event.ID() || aside[0].Subscription != "control" || !aside[0].Since.Equal(began) || aside[0].Error == "" {
				t.Fatalf("set aside is %+v", aside)
			}
			if stands := n.States()[0]; stands.Words(k.Clock.Now()) != "well" || stands.Refused.Tries != 0 {
				t.Errorf("it stands %+v", stands)
			}
			if err := s.Again(t.Context(), k.Dir(), aside[0], k.Clock.Now()); err == nil || len(asides(t, k)) != 1 {
				t.Errorf("while it is refused: %v, and set aside is %+v", err, asides(t, k))
			}
			r.refuses(nil)
			if err := s.Again(t.Context(), k.Dir(), asides(t, k)[0], k.Clock.Now()); err != nil || len(asides(t, k)) != 0 {
				t.Errorf("once it is taken: %v, and set aside is %+v", err, asides(t, k))
			}
			_, taken := r.until(func(_, taken []got) bool { return slices.ContainsFunc(taken, found) })
			now := attempts(taken, found)[0]
			if diff := cmp.Diff(attempts(all, found)[0].event, now.event); diff != "" {
				t.Errorf("-refused +taken in the end\n%s", diff)
			}
		})
	}
}

// A receiver that is away, or refuses everything for more than a day, is told everything in the end,
// and nothing stays aside; one that is merely away is told in order.
func TestNotifier_AReceiverThatIsAwayIsToldAll(t *testing.T) {
	for _, tc := range []struct {
		why     string
		code    int
		inOrder bool
	}{
		{"it hangs up", 1, true}, {"it does not know us", 401, true}, {"it breaks over everything", 500, false},
	} {
		t.Run(tc.why, func(t *testing.T) {
			k, r, s := cracked(t)
			until := k.Clock.Now().Add(26 * time.Hour)
			r.refuses(func(got) int { return map[bool]int{true: tc.code}[k.Clock.Now().Before(until)] })
			n, _ := tells(t, k, s)
			_, taken := r.until(func(_, taken []got) bool {
				return slices.ContainsFunc(taken, found) && slices.ContainsFunc(taken, behindIt)
			})
			for len(asides(t, k)) > 0 && t.Context().Err() == nil { // what was set aside follows
				runtime.Gosched()
			}
			n.Close()
			if order := slices.IndexFunc(taken, found) < slices.IndexFunc(taken, behindIt); order != tc.inOrder && tc.inOrder {
				t.Errorf("it was told %v", ids(taken))
			}
		})
	}
}

// A kill between setting aside and keeping the place begins no new day: what is set aside
// is passed over, and tried once when the receiver has taken something.
func TestNotifier_WhatIsAsideHoldsUpNobodyAfterARestart(t *testing.T) {
	k, r, s := cracked(t)
	state := filepath.Join(k.Dir(), notify.Folder, "control.json")
	before, err := os.ReadFile(state)
	if err != nil {
		t.Fatal(err)
	}
	r.refuses(func(g got) int { return map[bool]int{true: 422}[found(g)] })
	n, _ := tells(t, k, s)
	r.until(func(_, taken []got) bool { return slices.ContainsFunc(taken, behindIt) })
	n.Close()
	if err := os.WriteFile(state, before, 0o600); err != nil {
		t.Fatal(err)
	}
	told, _ := r.until(func([]got, []got) bool { return true })
	n, w := tells(t, k, s)
	all, _ := r.until(func(all, _ []got) bool { return slices.ContainsFunc(all[len(told):], behindIt) })
	n.Close()
	if tried := attempts(all[len(told):], found); len(tried) != 1 || len(w.noted()) != 0 {
		t.Errorf("after the restart it was tried %d times, and waited %v", len(tried), w.noted())
	}
	if left := asides(t, k); len(left) != 1 {
		t.Errorf("set aside is %+v", left)
	}
}
