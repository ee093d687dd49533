package trust

import (
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// usualOverlap is how long two authorities count: as long as a tablet's certificate lasts.
const usualOverlap = leafLasts

// RotateAuthority has another authority take the place of the station's. by is who asked
// for it. With an overlap of zero the former one is retired at once.
//
// What is recorded before the register is written may be recorded and not done, when the
// station is killed between; the register alone says what counts.
func (g *Gate) RotateAuthority(req *pb.RotateAuthorityRequest, by string, record Record) (*pb.AuthorityState, error) {
	overlap := usualOverlap
	if req.GetOverlap() != nil {
		overlap = req.GetOverlap().AsDuration()
	}
	if err := g.beginRotation(overlap, by, record); err != nil {
		return nil, err
	}
	if err := g.Rotate(); err != nil {
		return nil, err
	}
	return g.AuthorityState(), nil
}

func (g *Gate) beginRotation(overlap time.Duration, by string, record Record) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	before, r := g.keys.Load(), g.listed.Load().clone()
	if r.Rotation != nil {
		return fault.New(fault.Precondition, "ROTATION_UNDER_WAY", "another authority takes the station's place already; server ca tells who was not renewed yet, and server ca retire ends it")
	}
	next, err := newAuthority(g.now())
	if err != nil {
		return err
	}
	if err := next.write(g.folder, nextFiles); err != nil {
		return err
	}
	err = record(&pb.JournalEvent{Event: &pb.JournalEvent_AuthorityRotated{AuthorityRotated: &pb.AuthorityRotated{
		AuthoritySha256: before.shows.digest(), NextSha256: next.digest(), Overlap: durationpb.New(overlap), By: by,
	}}})
	if err != nil {
		return err
	}
	r.Version, r.Authority = registerVersion, before.shows.digest()
	r.Rotation = &rotation{Next: next.digest(), Begun: g.now().UTC(), Left: overlap}
	if err := g.keepWithLocked(r, &keys{shows: before.shows, next: next}); err != nil {
		return err
	}
	if overlap > 0 {
		return nil
	}
	_, err = g.retireLocked(by, record)
	return err
}

// RetireAuthority ends a rotation before its overlap is over.
func (g *Gate) RetireAuthority(req *pb.RetireAuthorityRequest, by string, record Record) (*pb.RetireAuthorityResponse, error) {
	left, err := g.endRotation(req.GetLeaveOut(), by, record)
	if err != nil {
		return nil, err
	}
	if err := g.Rotate(); err != nil {
		return nil, err
	}
	return &pb.RetireAuthorityResponse{State: g.AuthorityState(), LeftOut: left}, nil
}

func (g *Gate) endRotation(leaveOut bool, by string, record Record) ([]string, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	r := g.listed.Load()
	if r.Rotation == nil {
		return nil, fault.New(fault.Precondition, "ROTATION_NONE", "no authority takes the station's place; server ca rotate begins that")
	}
	if waiting := namesOf(r.waiting(g.now())); len(waiting) > 0 && !leaveOut {
		return nil, fault.New(fault.Precondition, "CLIENTS_NOT_RENEWED",
			"not renewed yet: %s. Wait until they have been in touch, or leave them out (server ca retire --leave-out): they must enrol again then", strings.Join(waiting, ", "))
	}
	return g.retireLocked(by, record)
}

// retireLocked ends a rotation: the next authority counts alone. Once the register is
// written that stands, and the files follow, at the next start at the latest.
func (g *Gate) retireLocked(by string, record Record) (left []string, err error) {
	before, r := g.keys.Load(), g.listed.Load().clone()
	left = namesOf(r.waiting(g.now()))
	err = record(&pb.JournalEvent{Event: &pb.JournalEvent_AuthorityRetired{AuthorityRetired: &pb.AuthorityRetired{
		AuthoritySha256: before.shows.digest(), NextSha256: before.next.digest(), By: by, LeftOut: left,
	}}})
	if err != nil {
		return nil, err
	}
	r.Authority, r.Rotation = before.next.digest(), nil
	if err := g.keepWithLocked(r, &keys{shows: before.next}); err != nil {
		return nil, err
	}
	if err := g.rotateStation(); err != nil {
		return nil, err
	}
	err = before.next.write(g.folder, authorityFiles)
	if err == nil {
		err = removeNext(g.folder)
	}
	if err != nil {
		return nil, fault.New(fault.Unavailable, "AUTHORITY_NOT_IN_PLACE",
			"the former authority is retired, but its key still lies in the folder; start the station anew when its disk takes something").Because(err)
	}
	return left, nil
}

// pass takes note that the station has served for a while: an overlap is over when it
// has served so long, whatever its clock shows. Time in which nobody could be renewed
// does not count.
func (g *Gate) pass(served time.Duration, record Record) error {
	over, err := g.passed(served, record)
	if err != nil || !over {
		return err
	}
	return g.Rotate()
}

func (g *Gate) passed(served time.Duration, record Record) (over bool, err error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	r := g.listed.Load().clone()
	if r.Rotation == nil {
		return false, nil
	}
	if r.Rotation.Left <= served {
		_, err := g.retireLocked("", record)
		return err == nil, err
	}
	r.Rotation = &rotation{Next: r.Rotation.Next, Begun: r.Rotation.Begun, Left: r.Rotation.Left - max(0, served)}
	return false, g.keepLocked(r)
}

// AuthorityState is by what the station is known, and how a rotation stands.
func (g *Gate) AuthorityState() *pb.AuthorityState {
	g.mu.Lock()
	defer g.mu.Unlock()
	k, r := g.keys.Load(), g.listed.Load()
	state := &pb.AuthorityState{AuthoritySha256: k.shows.digest(), NotAfter: timestamppb.New(k.shows.cert.NotAfter)}
	if r.Rotation == nil {
		return state
	}
	state.NextSha256, state.Begun, state.Left = k.next.digest(), timestamppb.New(r.Rotation.Begun), durationpb.New(r.Rotation.Left)
	for _, c := range r.waiting(g.now()) {
		state.Waiting = append(state.Waiting, c.message())
	}
	return state
}

// waiting are those who are let in and have no certificate of the next authority yet.
// Whoever runs the station on its machine is given one by the station itself.
func (r *register) waiting(now time.Time) (all []client) {
	for _, c := range r.Clients {
		if r.Rotation != nil && c.Authority != r.Rotation.Next && c.Revoked.IsZero() && now.Before(c.NotAfter) && c.Name != administratorName {
			all = append(all, c)
		}
	}
	return all
}

func namesOf(clients []client) (names []string) {
	for _, c := range clients {
		names = append(names, c.Name)
	}
	return names
}
