package round

import (
	"context"
	"fmt"

	pb "bayround/proto/bayround/v1"
)

// awaitedThere is which rounds wait at the station for an officer, as it said in one watch.
type awaitedThere struct {
	watch  int
	rounds []*pb.Round
}

// askAwaiting asks the station which rounds wait for an officer.
func (u *Uplink) askAwaiting(ctx context.Context, watch int) error {
	calling, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	resp, err := u.rounds.ListRounds(calling, &pb.ListRoundsRequest{AwaitingOfficer: true, PageSize: mostAwaiting})
	if err != nil {
		return fmt.Errorf("asking which rounds wait for an officer: %w", err)
	}
	u.mu.Lock()
	news := u.awaiting.watch != watch || !sameRounds(u.awaiting.rounds, resp.GetRounds())
	u.awaiting = awaitedThere{watch, resp.GetRounds()}
	u.mu.Unlock()
	if news {
		u.changed.ring()
	}
	return nil
}

// Awaiting are the rounds that wait at the station for an officer, newest first; known is
// false while it is not heard, or has not said.
func (u *Uplink) Awaiting() (rounds []*pb.Round, known bool) {
	_, _, watch := u.heard.all()
	live := u.Live()
	u.mu.Lock()
	defer u.mu.Unlock()
	return u.awaiting.rounds, live && watch != 0 && u.awaiting.watch == watch
}

func sameRounds(a, b []*pb.Round) bool {
	if len(a) != len(b) {
		return false
	}
	for _, r := range a {
		if indexOf(b, r) < 0 {
			return false
		}
	}
	return true
}
