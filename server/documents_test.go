package main

import (
	"testing"

	"github.com/spf13/cobra"

	"bayround/internal/commandtest"
)

func TestDocuments_NameCommandsThatAreThere(t *testing.T) {
	commandtest.Documents(t, func() *cobra.Command { return newRoot(&console{}) }, 50, "enroll tablet-2", "enrol tablet-2 --days 3", "ca rotat")
}
