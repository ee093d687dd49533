package round

import (
	"context"
	"strings"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// A badge is a name that a reader types. It chooses who signs in, and proves nothing: the
// PIN does.

// badgeOwners are the people by the hash of their badge; nobody where two have the same.
func badgeOwners(people []*pb.Person) map[string]string {
	owners := map[string]string{}
	for _, p := range people {
		hash := p.GetBadgeHmacSha256()
		if hash == "" || p.GetErased() {
			continue
		}
		if _, taken := owners[hash]; taken {
			owners[hash] = ""
		} else {
			owners[hash] = p.GetName()
		}
	}
	return owners
}

// readBadge chooses the person whose badge was read. What was typed is kept nowhere.
func (d *Desk) readBadge(_ context.Context, a Act) error {
	if d.badges == nil {
		return fault.New(fault.Precondition, "BADGE_NO_KEY", "badges are not read here; choose the name")
	}
	hash, err := d.badges.Of(strings.TrimSpace(a.Values["text"]))
	if err != nil {
		return err
	}
	who := d.scene.person(d.scene.badges[hash])
	if who == nil {
		return fault.New(fault.NotFound, "BADGE_UNKNOWN", "this badge is nobody's here; choose the name, and have the badge entered at the station")
	}
	d.session.Badge, d.session.BadgeAt = who.GetName(), d.now().Round(0)
	return nil
}

// badgeFresh tells that somebody's badge was read just before. An old reading is nobody's
// any more: the person may have gone.
func (d *Desk) badgeFresh(person string) bool {
	s := d.session
	return person != "" && s.Badge == person && d.now().Sub(s.BadgeAt) < idleFor
}
