package main

import (
	"testing"

	"github.com/spf13/cobra"

	"bayround/internal/command"
	"bayround/internal/commandtest"
)

func TestDocuments_NameCommandsThatAreThere(t *testing.T) {
	commandtest.Documents(t, func() *cobra.Command { return newRoot(&command.Console{}) }, 10, "enroll --device tablet-2", "serve --identity x", "forget")
}
