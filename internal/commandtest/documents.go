// Package commandtest holds the documents to the command lines of the programs. Tests alone
// import it.
package commandtest

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

var words = regexp.MustCompile(`"[^"]*"|\S+`)

// Documents demands that each command of a program that a document names is there, with the
// flags it is named with, and that one that stands in a line of its own can be given as it
// stands. There must be at least so many, and each of the lines that are wrong must be found
// wrong. It is called in the folder of the program.
func Documents(t *testing.T, root func() *cobra.Command, least int, wrong ...string) {
	t.Helper()
	pages, err := filepath.Glob("../docs/*.md")
	if err != nil {
		t.Fatal(err)
	}
	program := root().Name()
	// In a line of its own, or within text.
	told := regexp.MustCompile("(?m)^ *(?:build/bin/)?" + program + " (.*)$|`" + program + " ([^`]*)`")
	checked := 0
	for _, page := range append(pages, "../README.md", "../DEVELOPERS.md", "../CHANGELOG.md") {
		content, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range told.FindAllStringSubmatch(string(content), -1) {
			line, _, _ := strings.Cut(m[1]+m[2], "  ") // a comment may follow
			if err := misnamed(root(), line, m[1] != ""); err != nil {
				t.Errorf("%s: %s %s: %v", page, program, line, err)
			}
			checked++
		}
	}
	if checked < least {
		t.Errorf("only %d commands were found", checked)
	}
	for _, line := range wrong {
		if misnamed(root(), line, true) == nil {
			t.Errorf("%s %s is taken for a command", program, line)
		}
	}
}

// misnamed says what is wrong with a command; whole demands its arguments, too.
func misnamed(root *cobra.Command, line string, whole bool) error {
	root.InitDefaultHelpCmd()
	cmd, rest, err := root.Find(words.FindAllString(line, -1))
	if err == nil {
		err = cmd.ParseFlags(rest)
	}
	if err == nil && (whole || cmd.HasSubCommands()) {
		err = cmd.ValidateArgs(cmd.Flags().Args())
	}
	if err != nil && !whole && strings.Contains(err.Error(), "needs an argument") {
		return nil
	}
	return err
}
