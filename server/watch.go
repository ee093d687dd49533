package main

import (
	"context"
	"errors"
	"io"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	"bayround/internal/fault"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

const (
	// silence is how long nothing may be heard before what was heard is not live.
	silence = 10 * time.Second
	// again is how long to wait before watching again.
	again = time.Second
)

// listening is one way of watching.
type listening struct {
	names   []string // vehicles; empty for all, where no call sign is named
	signs   []string // call signs
	output  string
	silence time.Duration // how long nothing may be heard
}

// watch prints the state of the vehicles and every change until ctx ends. It
// watches again whenever a watch ends for a reason that can pass.
func (s *remote) watch(ctx context.Context, c *console, l listening) error {
	for {
		names, err := s.vehiclesMeant(ctx, l.names)
		if err == nil {
			l.names = names // whole from now on: the same ones, whatever call sign moves
			err = s.watchOnce(ctx, c, l)
		}
		switch {
		case ctx.Err() != nil:
			return nil // Ctrl-C is how one stops listening
		case !fault.Is(err, fault.Unavailable) && !errors.Is(err, io.EOF) && !errors.Is(err, errSilent):
			return err
		}
		c.Complain("NOT LIVE SINCE %s – %v", time.Now().Format("15:04:05"), err)
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(again):
		}
	}
}

// errSilent is why a watch is given up that says nothing any more.
var errSilent = errors.New("nothing is heard any more; asking again")

// watchOnce prints what one watch tells until it ends or falls silent.
func (s *remote) watchOnce(ctx context.Context, c *console, l listening) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	alarm := time.AfterFunc(l.silence, func() { cancel(errSilent) })
	defer alarm.Stop()
	stream, err := s.readiness.WatchReadiness(ctx, &pb.WatchReadinessRequest{Vehicles: l.names, CallSigns: l.signs})
	if err != nil {
		return err
	}
	for {
		message, err := stream.Recv()
		if cause := context.Cause(ctx); err != nil && errors.Is(cause, errSilent) {
			return errSilent
		}
		if err != nil {
			return err
		}
		alarm.Reset(l.silence)
		if err := c.sayChange(message, l.output); err != nil {
			return err
		}
	}
}

// sayChange prints one message of a watch: as JSON all of them, one a line;
// otherwise the states alone.
func (c *console) sayChange(message *pb.WatchReadinessResponse, output string) error {
	if output == "json" {
		text, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(message)
		if err != nil {
			return err
		}
		c.Say("%s", text)
		return nil
	}
	r := message.GetReadiness()
	if r == nil {
		return nil
	}
	m := markOf(r.GetVerdict())
	c.Say("%s  %s", r.GetAsOf().AsTime().Local().Format("15:04:05"),
		m.paint(m.shape+"  "+verdict.Spoken(r)+"  "+wordsOf(r), c.colourful()))
	for _, line := range short(r) {
		c.Say("          %s", line)
	}
	return nil
}
