package main

import (
	"context"
	"crypto/rand"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"sync"
	"time"

	"bayround/internal/station"
	"bayround/internal/trust"
	pb "bayround/proto/bayround/v1"
)

// closeKeys closes the station's keys to others on its machine, and says when they were
// not; a folder of a newer program is refused and left as it is.
func closeKeys(data string, log *slog.Logger) error {
	if err := trust.Inspect(filepath.Join(data, trustFolder)); err != nil {
		return err
	}
	open, err := trust.CloseToOthers(filepath.Join(data, trustFolder), filepath.Join(data, keyName))
	if len(open) > 0 {
		log.Warn("others on this machine could open the station's keys until now; they are closed to them. If somebody may have read one: server ca rotate --overlap 0", "were_open", open)
	}
	return err
}

// closeRecord closes the record and its photos to others on the station's machine. It is
// called once the journal has said that the folder is a record: no other folder is changed.
// Of one that was made just now there was nothing to open.
func closeRecord(data string, made bool, log *slog.Logger) error {
	open, err := trust.CloseAlone(data, filepath.Join(data, photosFolder)) // photos may lie on another disk
	if len(open) > 0 && !made {
		log.Warn("others on this machine could open the record until now; it is closed to them. If somebody may have read it, they have names and hashes of PINs: have all PINs chosen anew", "were_open", open)
	}
	return err
}

// openGate opens what says who may call the station; nil in plain text.
func openGate(c *console, f *serveFlags) (*trust.Gate, error) {
	if c.identity.plain {
		return nil, nil //nolint:nilnil // nil is a station that lets everybody on its machine in
	}
	names, err := f.reachedAs()
	if err != nil {
		return nil, err
	}
	gate, err := trust.OpenGate(trust.GateOptions{Folder: filepath.Join(f.data, trustFolder), Names: names, Now: time.Now})
	if err != nil {
		return nil, fmt.Errorf("opening the station's keys in %s: %w", f.data, err)
	}
	return gate, nil
}

// reachedAs are the names under which other systems reach the station.
func (f *serveFlags) reachedAs() ([]string, error) {
	names := append([]string{}, f.hostNames...)
	if host, err := os.Hostname(); err == nil {
		names = append(names, host)
	}
	host, _, err := net.SplitHostPort(f.listen)
	if err != nil {
		return names, nil // listening says what is wrong
	}
	if ip := net.ParseIP(host); ip != nil && !ip.IsUnspecified() {
		return append(names, ip.String()), nil
	}
	local, err := trust.LocalNames()
	return append(names, local...), err
}

// keepFresh replaces the gate's certificates in time until what it returns is called.
func keepFresh(gate *trust.Gate, st *station.Station, log *slog.Logger) (end func()) {
	ctx, cancel := context.WithCancel(context.Background())
	var runs sync.WaitGroup
	if gate != nil {
		runs.Go(func() {
			record := func(ev *pb.JournalEvent) error { return st.RecordTrust(ctx, rand.Text(), ev) }
			gate.Run(ctx, record, trust.Told{
				Failed: func(err error) {
					log.Error("the station's certificate or authority could not be replaced; it will be tried again", "cause", err)
				},
				Ending: func(notAfter time.Time) {
					log.Warn("the certificate of the station's authority ends within a year; have another take its place: server ca rotate", "ends", notAfter)
				},
			})
		})
	}
	return func() {
		cancel()
		runs.Wait()
	}
}
