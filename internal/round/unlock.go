package round

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/access"
	"bayround/internal/admit"
	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// lockedOut are the people whom ten wrong PINs have locked out of this tablet, as the list
// of people has them. A name that nobody bears is none of them: there is nobody to unlock.
func (d *Desk) lockedOut() (all []*pb.Person) {
	for _, l := range d.guard.Locked() {
		if who := d.scene.person(l.Person); who != nil && !who.GetErased() {
			all = append(all, who)
		}
	}
	return all
}

// unlock lets somebody who was locked out try again, by the PIN of an officer. That PIN is
// guarded as every other one.
func (d *Desk) unlock(ctx context.Context, a Act) error {
	locked, officer := d.scene.person(a.Values["locked"]), d.scene.person(a.Values["person"])
	rule, may := admit.PersonMay(officer.GetRoles(), admit.Unlock)
	switch {
	case locked == nil || !slices.Contains(d.lockedOut(), locked):
		return fault.New(fault.Precondition, "NOT_LOCKED", "choose who is to be unlocked; only who is locked out stands there")
	case officer == nil || officer.GetErased():
		return fault.New(fault.NotFound, "PERSON_UNKNOWN", "choose the officer who unlocks")
	case officer == locked:
		return fault.New(fault.Precondition, "SAME_PERSON", "nobody unlocks themself; another officer does it")
	case !may:
		return fault.New(fault.Denied, rule.Reason, "%s %s", officer.GetTitle(), rule.Words)
	}
	if err := d.checkPIN(ctx, officer.GetName(), a.Values["pin"]); err != nil {
		return err
	}
	return d.command(ctx, &pending{Kind: commandUnlock}, &pb.ReportUnlockRequest{
		RequestId: uuid.NewString(), Unlocked: locked.GetName(), Person: officer.GetName(), Device: d.device, DeviceTime: d.deviceTime(),
	})
}

// unlocked forgets the wrong PINs, now that the record has it.
func (d *Desk) unlocked(_ context.Context, req *pb.ReportUnlockRequest, _ *pb.ReportUnlockResponse) error {
	return d.guard.Unlock(req.GetUnlocked())
}

// lockEvents is the name space of the ids under which locks are told.
var lockEvents = uuid.MustParse("7d0a52f4-6f0e-4b8e-9d62-0c3f1b6f8a17")

// lockID is the same each time that the same lock, or pardon, is told: a tablet that died
// before it knew that it was told records it once.
func (d *Desk) lockID(what string, l access.Lock) string {
	return uuid.NewSHA1(lockEvents, fmt.Appendf(nil, "%s %s %s %d", what, d.device, l.Person, l.At.UnixNano())).String()
}

// tellLocks tells the record who was locked out, and whom kiosk unlock let in. What cannot
// be told now is told when a PIN is tried next, or the tablet starts.
func (d *Desk) tellLocks(ctx context.Context) {
	ctx = context.WithoutCancel(ctx)
	for _, l := range d.guard.Locked() {
		id := d.lockID("locked", l)
		if who := d.scene.person(l.Person); who == nil || who.GetErased() || d.locks[id] {
			continue
		}
		_, err := d.twin.ReportLockOut(ctx, &pb.ReportLockOutRequest{
			RequestId: id, Locked: l.Person, Failures: int32(l.Failures), Device: d.device, DeviceTime: timestamppb.New(l.At),
		})
		if err != nil {
			d.log.Error("the record could not be told who was locked out", "person", l.Person, "cause", err)
			continue
		}
		d.locks[id] = true
	}
	for _, l := range d.guard.Pardons() {
		var err error
		if d.scene.person(l.Person) != nil {
			_, err = d.twin.ReportUnlock(ctx, &pb.ReportUnlockRequest{
				RequestId: d.lockID("pardoned", l), Unlocked: l.Person, Device: d.device, DeviceTime: timestamppb.New(l.At),
			})
		}
		if err == nil {
			err = d.guard.Told(l)
		}
		if err != nil {
			d.log.Error("the record could not be told who was unlocked", "person", l.Person, "cause", err)
		}
	}
}
