package internal_test

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"bayround/internal/catalogue"
	"bayround/internal/rules"
)

// What the documents show as a file to apply can be applied: each block of YAML
// is taken together with the data that comes with Bayround and the demo county.
func TestDocuments_ExamplesAreTaken(t *testing.T) {
	for _, document := range []string{"README.md", "DEVELOPERS.md"} {
		blocks := yamlBlocks(t, document)
		if len(blocks) == 0 {
			t.Errorf("%s shows no example", document)
		}
		for i, block := range blocks {
			name := fmt.Sprintf("%s, example %d", document, i+1)
			if err := take(append(county(t), catalogue.File{Name: name, Content: []byte(block)})); err != nil {
				t.Errorf("%s is refused: %v", name, err)
			}
		}
	}
	broken := catalogue.File{Name: "broken", Content: []byte("vehicles:\n  - name: vehicles/v0\n")}
	if take(append(county(t), broken)) == nil {
		t.Error("a vehicle with nothing but a name is taken too")
	}
}

var link = regexp.MustCompile(`\]\(([^)#:]+)\)`)

// Where the documents lead to within the repository there is something, and each page of
// docs can be reached from README.md.
func TestDocuments_LeadSomewhereAndAreFound(t *testing.T) {
	found := map[string]bool{}
	var follow func(document string)
	follow = func(document string) {
		if found[document] {
			return
		}
		found[document] = true
		content, err := os.ReadFile(filepath.Join("..", document))
		if err != nil {
			t.Error(err)
			return
		}
		for _, to := range link.FindAllStringSubmatch(string(content), -1) {
			next := filepath.Join(filepath.Dir(document), to[1])
			if filepath.Ext(next) == ".md" {
				follow(next)
			} else if _, err := os.Stat(filepath.Join("..", next)); err != nil {
				t.Errorf("%s leads to %s: %v", document, to[1], err)
			}
		}
	}
	follow("README.md")
	pages, err := filepath.Glob("../docs/*.md")
	if err != nil || len(pages) == 0 {
		t.Fatalf("%d pages, %v", len(pages), err)
	}
	for _, page := range pages {
		if !found[filepath.Join("docs", filepath.Base(page))] {
			t.Errorf("nobody who begins at README.md finds docs/%s", filepath.Base(page))
		}
	}
}

// take does what applying a set of files would.
func take(files []catalogue.File) error {
	loaded, err := catalogue.Load(files)
	if err != nil {
		return err
	}
	if problems := loaded.Check(library(loaded)); len(problems) > 0 {
		return problems
	}
	engine, err := rules.Compile(loaded.RulePacks, loaded.Catalogue)
	if err != nil {
		return err
	}
	for _, v := range loaded.Vehicles {
		if _, err := engine.For(v); err != nil {
			return fmt.Errorf("%s: %w", v.GetName(), err)
		}
	}
	return nil
}

func library(l *catalogue.Loaded) *catalogue.Library {
	return &catalogue.Library{
		Catalogue: l.Catalogue,
		Routines:  byName(l.Routines),
		Packs:     byName(l.RulePacks),
		Stations:  byName(l.Stations),
		Vehicles:  byName(l.Vehicles),
		Gauges:    byName(l.Gauges),
		People:    byName(l.People),
	}
}

func byName[T interface{ GetName() string }](list []T) map[string]T {
	named := make(map[string]T, len(list))
	for _, one := range list {
		named[one.GetName()] = one
	}
	return named
}

// county is the default data and the stations, people and gauges of the demo.
func county(t *testing.T) []catalogue.File {
	t.Helper()
	files := catalogue.Defaults()
	for _, name := range []string{"stations.yaml", "people.yaml", "gauges.yaml"} {
		content, err := os.ReadFile(filepath.Join("..", "testdata", "demo", name))
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, catalogue.File{Name: name, Content: content})
	}
	return files
}

// yamlBlocks are the fenced blocks of a document that are marked as YAML.
func yamlBlocks(t *testing.T, document string) (blocks []string) {
	t.Helper()
	content, err := os.ReadFile(filepath.Join("..", document))
	if err != nil {
		t.Fatal(err)
	}
	const fence = "```"
	parts := strings.Split(string(content), "\n"+fence+"yaml\n")
	for _, part := range parts[1:] {
		block, _, closed := strings.Cut(part, "\n"+fence)
		if !closed {
			t.Fatalf("%s: a block is not closed", document)
		}
		blocks = append(blocks, block+"\n")
	}
	return blocks
}
