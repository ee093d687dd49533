package internal_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// raceFree is the line of the Makefile that names the packages whose tests run without
// the race detector.
var raceFree = regexp.MustCompile(`(?m)^RACE_FREE := (.+)$`)

// startsGoroutines are the methods by which tests and their code start goroutines
// without a go statement.
var startsGoroutines = []string{"Go", "Parallel", "RunParallel", "AfterFunc"}

// What runs without the race detector must have nothing for it to find: no goroutine
// in the package, nor in its tests.
func TestRaceFree_StartsNoGoroutine(t *testing.T) {
	makefile, err := os.ReadFile(filepath.Join("..", "Makefile"))
	if err != nil {
		t.Fatal(err)
	}
	line := raceFree.FindSubmatch(makefile)
	if line == nil {
		t.Fatal("the Makefile has no line RACE_FREE := …")
	}
	for _, name := range strings.Fields(string(line[1])) {
		pkg := "internal/" + name
		if floor, known := floors[pkg]; !known || floor > purest && pkg != "internal/packtest" {
			t.Errorf("%s is no pure package; its tests belong under the race detector", pkg)
		}
		files, err := filepath.Glob(filepath.Join(name, "*.go"))
		if err != nil || len(files) == 0 {
			t.Fatalf("%s has no files: %v", pkg, err)
		}
		for _, file := range files {
			content, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			for _, wrong := range goroutinesIn(t, file, string(content)) {
				t.Error(wrong)
			}
		}
	}
}

// goroutinesIn says where a file starts a goroutine.
func goroutinesIn(t *testing.T, name, content string) (wrong []string) {
	t.Helper()
	set := token.NewFileSet()
	tree, err := parser.ParseFile(set, name, content, 0)
	if err != nil {
		t.Fatal(err)
	}
	ast.Inspect(tree, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			wrong = append(wrong, fmt.Sprintf("%s: a goroutine, without the race detector", set.Position(n.Pos())))
		case *ast.CallExpr:
			if called, ok := n.Fun.(*ast.SelectorExpr); ok && slices.Contains(startsGoroutines, called.Sel.Name) {
				wrong = append(wrong, fmt.Sprintf("%s: %s starts a goroutine, without the race detector", set.Position(n.Pos()), called.Sel.Name))
			}
		}
		return true
	})
	return wrong
}

// oneByOne and longest are the lines that name the tests which run without the race
// detector, and the only packages in which they are run so.
var (
	oneByOne = regexp.MustCompile(`(?m)^ONE_BY_ONE := (.+)$`)
	longest  = regexp.MustCompile(`(?m)^LONGEST := (.+)$`)
	bySide   = regexp.MustCompile(`(?m)^SIDE_BY_SIDE := (.+)$`)
	testName = regexp.MustCompile(`(?m)^func (Test\w+)\(`)
)

// What is left out under the race detector must run without it: every test that the
// pattern fits is in a package where that is done.
func TestOneByOne_NoTestIsLeftOutOfBothRuns(t *testing.T) {
	makefile, err := os.ReadFile(filepath.Join("..", "Makefile"))
	if err != nil {
		t.Fatal(err)
	}
	pattern, packages, side := oneByOne.FindSubmatch(makefile), longest.FindSubmatch(makefile), bySide.FindSubmatch(makefile)
	if pattern == nil || packages == nil || side == nil {
		t.Fatal("the Makefile has no line ONE_BY_ONE := …, LONGEST := … or SIDE_BY_SIDE := …")
	}
	raced := regexp.MustCompile(strings.ReplaceAll(string(side[1]), "$$", "$"))
	left := regexp.MustCompile(strings.ReplaceAll(string(pattern[1]), "$$", "$"))
	again, seen := strings.Fields(string(packages[1])), 0
	err = filepath.WalkDir(".", func(path string, _ fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		content, err := os.ReadFile(path)
		for _, name := range testName.FindAllSubmatch(content, -1) {
			pkg := filepath.ToSlash(filepath.Join("internal", filepath.Dir(path)))
			if raced.Match(name[1]) && slices.Contains(raceFreePackages(makefile), pkg) && pkg != "internal/county" {
				t.Errorf("%s of %s is run neither with the race detector nor without it", name[1], pkg)
			}
			if left.Match(name[1]) && !slices.Contains(raceFreePackages(makefile), pkg) {
				seen++
				if !slices.Contains(again, "./"+pkg) {
					t.Errorf("%s of %s is run neither with the race detector nor without it", name[1], pkg)
				}
			}
		}
		return err
	})
	if err != nil || seen == 0 {
		t.Fatalf("%d tests fit, %v", seen, err)
	}
}

// raceFreePackages are the packages that run whole without the race detector.
func raceFreePackages(makefile []byte) (packages []string) {
	for _, name := range strings.Fields(string(raceFree.FindSubmatch(makefile)[1])) {
		packages = append(packages, "internal/"+name)
	}
	return append(packages, "internal/county")
}

// The checker itself must be able to fail.
func TestRaceFree_TheCheckerFindsGoroutines(t *testing.T) {
	for body, want := range map[string]int{
		"go f()": 1, "w.Go(f)": 1, "t.Parallel()": 1, "b.RunParallel(f); go f()": 2, "f(); w.Going()": 0,
	} {
		if got := goroutinesIn(t, "x.go", "package x\n\nfunc y() { "+body+" }\n"); len(got) != want {
			t.Errorf("%s: the checker finds %v, want %d", body, got, want)
		}
	}
}
