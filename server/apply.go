package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

const applyHelp = `Tell the station vehicles, people, gauges, its own habits, items, routines or rules, from
YAML files. Of a folder every .yaml and .yml file is read, those of its folders too, except
folders named "rounds" (those are for play).

All files together are taken or refused. What would change is shown first, then put in force.
A refusal lists all that is wrong with file, line and column, and what would be right; what
was in force before stays.`

const applyExample = `  server apply testdata/demo               a whole county
  server apply vehicles/wn11.yaml --check  only check, and say what would change`

// roundsFolder holds round files, which are no configuration.
const roundsFolder = "rounds"

func newApply(c *console) *cobra.Command {
	var address string
	var check bool
	cmd := &cobra.Command{
		Use:     "apply FILE|FOLDER…",
		Short:   "Tell the station its vehicles, people, gauges, items and rules",
		Long:    applyHelp,
		Example: applyExample,
		Args:    atLeastOne("name the files or folders to apply"),
		RunE: func(cmd *cobra.Command, args []string) error {
			files, err := configuration(args)
			if err != nil {
				return err
			}
			return c.asking(address, func(s *remote) error { return s.apply(cmd.Context(), c, files, check) })
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().BoolVar(&check, "check", false, "only check, and say what would change")
	return cmd
}

// atLeastOne demands an argument, in words that say which.
func atLeastOne(words string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) == 0 {
			return errors.New(words)
		}
		return nil
	}
}

// configuration reads the files and folders that a person named.
func configuration(names []string) ([]*pb.NamedFile, error) {
	var files []*pb.NamedFile
	for _, name := range names {
		err := filepath.WalkDir(name, func(path string, entry fs.DirEntry, err error) error {
			switch {
			case err != nil:
				return err
			case entry.IsDir() && entry.Name() == roundsFolder && path != name:
				return fs.SkipDir
			case entry.IsDir() || (path != name && !isYAML(path)):
				return nil
			}
			content, err := os.ReadFile(path) //nolint:gosec // the person named it
			files = append(files, &pb.NamedFile{FileName: path, Content: content})
			return err
		})
		if err != nil {
			return nil, command.Misuse("reading the files: %w", err)
		}
	}
	if len(files) == 0 {
		return nil, command.Misuse("there is no .yaml file in %v", names)
	}
	return files, nil
}

// apply shows what files would change and, unless only a check was asked for,
// puts them in force.
func (s *remote) apply(ctx context.Context, c *console, files []*pb.NamedFile, check bool) error {
	would, err := s.send(ctx, files, true)
	if err != nil {
		return err
	}
	if differs := showChanges(c, would.GetChanges()); check || !differs {
		return nil
	}
	done, err := s.send(ctx, files, false)
	if err != nil {
		return err
	}
	c.Say("in force since event %d", done.GetSequence())
	return nil
}

func (s *remote) send(ctx context.Context, files []*pb.NamedFile, check bool) (*pb.ApplyResponse, error) {
	ctx, cancel := patiently(ctx)
	defer cancel()
	return s.vehicles.Apply(ctx, &pb.ApplyRequest{RequestId: uuid.NewString(), Files: files, ValidateOnly: check})
}

// showChanges says what files do, and reports whether they do anything.
func showChanges(c *console, changes []*pb.Change) (differs bool) {
	same := 0
	for _, change := range changes {
		switch change.GetKind() {
		case pb.ChangeKind_CHANGE_KIND_SAME:
			same++
			continue
		case pb.ChangeKind_CHANGE_KIND_ADDED:
			c.Say("new      %s", change.GetName())
		default:
			c.Say("changed  %s", change.GetName())
		}
		differs = true
		for _, detail := range change.GetDetails() {
			c.Say("           %s", detail)
		}
	}
	c.Say("%s", sameWords(same, differs))
	return differs
}

func sameWords(same int, differs bool) string {
	if !differs {
		return "nothing changes"
	}
	return fmt.Sprintf("%d as before", same)
}
