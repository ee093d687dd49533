package round_test

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bayround/internal/access"
	"bayround/internal/round"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

const driversBadge, officersBadge, sharedBadge = "WN-0012345", "WN-0077777", "WN-0099999"

// badgeKey opens a key of badges, which is the same each time.
func badgeKey(t *testing.T) *access.Badges {
	t.Helper()
	badges, err := access.OpenBadges(filepath.Join(t.TempDir(), "badge.key"))
	must(t, err)
	must(t, badges.Draw(bytes.NewReader(bytes.Repeat([]byte{3}, 32))))
	return badges
}

// withBadges are changes of the small configuration: some have badges, and two have the same.
func withBadges(t *testing.T) []string {
	t.Helper()
	of := func(badge string) string {
		hash, err := badgeKey(t).Of(badge)
		must(t, err)
		return `, badge_hmac_sha256: "` + hash + `"`
	}
	changes := withOfficers()
	changes[1] = strings.Replace(changes[1], pin2468+`"`, pin2468+`"`+of(driversBadge), 1)
	changes[1] = strings.Replace(changes[1], "[ROLE_OFFICER],", "[ROLE_OFFICER]"+of(officersBadge)+",", 1)
	changes[3] = strings.Replace(changes[3], pin2468+`"`, pin2468+`"`+of(sharedBadge), 1)
	return append(changes, "title: Other Driver, roles: [ROLE_DRIVER]", "title: Other Driver, roles: [ROLE_DRIVER]"+of(sharedBadge))
}

func badgeHands(t *testing.T) *hands {
	t.Helper()
	t.Parallel()
	clock := stationtest.NewClock()
	kit := stationtest.OpenWith(t, clock, station.Options{Dir: t.TempDir(), Now: clock.Now, Defaults: altered(t, withBadges(t)...)})
	return handsBy(t, &hands{t: t, kit: kit, clock: clock, wall: clock.Now, badges: badgeKey(t)})
}

// A badge says who it is and opens nothing: the PIN is asked for all the same, and whoever
// signs then was known by both. Without the network, too.
func TestDesk_ABadgeChoosesAndThePINProves(t *testing.T) {
	tab := badgeHands(t)
	tab.act("choose", "vehicle", firstPump, "routine", shiftCheck)
	v := tab.act("badge", "text", driversBadge)
	if v.Badge.GetName() != "people/driver" || !v.TakesBadges || v.Session != nil {
		t.Fatalf("read: %v; signed in: %v", v.Badge, v.Session)
	}
	tab.refused("NOBODY_SIGNED_IN", "assistant", "person", "")
	tab.refused("PIN_MALFORMED", "sign-in", "person", "people/driver", "pin", "")
	tab.refused("PIN_WRONG", "sign-in", "person", "people/driver", "pin", "1357")
	tab.refused("PIN_MALFORMED", "sign-in", "person", "people/driver", "pin", driversBadge)
	tab.act("badge", "text", " "+driversBadge+" ")
	tab.reopen()
	tab.act("sign-in", "person", "people/driver", "pin", "2468")
	name := tab.finish()
	tab.act("second")
	tab.act("sign-second", "person", "people/officer", "pin", "2468")
	resp, err := tab.kit.GetRound(ctx, &pb.GetRoundRequest{Name: name})
	must(t, err)
	if by := resp.GetRound().GetSignatures(); len(by) != 2 || by[0].GetProof() != pb.Proof_PROOF_BADGE_AND_PIN || by[1].GetProof() != pb.Proof_PROOF_PIN {
		t.Errorf("signed by %v", by)
	}
}

// A badge counts for who signs in just after it was read, and for nobody else.
func TestDesk_ABadgeCountsForItsOwnerAndNotForLong(t *testing.T) {
	for why, between := range map[string]func(tab *hands){
		"another's badge is read": func(tab *hands) { tab.act("badge", "text", officersBadge) },
		"three minutes pass": func(tab *hands) {
			if v := tab.elapse(3 * time.Minute); v.Badge != nil {
				tab.t.Errorf("the page still shows the badge of %v", v.Badge)
			}
		},
		"the page is left": func(tab *hands) {
			tab.act("home")
			tab.act("choose", "vehicle", firstPump, "routine", shiftCheck)
		},
	} {
		t.Run(why, func(t *testing.T) {
			tab := badgeHands(t)
			tab.act("choose", "vehicle", firstPump, "routine", shiftCheck)
			tab.act("badge", "text", driversBadge)
			between(tab)
			tab.act("sign-in", "person", "people/driver", "pin", "2468")
			name := tab.finish()
			resp, err := tab.kit.GetRound(ctx, &pb.GetRoundRequest{Name: name})
			must(t, err)
			if by := resp.GetRound().GetSignatures(); len(by) != 1 || by[0].GetProof() != pb.Proof_PROOF_PIN {
				t.Errorf("signed by %v", by)
			}
		})
	}
}

// What is nobody's badge, or two people's, chooses nobody; what was read stands nowhere.
func TestDesk_ABadgeOfNobody(t *testing.T) {
	tab := badgeHands(t)
	tab.act("choose", "vehicle", firstPump, "routine", shiftCheck)
	for badge, reason := range map[string]string{
		"WN-0054321": "BADGE_UNKNOWN", sharedBadge: "BADGE_UNKNOWN", "2468": "BADGE_MALFORMED", "": "BADGE_MALFORMED", "people/driver": "BADGE_MALFORMED",
	} {
		said := tab.refused(reason, "badge", "text", badge)
		if v := tab.View(); v.Badge != nil || badge != "" && strings.Contains(said, badge) {
			t.Errorf("%q: chosen is %v; said: %s", badge, v.Badge, said)
		}
	}
	tab.act("home")
	tab.refused("ACT_OUT_OF_PLACE", "badge", "text", driversBadge)
	for _, p := range tab.View().People {
		if p.GetBadgeHmacSha256() != "" || p.GetPinArgon2Id() != "" {
			t.Errorf("the view tells the hashes of %s", p.GetName())
		}
	}
	if v := tab.View(); v.Phase != round.PhaseVehicles || v.TakesBadges {
		t.Errorf("phase %v, takes badges %t", v.Phase, v.TakesBadges)
	}
}
