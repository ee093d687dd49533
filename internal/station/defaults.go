package station

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"bayround/internal/catalogue"
	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// defaultsCommand begins the command ids under which defaults are applied:
// defaults/{digest of the files}/{journal size}.
const defaultsCommand = "defaults/"

// defaultsOf returns the digest of the default files a command applied; ""
// when a person gave the command.
func defaultsOf(commandID string) string {
	rest, found := strings.CutPrefix(commandID, defaultsCommand)
	if !found {
		return ""
	}
	digest, _, _ := strings.Cut(rest, "/")
	return digest
}

// digestFiles tells one set of default files from another.
func digestFiles(files []catalogue.File) string {
	h := sha256.New()
	for _, f := range files {
		for _, part := range [][]byte{[]byte(f.Name), f.Content} {
			h.Write(binary.BigEndian.AppendUint64(nil, uint64(len(part)))) // hashes never fail to write
			h.Write(part)
		}
	}
	return hex.EncodeToString(h.Sum(nil)[:16])
}

// applyDefaults puts the default files in force where nothing is in force, and
// where what is in force came from other defaults. When they no longer fit to
// what people have applied, the former stays and the log says so; only a
// station that has nothing yet cannot start with bad ones.
func (s *Station) applyDefaults(ctx context.Context, files []catalogue.File) error {
	digest := digestFiles(files)
	lib := s.current.Load().lib
	if len(files) == 0 || lib.tookDefaults(digest) {
		return nil
	}
	loaded, err := catalogue.Load(files)
	if err != nil {
		return refusedFiles(err)
	}
	lib.dropApplied(loaded)
	id := fmt.Sprintf("%s%s/%d", defaultsCommand, digest, s.journal.Size())
	resp, err := s.apply(ctx, id, &pb.ApplyRequest{RequestId: id}, loaded)
	if fault.Is(err, fault.Invalid) && len(lib.refs) > 0 {
		s.log.Warn("the default files do not fit to what is in force; what was in force stays", "cause", err)
		return nil
	}
	if err == nil {
		s.log.Info("default files applied", "digest", digest, "sequence", resp.GetSequence())
	}
	return err
}

// tookDefaults tells that these default files were the last that put something
// in force; so everything in them was held against what is in force.
func (l *library) tookDefaults(digest string) bool { return newestDefaults(l.refs) == digest }

// newestDefaults is the digest of the default files that last put something in force.
func newestDefaults(refs map[string]ref) string {
	newest := ref{}
	for _, r := range refs {
		if r.defaults != "" && r.sequence > newest.sequence {
			newest = r
		}
	}
	return newest.defaults
}

// dropApplied leaves out of loaded defaults what a person has applied.
func (l *library) dropApplied(loaded *catalogue.Loaded) {
	if l.byPerson(catalogueName) {
		loaded.Catalogue = nil
	}
	loaded.Stations = dropApplied(l, loaded.Stations)
	loaded.Vehicles = dropApplied(l, loaded.Vehicles)
	loaded.Gauges = dropApplied(l, loaded.Gauges)
	loaded.People = dropApplied(l, loaded.People)
	loaded.Routines = dropApplied(l, loaded.Routines)
	loaded.RulePacks = dropApplied(l, loaded.RulePacks)
}

func dropApplied[T interface{ GetName() string }](l *library, things []T) []T {
	return slices.DeleteFunc(things, func(t T) bool { return l.byPerson(t.GetName()) })
}

// byPerson tells that a person applied what is in force under a name.
func (l *library) byPerson(name string) bool {
	r, known := l.refs[name]
	return known && r.defaults == ""
}
