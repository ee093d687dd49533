package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

// mute is a station that says one thing and then nothing more, as one does behind
// a cable that was pulled.
type mute struct {
	pb.UnimplementedReadinessServiceServer
}

func (mute) WatchReadiness(_ *pb.WatchReadinessRequest, stream pb.ReadinessService_WatchReadinessServer) error {
	state := &pb.Readiness{CallSign: "WN11", Verdict: pb.Verdict_VERDICT_FIT}
	if err := stream.Send(&pb.WatchReadinessResponse{Message: &pb.WatchReadinessResponse_Readiness{Readiness: state}}); err != nil {
		return err
	}
	<-stream.Context().Done()
	return nil
}

func TestWatch_GivesUpAStationThatFallsSilent(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := grpc.NewServer()
	pb.RegisterReadinessServiceServer(server, mute{})
	go func() { _ = server.Serve(listener) }()
	t.Cleanup(server.Stop)
	var out bytes.Buffer
	err = asking(listener.Addr().String(), func(r *remote) error {
		return r.watchOnce(t.Context(), newConsole(&out, io.Discard), listening{output: "table", silence: 200 * time.Millisecond})
	})
	if !errors.Is(err, errSilent) {
		t.Errorf("a silent station = %v", err)
	}
	requireIn(t, out.String(), "[^]  WN11  FIT TO RESPOND")
	if silence != 10*time.Second {
		t.Errorf("a watch may be silent for %v, want the 10 s of the contract", silence)
	}
}

func TestWatch_TellsEachChangeAndSaysWhenItIsNotLive(t *testing.T) {
	data := ofCounty.copy(t)
	s := serving(t, data)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	reader, writer := io.Pipe() // both what it says and what it complains of
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, []string{"readiness", "t1", "--watch", "--server", s.address}, writer, writer)
		_ = writer.Close()
	}()
	lines := bufio.NewScanner(reader)
	until := func(text string) {
		t.Helper()
		for lines.Scan() {
			if strings.Contains(lines.Text(), text) {
				return
			}
		}
		t.Fatalf("it ended and never said %q", text)
	}
	until(": ?  T1  NOT PROVEN")
	must(t, "play", round(t, "09-t1-before-tow.yaml"), "--server", s.address)
	until("[^]  T1  FIT TO RESPOND")
	s.stop()
	until("NOT LIVE SINCE")
	again := background(t, "serve", "--data", data, "--listen", s.address, "--metrics", "")
	until("[^]  T1  FIT TO RESPOND")
	again.stop()
	until("NOT LIVE SINCE")
	cancel()
	go func() { // what is left is read, so that it can end
		for lines.Scan() {
		}
	}()
	if code := <-ended; code != command.ExitDone {
		t.Errorf("listening ended with %d", code)
	}
}

func TestWatch_AsJSONIsOneMessageALine(t *testing.T) {
	s := filled(t)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	reader, writer := io.Pipe()
	go func() {
		run(ctx, []string{"readiness", "t1", "--watch", "-o", "json", "--server", s.address}, writer, io.Discard)
		_ = writer.Close()
	}()
	lines := bufio.NewScanner(reader)
	for _, word := range []string{`"readiness"`, `"present"`} {
		if !lines.Scan() || !strings.HasPrefix(lines.Text(), "{"+word) {
			t.Errorf("the line is %q, want one of %s", lines.Text(), word)
		}
	}
	cancel()
	for lines.Scan() {
	}
}

func TestWatch_AVehicleNobodyKnowsIsAnError(t *testing.T) {
	s := filled(t)
	if got := do(t, "readiness", "wn99", "--watch", "--server", s.address); got.code != command.ExitRefused {
		t.Errorf("exit code %d\n%s", got.code, got.err)
	}
}
