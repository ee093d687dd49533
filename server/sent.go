package main

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"bayround/internal/command"
	"bayround/internal/roundproof"
	"bayround/internal/roundrecord"
	pb "bayround/proto/bayround/v1"
)

// sent is what came by one certificate of a program.
type sent struct {
	certificate string // shortened, to be compared by eye
	first, last time.Time
	commands    map[string]bool
	rounds      []string // in the order of the first event
	vehicles    []string
}

// sentBy reads from the record what a program sent since a day, by certificate, the
// oldest first.
func (s *remote) sentBy(ctx context.Context, name string, since time.Time) (all []*sent, err error) {
	by := map[string]*sent{}
	err = s.eachEvent(ctx, 1, func(ev *pb.JournalEvent) bool {
		at := ev.GetStationTime().AsTime()
		if ev.GetSender().GetClient() != name || at.Before(since) {
			return true
		}
		certificate := roundrecord.Fingerprint(ev.GetSender().GetCertificateSha256())
		one := by[certificate]
		if one == nil {
			one = &sent{certificate: certificate, first: at, commands: map[string]bool{}}
			by[certificate] = one
			all = append(all, one)
		}
		one.last, one.commands[ev.GetCommandId()] = at, true
		one.rounds = withOnce(one.rounds, roundproof.RoundOf(ev))
		one.vehicles = withOnce(one.vehicles, lastPart(ev.GetVehicle()))
		return true
	})
	return all, err
}

// withOnce adds a name that is not among them yet.
func withOnce(names []string, name string) []string {
	if name == "" || slices.Contains(names, name) {
		return names
	}
	return append(names, name)
}

// saySent prints what a program sent, by certificate, and the rounds it took part in.
func (c *console) saySent(ctx context.Context, s *remote, name, day string) error {
	since, err := dayOf("since", day)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, 10*time.Minute)
	defer cancel()
	defer c.working("the record is read")()
	all, err := s.sentBy(ctx, name, since)
	if err != nil {
		return err
	}
	if len(all) == 0 {
		return command.Misuse("nothing in the record came from %q; server clients lists who was let in, and what was recorded before events named their sender cannot be told apart", name)
	}
	now, rows := time.Now(), [][]string{{"CERTIFICATE", "FIRST", "LAST", "COMMANDS", "ROUNDS", "VEHICLES"}}
	for _, one := range all {
		rows = append(rows, []string{
			one.certificate, instant(one.first, now), instant(one.last, now), fmt.Sprint(len(one.commands)), fmt.Sprint(len(one.rounds)),
			cmp.Or(strings.Join(one.vehicles, ", "), "-"),
		})
	}
	c.columns(rows)
	for _, one := range all {
		for _, round := range one.rounds {
			c.Say("%s  %s", one.certificate, round)
		}
	}
	return nil
}
