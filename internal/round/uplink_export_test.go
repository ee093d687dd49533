package round

import (
	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"
)

// CommandOf is the command an event came from, and its id; nil when it came from
// none of a driver's.
func CommandOf(ev *pb.JournalEvent) (id string, request proto.Message) {
	c := outgoingOf(ev)
	if c == nil {
		return "", nil
	}
	return c.id, c.request
}

// What tests hold the uplink to.
const (
	PlaceName    = placeName
	ClockName    = clockName
	LongestPause = longestPause
	BugTries     = bugTries
)

// Acknowledged is the event of the twin's journal up to which the station has everything.
func (u *Uplink) Acknowledged() int64 {
	u.outbox.mu.Lock()
	defer u.outbox.mu.Unlock()
	return u.outbox.place.Acknowledged
}

// Watches is how many watches have told every present state.
func (u *Uplink) Watches() int {
	u.heard.mu.Lock()
	defer u.heard.mu.Unlock()
	return u.heard.watches
}

// Copied is up to which event the tablet's copy holds the station's record.
func (u *Uplink) Copied() uint64 {
	u.witness.mu.Lock()
	defer u.witness.mu.Unlock()
	return u.witness.copied
}

// TakeoverWaits tells that a takeover waits for its turn.
func (u *Uplink) TakeoverWaits() bool {
	if u.adopt.turn.TryRLock() {
		u.adopt.turn.RUnlock()
		return false
	}
	return true
}
