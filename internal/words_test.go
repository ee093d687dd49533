package internal_test

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// banned is what no file of ours says. The expressions are put together here so
// that this file does not say it either.
var banned = map[string]*regexp.Regexp{
	"a path of one machine":  regexp.MustCompile(`(^|[^a-zA-Z0-9_.:-])/(` + strings.Join([]string{"work", "root", "home/[a-z]+"}, "|") + `)/`),
	"a host of one registry": regexp.MustCompile(`\b(` + strings.Join([]string{"proxy", "sum", "deb", "registry"}, "|") + `)\.[a-z]+\.(org|com)\b`),
}

func TestWords_NoFileTellsOfOneMachine(t *testing.T) {
	names := files(t)
	if len(names) < 10 {
		t.Fatalf("only %d files were found", len(names))
	}
	for _, name := range names {
		content, err := os.ReadFile(filepath.Join("..", name))
		if err != nil {
			t.Fatal(err)
		}
		for _, wrong := range checkWords(name, content) {
			t.Error(wrong)
		}
	}
}

// checkWords says which lines of a text file hold what is banned, and whether a
// file of Go, a test as any other, is too long or vaguely named.
func checkWords(name string, content []byte) (wrong []string) {
	if bytes.IndexByte(content, 0) >= 0 || strings.HasSuffix(name, ".sum") {
		return nil // no text, or checksums
	}
	lines := bytes.Split(content, []byte("\n"))
	for i, line := range lines {
		for what, expression := range banned {
			if expression.Match(line) {
				wrong = append(wrong, fmt.Sprintf("%s:%d: %s: %s", name, i+1, what, expression.Find(line)))
			}
		}
	}
	if strings.HasSuffix(name, ".go") && !strings.HasSuffix(name, ".pb.go") {
		if len(lines) > longestFile+1 { // the last line ends with a newline
			wrong = append(wrong, fmt.Sprintf("%s: %d lines; %d are the most", name, len(lines)-1, longestFile))
		}
		if vague(filepath.Base(name)) {
			wrong = append(wrong, name+": the name says nothing of what is inside")
		}
	}
	return wrong
}

// files lists what belongs to the tree: what git tracks, or without git
// everything but what is built.
func files(t *testing.T) []string {
	t.Helper()
	list := exec.Command("git", "ls-files", "-z")
	list.Dir = ".."
	if out, err := list.Output(); err == nil {
		return existing(strings.Split(strings.TrimRight(string(out), "\x00"), "\x00"))
	}
	var names []string
	err := filepath.WalkDir("..", func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := strings.TrimPrefix(path, "../")
		if entry.IsDir() && (name == ".git" || name == "build" || name == "data") {
			return filepath.SkipDir
		}
		if entry.Type().IsRegular() {
			names = append(names, name)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return names
}

// existing leaves out what git still tracks but somebody has just removed.
func existing(names []string) (there []string) {
	for _, name := range names {
		if info, err := os.Stat(filepath.Join("..", name)); err == nil && info.Mode().IsRegular() {
			there = append(there, name)
		}
	}
	return there
}

// The checker itself must be able to fail.
func TestWords_TheCheckerFindsWhatIsWrong(t *testing.T) {
	for _, tc := range []struct{ why, name, text, want string }{
		{"all well", "README.md", "data lies in ./data, see docs/wo" + "rk/plan.md and https://example.org/ho" + "me/page/", ""},
		{"the folder of one machine", "README.md", "fine\ncd " + "/wo" + "rk/main", "README.md:2: a path of one machine"},
		{"at the start of a line", "Makefile", "/ro" + "ot/go/bin", "a path of one machine"},
		{"quoted", "a.go", `"` + "/ho" + `me/anna/x"`, "a path of one machine"},
		{"a registry", "Makefile", "GOPROXY=https://pro" + "xy.golang.org", "a host of one registry"},
		{"checksums are left alone", "go.sum", "/wo" + "rk/main", ""},
		{"a long test", "a_test.go", strings.Repeat("\n", longestFile+1), "501 lines"},
		{"a file at the limit", "a_test.go", strings.Repeat("\n", longestFile), ""},
		{"a long generated file", "a.pb.go", strings.Repeat("\n", longestFile+1), ""},
		{"a vague test", "internal/x/helpers_test.go", "package x", "says nothing"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			wrong := strings.Join(checkWords(tc.name, []byte(tc.text)), "; ")
			if (tc.want == "") != (wrong == "") || !strings.Contains(wrong, tc.want) {
				t.Errorf("the checker says %q, want %q", wrong, tc.want)
			}
		})
	}
}
