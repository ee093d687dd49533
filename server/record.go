package main

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"bayround/internal/command"
	"bayround/internal/roundrecord"
)

const recordHelp = `Lay out what is kept of one round: vehicle, times, driver and assistant, every answer beside its
limit, findings with the source of the rule, what was not checked and why, where no defect was
found, the verdict that was shown and the one of now, and its place in the record.

html is one page that loads nothing: print it from any browser, to paper or to PDF. csv and
jsonl hold one line for each value, with the unit in the name of the column.

proof is a file that proves itself to whoever cannot ask the station: the events of the round as
the record keeps them, each with the proof that it stands there, and what the station signed.
"server verify-record" reads it. It names people by their ids alone.

-o takes one of these words, or a file whose ending says which. "server records" finds rounds.`

const recordExample = `  server record 0d6f1f0e-8f0c-4c38-9c8c-0c7d0b2f8a11 -o round.html
  server record 0d6f1f0e-8f0c-4c38-9c8c-0c7d0b2f8a11 -o csv > round.csv
  server record 0d6f1f0e-8f0c-4c38-9c8c-0c7d0b2f8a11 -o round.proof`

func newRecord(c *console) *cobra.Command {
	var address, output string
	cmd := &cobra.Command{
		Use:     "record ROUND",
		Short:   "Lay out what is kept of a round, for paper or for other programs",
		Long:    recordHelp,
		Example: recordExample,
		Args:    exactlyOne("name one round"),
		RunE: func(cmd *cobra.Command, args []string) error {
			kind, file, err := recordOutput(output)
			if err != nil {
				return err
			}
			return c.asking(address, func(s *remote) error {
				page, err := s.recordAs(cmd.Context(), inCollection("rounds", args[0]), kind)
				if err != nil {
					return err
				}
				return c.put(file, page)
			})
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().StringVarP(&output, "output", "o", "html", "html, csv, jsonl, proof, or a file that ends so")
	return cmd
}

// layouts are the ways in which rounds are written.
var layouts = map[string]func(io.Writer, ...*roundrecord.Record) error{
	"html":  func(w io.Writer, r ...*roundrecord.Record) error { return roundrecord.WriteHTML(w, r[0]) },
	"csv":   roundrecord.WriteCSV,
	"jsonl": roundrecord.WriteJSONL,
}

// proof is the layout that is not of what the station says, but of what it has signed.
const proof = "proof"

// recordOutput is what -o asks for, and the file; empty for the standard output.
func recordOutput(output string) (kind, file string, err error) {
	if layouts[output] != nil || output == proof {
		return output, "", nil
	}
	kind = strings.TrimPrefix(filepath.Ext(output), ".")
	if layouts[kind] == nil && kind != proof {
		return "", "", command.Misuse("-o %q: say html, csv, jsonl or proof, or a file that ends in .html, .csv, .jsonl or .proof", output)
	}
	return kind, output, nil
}

// recordAs is a round, laid out.
func (s *remote) recordAs(ctx context.Context, round, kind string) ([]byte, error) {
	if kind == proof {
		return s.proofOf(ctx, round)
	}
	g := gathering{station: s}
	record, err := g.record(ctx, round)
	if err != nil {
		return nil, err
	}
	var page bytes.Buffer
	err = layouts[kind](&page, record)
	return page.Bytes(), err
}

// put writes what was made into a file, or to the standard output when none is named.
func (c *console) put(file string, content []byte) error {
	if file == "" {
		_, err := c.Out.Write(content)
		return err
	}
	// It tells who did what: it is for whoever asked.
	if err := os.WriteFile(file, content, 0o600); err != nil {
		return command.Misuse("the file cannot be written: %w", err)
	}
	c.Say("written to %s", file)
	return nil
}
