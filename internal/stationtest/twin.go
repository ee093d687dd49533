package stationtest

import (
	"context"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// Twin opens a twin beside the station, as a tablet runs it: on a directory of
// its own, by the same clock, with nothing in force yet. It is closed when the
// test ends.
func (k *Kit) Twin() *Kit {
	k.T.Helper()
	k.twins++
	t := &Kit{T: k.T, Clock: k.Clock, group: k.group*10 + k.twins, o: station.Options{
		Dir: k.T.TempDir(), Origin: "bayround/twin", Now: k.o.Now, Logger: k.o.Logger,
	}}
	t.open()
	k.T.Cleanup(t.Close)
	return t
}

// AdoptLibrary takes over what is in force at another station and tells whether
// that changed anything.
func (k *Kit) AdoptLibrary(of *Kit) bool {
	k.T.Helper()
	changed, err := k.Station.AdoptLibrary(context.Background(), k.ID(), of.Library())
	if err != nil {
		k.T.Fatalf("taking over what is in force: %v", err)
	}
	return changed
}

// Library returns everything in force.
func (k *Kit) Library() *pb.StationFile {
	k.T.Helper()
	resp, err := k.GetLibrary(context.Background(), &pb.GetLibraryRequest{})
	if err != nil {
		k.T.Fatalf("reading what is in force: %v", err)
	}
	return resp.GetLibrary()
}

// Digest returns the digest of what is in force.
func (k *Kit) Digest() string {
	k.T.Helper()
	resp, err := k.GetLibrary(context.Background(), &pb.GetLibraryRequest{})
	if err != nil {
		k.T.Fatalf("reading what is in force: %v", err)
	}
	return resp.GetDigest()
}

// Standing returns what the verdict about a vehicle rests on.
func (k *Kit) Standing(vehicle string) *pb.Standing {
	k.T.Helper()
	resp, err := k.GetStanding(context.Background(), &pb.GetStandingRequest{Vehicle: vehicle})
	if err != nil {
		k.T.Fatalf("reading what is known of %s: %v", vehicle, err)
	}
	return resp.GetStanding()
}

// AdoptStanding takes over what another station knows of a vehicle and tells
// whether that changed anything.
func (k *Kit) AdoptStanding(of *Kit, vehicle string) bool {
	k.T.Helper()
	changed, err := k.Station.AdoptStanding(context.Background(), k.ID(), of.Standing(vehicle))
	if err != nil {
		k.T.Fatalf("taking over %s: %v", vehicle, err)
	}
	return changed
}
