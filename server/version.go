package main

import (
	"runtime/debug"

	"github.com/spf13/cobra"
)

func newVersion(c *console) *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Say which version this is",
		Long:  "Say which version this is, from which change it was built, and with which Go.",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			info, ok := debug.ReadBuildInfo()
			if !ok {
				c.say("bayround, built without a record of how")
				return nil
			}
			c.say("bayround %s", info.Main.Version)
			for _, s := range info.Settings {
				if s.Key == "vcs.revision" || s.Key == "vcs.time" || s.Key == "vcs.modified" {
					c.say("%s %s", s.Key, s.Value)
				}
			}
			c.say("%s", info.GoVersion)
			return nil
		},
	}
}
