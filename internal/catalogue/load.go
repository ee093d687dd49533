package catalogue

import (
	"cmp"
	"fmt"
	"slices"

	pb "bayround/proto/bayround/v1"
)

// File is one file as it was given: a name to say in messages, and its bytes.
type File struct {
	Name    string
	Content []byte
}

// Loaded is what a set of files says, put together. Lists are sorted by name;
// the catalogue's stops by their order, its items by the order of their stops
// and, within a stop, of file names and places in the file.
type Loaded struct {
	Stations  []*pb.Station
	Vehicles  []*pb.VehicleConfiguration
	Gauges    []*pb.Gauge
	People    []*pb.Person
	Catalogue *pb.Catalogue // nil when no file holds any of it
	Routines  []*pb.Routine
	RulePacks []*pb.RulePack

	places map[string]*layout // by resource name
}

// Load reads a set of files: parses each, checks it against the rules that stand
// in the proto, puts fragments together and checks the whole for what the set
// alone can tell. The error is a Problems with everything that was found; there
// is no Loaded beside it. What refers to things outside the set is checked by
// Loaded.Check.
func Load(files []File) (*Loaded, error) {
	documents, problems := readAll(files)
	if problems.asError() != nil && documents == nil {
		return nil, problems.sorted()
	}
	merged, more := merge(documents)
	problems = append(problems, more...)
	whole := len(documents) == len(files) // else what seems missing may stand in a file that could not be read
	problems = append(problems, merged.checkCatalogue(whole)...)
	if err := problems.sorted().asError(); err != nil {
		return nil, err
	}
	return merged, nil
}

// readAll parses every file, in the order of their names. It gives no documents
// at all when the set as such is refused.
func readAll(files []File) ([]*document, Problems) {
	total := 0
	for _, f := range files {
		total += len(f.Content)
	}
	if len(files) > maxFiles || total > maxTotalBytes {
		wrong := fmt.Sprintf("%d files with %d bytes are too much for one set", len(files), total)
		right := fmt.Sprintf("at most %d files and %d bytes", maxFiles, maxTotalBytes)
		return nil, Problems{{Wrong: wrong, Right: right}}
	}
	files = slices.Clone(files)
	slices.SortStableFunc(files, func(a, b File) int { return cmp.Compare(a.Name, b.Name) })
	documents := make([]*document, 0, len(files))
	var problems Problems
	for i, f := range files {
		if i > 0 && files[i-1].Name == f.Name {
			problems = append(problems, Problem{File: f.Name, Line: 1, Column: 1, Wrong: "two files have this name", Right: "rename one"})
			continue
		}
		d, found := parse(f)
		problems = append(problems, found...)
		if d != nil {
			documents = append(documents, d)
		}
	}
	return documents, problems
}
