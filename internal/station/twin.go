package station

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strconv"
	"sync"

	"google.golang.org/protobuf/proto"

	"bayround/internal/catalogue"
	pb "bayround/proto/bayround/v1"
)

// A tablet runs a station of its own, the twin of the station of record. Commands
// are carried out there as they are here; beside them it takes over what is in
// force (this file) and what is known of a vehicle (standing.go, adopt.go).
// Whatever stands in a twin's journal and was not taken over was commanded there.

// GetLibrary returns everything in force, unless the caller has it already.
// Unlike all else it tells the hashes of people's PINs.
func (s *Station) GetLibrary(_ context.Context, req *pb.GetLibraryRequest) (*pb.GetLibraryResponse, error) {
	lib := s.current.Load().lib
	digest, err := lib.digest()
	if err != nil {
		return nil, err
	}
	resp := &pb.GetLibraryResponse{Digest: digest}
	if req.GetKnownDigest() != digest {
		resp.Library = lib.file()
	}
	return resp, nil
}

// file is everything in force as one file.
func (l *library) file() *pb.StationFile {
	return &pb.StationFile{
		Stations: sortedValues(l.set.Stations), Vehicles: sortedValues(l.set.Vehicles),
		Gauges: sortedValues(l.set.Gauges), People: sortedValues(l.set.People), Catalogue: l.set.Catalogue,
		Routines: sortedValues(l.set.Routines), RulePacks: sortedValues(l.set.Packs),
	}
}

// fingerprint is the digest of a library, worked out when it is first asked for.
type fingerprint struct {
	once   sync.Once
	digest string // set within once
	err    error  // set within once
}

// digest tells one library from another: SHA-256 over everything in force, in hex.
func (l *library) digest() (string, error) {
	f := l.fingerprint
	f.once.Do(func() {
		b, err := proto.MarshalOptions{Deterministic: true}.Marshal(l.file())
		if err != nil {
			f.err = fmt.Errorf("encode what is in force: %w", err)
			return
		}
		sum := sha256.Sum256(b)
		f.digest = hex.EncodeToString(sum[:])
	})
	return f.digest, f.err
}

// AdoptLibrary puts in force what is in force at the station of record; revisions
// of vehicles stay as they are given. It tells whether anything changed. What is
// in force here and not there stays. A library that is too large for one command
// is taken in parts, each under an id of its own that follows from requestID.
func (s *Station) AdoptLibrary(ctx context.Context, requestID string, lib *pb.StationFile) (changed bool, err error) {
	lib = proto.CloneOf(lib)
	for i, part := range partsOf(given(lib)) {
		resp, err := s.putInForce(ctx, partID(requestID, i), lib, func(base *library) (*application, error) {
			return adoption(part, base)
		})
		if err != nil {
			return changed, err
		}
		changed = changed || resp.GetSequence() > 0
	}
	return changed, nil
}

// partID is the command id of a part of a request, counted from 0.
func partID(requestID string, part int) string {
	if part == 0 {
		return requestID
	}
	return requestID + "/" + strconv.Itoa(part+1)
}

// given lists the things of a library in the order in which they are put in force.
func given(lib *pb.StationFile) []thing {
	return things(&catalogue.Loaded{
		Stations: lib.GetStations(), Vehicles: lib.GetVehicles(), Gauges: lib.GetGauges(), People: lib.GetPeople(),
		Catalogue: lib.GetCatalogue(), Routines: lib.GetRoutines(), RulePacks: lib.GetRulePacks(),
	})
}

// partsOf divides things into commands that the journal can store. It looks at
// what is given and not at what differs, so that a repeat is divided alike.
func partsOf(all []thing) (parts [][]thing) {
	begin, total := 0, 0
	for i, t := range all {
		size := proto.Size(t.event) + besideThingBytes
		if i > begin && (total+size > maxCommandBytes || i-begin == maxCommandThings) {
			parts = append(parts, all[begin:i])
			begin, total = i, 0
		}
		total += size
	}
	return append(parts, all[begin:])
}

// adoption works out what taking things over would do to a library. They were
// held against each other where they come from.
func adoption(part []thing, base *library) (*application, error) {
	a := &application{base: base}
	d := base.draft()
	for _, t := range part {
		if before := base.get(t.name); before != nil && proto.Equal(before, t.message) {
			continue
		}
		d.put(t.event)
		a.names, a.events = append(a.names, t.name), append(a.events, t.event)
	}
	if a.after = base; len(a.events) > 0 {
		a.after = d.finish(base)
	}
	return a, a.fits()
}
