package main

import (
	"strings"

	"github.com/spf13/cobra"

	"bayround/internal/command"
)

func newVersion(c *console) *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Say which version this is",
		Long:  "Say which version this is, from which change it was built, and with which Go.",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			c.Say("%s", strings.Join(command.Version(), "\n"))
			return nil
		},
	}
}
