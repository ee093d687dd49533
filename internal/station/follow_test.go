package station_test

import (
	"testing"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// follow takes every event from a token to the end and returns the last token.
func follow(t testing.TB, k *stationtest.Kit, token string, take func(*pb.JournalEvent)) string {
	t.Helper()
	err := k.Follow(ctx, &pb.FollowRequest{Token: token, StopAtEnd: true}, func(m *pb.FollowResponse) error {
		token = m.GetToken()
		for _, ev := range m.GetEvents().GetEvents() {
			take(ev)
		}
		return nil
	})
	if err != nil {
		t.Fatalf("following: %v", err)
	}
	return token
}
