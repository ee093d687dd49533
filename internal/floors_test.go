// Package internal_test holds the house to its plan: which package may import
// which, what is said and what is left out. There is no code here.
package internal_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"path"
	"slices"
	"strings"
	"testing"
)

const module = "bayround/"

// floors is the picture of the house. A package imports only from the floors
// below its own; one without a floor fails the test.
var floors = map[string]float64{
	"proto/bayround/v1":    -1, // the contract, below the ground floor
	"internal/measure":     0,
	"internal/admit":       0,
	"internal/fault":       0,
	"internal/faultpoint":  0,
	"internal/feature":     0,
	"internal/signature":   0,
	"internal/trend":       0,
	"internal/changeover":  0,
	"internal/stock":       0,
	"internal/deferral":    0.5, // how long a defect may wait; verdicts rest on it
	"internal/catalogue":   1,
	"internal/merkle":      0.5, // a proof of a round rests on it
	"internal/notice":      1,
	"internal/plan":        1,
	"internal/plan/ground": 0,
	"internal/plan/sop":    0,
	"internal/roundproof":  1,
	"internal/rules":       1,
	"internal/schedule":    1,
	"internal/verdict":     1,
	"internal/durable":     1.5, // the mezzanine: the disk, and nothing of the trade
	"internal/journal":     2,
	"internal/access":      2,
	"internal/trust":       2,
	"internal/photo":       2,
	"internal/recordfile":  2,
	"internal/station":     3,
	"internal/notify":      4,
	"internal/round":       4,
	"internal/county":      4, // the demonstration's past; tests use it too
	"internal/rpc":         4,
	"internal/screen":      5,
	"internal/command":     5,
	"internal/paper":       5,
	"internal/roundrecord": 5,
	"server":               6,
	"kiosk":                6,
	"internal/packtest":    7, // for tests alone: above everything that ships
	"internal/stationtest": 7,
	"internal/countytest":  7,
	"internal/commandtest": 7,
	"internal/spoil":       7,
}

// purest is the highest floor without disk, clock, network, log or goroutine.
const purest = 1

// world is something foreign that only its owners may touch. Imports of its paths,
// and of what lies below them, belong to it.
type world struct {
	name   string
	paths  []string
	owners []string
}

// worlds names the owners. Generated code stands beside the owner of codes and
// status, since it answers for calls that nobody implements.
var worlds = []world{
	{"the database", []string{"github.com/dgraph-io/badger"}, []string{"internal/journal"}},
	{
		"gRPC's codes",
		[]string{"google.golang.org/grpc/codes", "google.golang.org/grpc/status"},
		[]string{"internal/rpc", "proto/bayround/v1"},
	},
	{"websockets", []string{"github.com/gorilla/websocket"}, []string{"internal/screen"}},
	{"pages", []string{"html/template"}, []string{"internal/screen", "internal/paper", "internal/roundrecord"}},
	{
		"flags and signals",
		[]string{"flag", "os/signal", "github.com/spf13/cobra", "github.com/spf13/pflag"},
		[]string{"server", "kiosk", "internal/commandtest"},
	},
}

// impure is what floors 0 and 1 do without. The database and the wire are far
// away anyway: nothing they may import leads there.
var impure = []string{"os", "net", "log", "syscall", "io/ioutil", "runtime/debug", "math/rand", "crypto/rand"}

// house is what `go list` says of one package, its path without the module.
type house struct {
	ImportPath string
	Dir        string
	Doc        string
	GoFiles    []string
	Imports    []string
}

func TestFloors_EveryImportPointsDown(t *testing.T) {
	for _, p := range packages(t) {
		for _, wrong := range append(checkFloor(p), checkWorlds(p)...) {
			t.Error(wrong)
		}
	}
}

func TestPackages_SayWhatTheyPromise(t *testing.T) {
	for _, p := range packages(t) {
		if p.Doc == "" {
			t.Errorf("%s has no package comment", p.ImportPath)
		}
		if vague(path.Base(p.ImportPath)) {
			t.Errorf("%s: the name says nothing of what is inside", p.ImportPath)
		}
	}
}

// checkFloor says which imports of p do not point downwards.
func checkFloor(p house) (wrong []string) {
	floor, ok := floors[p.ImportPath]
	if !ok {
		return []string{p.ImportPath + " has no floor; give it one in the map of floors"}
	}
	for _, imported := range p.Imports {
		below, ours := strings.CutPrefix(imported, module)
		switch {
		case ours && floors[below] >= floor:
			wrong = append(wrong, fmt.Sprintf("%s (floor %v) imports %s (floor %v)", p.ImportPath, floor, below, floors[below]))
		case floor <= purest && under(imported, impure):
			wrong = append(wrong, fmt.Sprintf("%s (floor %v, pure) imports %s", p.ImportPath, floor, imported))
		}
	}
	return wrong
}

// checkWorlds says which imports of p belong to another package's world.
func checkWorlds(p house) (wrong []string) {
	for _, w := range worlds {
		if slices.Contains(w.owners, p.ImportPath) {
			continue
		}
		for _, imported := range p.Imports {
			if under(imported, w.paths) {
				wrong = append(wrong, fmt.Sprintf("%s imports %s, but %s belong to %s",
					p.ImportPath, imported, w.name, strings.Join(w.owners, " and ")))
			}
		}
	}
	return wrong
}

// under says whether an import is one of the paths or lies below one.
func under(imported string, paths []string) bool {
	return slices.ContainsFunc(paths, func(root string) bool {
		return imported == root || strings.HasPrefix(imported, root+"/")
	})
}

// vague says whether a name could hold anything.
func vague(name string) bool {
	switch strings.TrimSuffix(strings.TrimSuffix(name, ".go"), "_test") {
	case "util", "utils", "utility", "common", "shared", "helper", "helpers", "type", "types", "misc", "manager", "base":
		return true
	}
	return false
}

// packages asks the go command for every package of ours that ships code. What
// does not build is listed too (-e): the build says so better than this can.
func packages(t *testing.T) []house {
	t.Helper()
	list := exec.Command("go", "list", "-e", "-json=ImportPath,Dir,Doc,GoFiles,Imports", "./...")
	list.Dir = ".."
	var stderr bytes.Buffer
	list.Stderr = &stderr
	out, err := list.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, stderr.Bytes())
	}
	var found []house
	for stream := json.NewDecoder(bytes.NewReader(out)); ; {
		var p house
		if err := stream.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("reading what go list said: %v", err)
		}
		p.ImportPath = strings.TrimPrefix(p.ImportPath, module)
		if len(p.GoFiles) > 0 && !strings.HasPrefix(p.ImportPath, "build/") {
			found = append(found, p)
		}
	}
	if len(found) < 3 {
		t.Fatalf("go list found only %d packages", len(found))
	}
	return found
}

// The checker itself must be able to fail.
func TestFloors_TheCheckerFindsWhatIsWrong(t *testing.T) {
	for _, tc := range []struct {
		why     string
		pkg     string
		imports []string
		want    string // part of the complaint; empty when all is well
	}{
		{"down is right", "internal/rules", []string{"bayround/internal/measure", "strings"}, ""},
		{"up", "internal/measure", []string{"bayround/internal/rules"}, "internal/measure (floor 0) imports internal/rules (floor 1)"},
		{"sideways", "internal/plan", []string{"bayround/internal/catalogue"}, "(floor 1) imports internal/catalogue (floor 1)"},
		{"tests' own package in shipped code", "server", []string{"bayround/internal/stationtest"}, "internal/stationtest"},
		{"no floor", "internal/attic", nil, "internal/attic has no floor"},
		{"disk on a pure floor", "internal/verdict", []string{"os"}, "pure) imports os"},
		{"below a banned path", "internal/verdict", []string{"log/slog"}, "pure) imports log/slog"},
		{"only the same beginning", "internal/verdict", []string{"osprey"}, ""},
		{"disk above", "internal/journal", []string{"os", "log/slog"}, ""},
		{"database outside the journal", "internal/station", []string{"github.com/dgraph-io/badger/v4"}, "the database belong"},
		{"database in the journal", "internal/journal", []string{"github.com/dgraph-io/badger/v4/options"}, ""},
		{"codes below the rpc floor", "internal/station", []string{"google.golang.org/grpc/codes"}, "gRPC's codes"},
		{"pages in rpc", "internal/rpc", []string{"html/template"}, "internal/screen"},
		{"flags below the mains", "internal/rpc", []string{"flag"}, "server and kiosk"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			p := house{ImportPath: tc.pkg, Imports: tc.imports}
			wrong := strings.Join(append(checkFloor(p), checkWorlds(p)...), "; ")
			if (tc.want == "") != (wrong == "") || !strings.Contains(wrong, tc.want) {
				t.Errorf("the checker says %q, want %q", wrong, tc.want)
			}
		})
	}
}
