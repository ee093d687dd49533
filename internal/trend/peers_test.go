package trend_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"bayround/internal/trend"
)

// weather is what all wheels share: a temperature that wanders, in bar.
var weather = []float64{0, -0.2, 0.1, -0.3, 0.2, -0.1, -0.4, 0, -0.5, -0.2}

// wheel stands at a level, follows the weather and loses perWeek.
func wheel(level, perWeek float64) trend.Series {
	s := make(trend.Series, len(weather))
	for i, shift := range weather {
		s[i] = trend.Point{At: begins.AddDate(0, 0, 7*i), Value: level + shift - perWeek*float64(i)}
	}
	return s
}

// sound are four wheels that lose nothing, each read a few minutes after the one before.
func sound() []trend.Series {
	peers := []trend.Series{wheel(8, 0), wheel(8.5, 0), wheel(8.1, 0), wheel(8.4, 0)}
	for j, peer := range peers {
		for i := range peer {
			peer[i].At = peer[i].At.Add(time.Duration(3*j) * time.Minute)
		}
	}
	return peers
}

func wantLoss(t *testing.T, what string, got trend.Loss, perWeek float64) {
	t.Helper()
	if !got.HasLoss || math.Abs(got.PerWeek-perWeek) > 1e-9 || got.Low > got.PerWeek || got.High < got.PerWeek {
		t.Errorf("%s: %+v, want a loss of %v", what, got, perWeek)
	}
}

func TestPeerLoss_WhatAllShareCancels(t *testing.T) {
	got := trend.PeerLoss(wheel(8.2, 0.06), sound(), 0.001)
	wantLoss(t, "a leak of 0.06", got, 0.06)
	if got.PNoLoss > 1e-6 || got.DaysTogether != len(weather) || got.TopUps != 0 {
		t.Errorf("%+v", got)
	}
	if got := trend.PeerLoss(wheel(8.2, 0), sound(), 0.001); got.PNoLoss < 0.1 || math.Abs(got.PerWeek) > 1e-9 {
		t.Errorf("a sound wheel: %+v", got)
	}
	if got := trend.PeerLoss(wheel(8.2, -0.06), sound(), 0.001); got.PNoLoss < 0.99 {
		t.Errorf("a wheel that gains has no loss: %+v", got)
	}
}

func TestPeerLoss_PeersAreOutvoted(t *testing.T) {
	peers := append(sound(), wheel(8, 0.3)) // one leaks worse
	peers[0][4].Value = 3.1                 // one was misread
	wantLoss(t, "with a leaking peer and a misread one", trend.PeerLoss(wheel(8.2, 0.06), peers, 0.001), 0.06)
}

func TestPeerLoss_TopUpsAndMissingDays(t *testing.T) {
	own, peers := wheel(8.2, 0.06), sound()
	for i := range own[5:] {
		own[5+i].Value += 0.4
	}
	own[5].Added = 0.4
	peers[0] = slices.Delete(peers[0], 2, 5)
	peers[1] = slices.Delete(peers[1], 6, 9)
	for i := range peers[2] { // topped up, too, and by another amount
		if i >= 3 {
			peers[2][i].Value += 0.7
		}
	}
	peers[2][3].Added = 0.7
	got := trend.PeerLoss(own, peers, 0.001)
	wantLoss(t, "topped up, peers missing", got, 0.06)
	if got.TopUps != 1 {
		t.Errorf("%d top-ups", got.TopUps)
	}
}

func TestPeerLoss_AResetPeerIsAnotherPeer(t *testing.T) {
	peers := sound()
	for i := range peers[0][4:] {
		peers[0][4+i].Value += 1.3 // another tyre at another pressure
	}
	peers[0][4].Reset = true
	wantLoss(t, "a peer was changed", trend.PeerLoss(wheel(8.2, 0.06), peers, 0.001), 0.06)
}

func TestPeerLoss_NothingReachesAcrossNewTyresAllRound(t *testing.T) {
	peers := sound()
	for j := range peers {
		for i := range peers[j][4:] {
			peers[j][4+i].Value += 0.2 * float64(j)
		}
		peers[j][4].Reset = true
	}
	got := trend.PeerLoss(wheel(8.2, 0.06), peers, 0.001)
	wantLoss(t, "all peers changed", got, 0.06)
	if got.DaysTogether != 6 {
		t.Errorf("%d days are told together, 6 came after the change", got.DaysTogether)
	}
}

func TestPeerLoss_TooLittleIsAResult(t *testing.T) {
	own := wheel(8.2, 0.06)
	later := sound()
	for j := range later {
		for i := range later[j] {
			later[j][i].At = later[j][i].At.Add(13 * time.Hour)
		}
	}
	for name, got := range map[string]trend.Loss{
		"no peers":        trend.PeerLoss(own, nil, 0.1),
		"one peer":        trend.PeerLoss(own, sound()[:1], 0.1),
		"another day":     trend.PeerLoss(own, later, 0.1),
		"four weeks":      trend.PeerLoss(own[:4], sound(), 0.1),
		"never read":      trend.PeerLoss(nil, sound(), 0.1),
		"peers not read":  trend.PeerLoss(own, []trend.Series{nil, nil, nil}, 0.1),
		"peers all wrong": trend.PeerLoss(own, []trend.Series{weekly(math.NaN()), weekly(math.Inf(1))}, 0.1),
	} {
		if got.HasLoss || got.PNoLoss != 1 || got.PerWeek != 0 {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// The thread of WN21 (job map, E1): a nail on D-63, 0.09 bar a week, the bay cools. The slope
// against the peers is to speak by week 5 (here: by the median).
func TestPeerLoss_NailOfTheThread(t *testing.T) {
	const soundWeeks = 8
	var weeks []int
	for seed := range uint64(200) {
		a := newAutumn(seed, 0)
		for range soundWeeks {
			a.week()
		}
		a.leakPerWeek = 0.09
		for week := 1; week <= 12; week++ {
			if a.week(); peersAsk(a) {
				weeks = append(weeks, week)
				break
			}
		}
	}
	slices.Sort(weeks)
	t.Logf("after %d sound weeks a leak of 0.09 bar a week is found in %d of 200, in week %d by the median, the last in week %d",
		soundWeeks, len(weeks), weeks[len(weeks)/2], weeks[len(weeks)-1])
	if len(weeks) != 200 || weeks[100] > 5 {
		t.Errorf("found in %d of 200, in week %d by the median; the thread says all, week 5", len(weeks), weeks[len(weeks)/2])
	}
}
