package main

import (
	"testing"

	"bayround/internal/command"
	pb "bayround/proto/bayround/v1"
)

// watchers is how many watches are open while the server is stopped.
const watchers = 20

// TestServe_StopsUnderLoad stops a server in the middle of rounds, with watches
// open that nobody ends: it ends by itself, tells every watch, and has lost nothing
// that it acknowledged.
func TestServe_StopsUnderLoad(t *testing.T) {
	data, told := t.TempDir(), newAcks()
	p := launch(t, data)
	must(t, "apply", county(t), "--server", p.address)
	open, ended := make(chan struct{}, watchers), make(chan error, watchers)
	for range watchers {
		go func() {
			ended <- asking(p.address, func(r *remote) error {
				stream, err := r.readiness.WatchReadiness(t.Context(), &pb.WatchReadinessRequest{})
				for err == nil {
					var m *pb.WatchReadinessResponse
					if m, err = stream.Recv(); m.GetPresent() != nil {
						open <- struct{}{}
					}
				}
				return err
			})
		}()
	}
	for range watchers {
		select {
		case <-open:
		case err := <-ended:
			t.Fatalf("a watch ended before the stop: %v", err)
		}
	}
	enough, code := told.arm(20), make(chan int, 1)
	go func() {
		<-enough
		code <- p.end()
	}()
	interrupted := 0
	for _, player := range told.playAll(t, p.address, 0) {
		if player != command.ExitDone {
			interrupted++
		}
	}
	if interrupted == 0 {
		t.Error("no player was interrupted; the stop came too late to test anything")
	}
	if code := <-code; code != command.ExitDone {
		t.Errorf("the server ended with %d\n%s", code, p.log)
	}
	for range watchers {
		if got := command.CodeOf(<-ended); got != command.ExitNotThere {
			t.Errorf("a watch ended with exit code %d, want to be told that the station stops", got)
		}
	}
	requireIn(t, must(t, "verify", "--data", data), "sound: ")

	p = launch(t, data)
	for _, player := range told.playAll(t, p.address, 0) {
		if player != command.ExitDone {
			t.Errorf("after the restart a player ends with %d", player)
		}
	}
	for _, wrong := range told.wrong {
		t.Error(wrong)
	}
	told.compare(t, p.address)
}
