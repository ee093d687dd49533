package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var (
	// told is a command of this program in a document: in a line of its own, or within text.
	told  = regexp.MustCompile("(?m)^ *(?:build/bin/)?server (.*)$|`server ([^`]*)`")
	words = regexp.MustCompile(`"[^"]*"|\S+`)
)

// Each command of this program that a document names is there, with the flags it is named with;
// one that stands in a line of its own can be given as it stands.
func TestDocuments_NameCommandsThatAreThere(t *testing.T) {
	pages, err := filepath.Glob("../docs/*.md")
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, page := range append(pages, "../README.md", "../DEVELOPERS.md", "../CHANGELOG.md") {
		content, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range told.FindAllStringSubmatch(string(content), -1) {
			line, _, _ := strings.Cut(m[1]+m[2], "  ") // a comment may follow
			for _, wrong := range misnamed(line, m[1] != "") {
				t.Errorf("%s: server %s: %s", page, line, wrong)
			}
			checked++
		}
	}
	if checked < 50 {
		t.Errorf("only %d commands were found", checked)
	}
	for _, line := range []string{"enroll tablet-2", "enrol tablet-2 --days 3", "ca rotat"} {
		if len(misnamed(line, true)) == 0 {
			t.Errorf("server %s is taken for a command", line)
		}
	}
}

// misnamed says what is wrong with a command; whole demands its arguments, too.
func misnamed(line string, whole bool) (wrong []string) {
	root := newRoot(&console{})
	root.InitDefaultHelpCmd()
	cmd, rest, err := root.Find(words.FindAllString(line, -1))
	if err == nil {
		err = cmd.ParseFlags(rest)
	}
	if err == nil && (whole || cmd.HasSubCommands()) {
		err = cmd.ValidateArgs(cmd.Flags().Args())
	}
	if err != nil && (whole || !strings.Contains(err.Error(), "needs an argument")) {
		return []string{err.Error()}
	}
	return nil
}
