package main

import (
	"context"

	"github.com/spf13/cobra"

	pb "bayround/proto/bayround/v1"
)

const rehearseHelp = `Say what rule packs would have changed, had they been in force all along: the station judges
its whole record anew under the packs of the files and tells which verdicts would have been
others, when, of which vehicle and why. Packs that are not in the files stay as they are.

Nothing is put in force and nothing is recorded. To put the packs in force: server apply.

A mistake in a file is said with file, line and column, and ends with exit code 3.`

const rehearseExample = `  server rehearse my-rules/packs/gb-use/tyres-and-wheels.yaml
  server rehearse my-rules/                   every file of the folder`

func newRehearse(c *console) *cobra.Command {
	var address string
	cmd := &cobra.Command{
		Use:     "rehearse FILE…",
		Short:   "Say which verdicts other rule packs would have changed",
		Long:    rehearseHelp,
		Example: rehearseExample,
		Args:    atLeastOne("name the files or folders with the rule packs to rehearse"),
		RunE: func(cmd *cobra.Command, args []string) error {
			files, err := configuration(args)
			if err != nil {
				return err
			}
			return c.asking(address, func(s *remote) error { return s.rehearse(cmd.Context(), c, files) })
		},
	}
	serverFlag(cmd, &address)
	return cmd
}

// rehearse prints what files would have changed. Going through a whole record
// takes as long as it takes; Ctrl-C ends it.
func (s *remote) rehearse(ctx context.Context, c *console, files []*pb.NamedFile) error {
	stream, err := s.history.Rehearse(ctx, &pb.RehearseRequest{Files: files})
	if err != nil {
		return err
	}
	return changes(c, stream)
}
