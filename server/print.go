package main

import (
	"bytes"
	"context"
	"os"
	"time"

	"github.com/spf13/cobra"

	"bayround/internal/command"
	"bayround/internal/fault"
	"bayround/internal/paper"
	pb "bayround/proto/bayround/v1"
)

const printHelp = `Lay out one sheet for paper: how a vehicle stands now and why. It holds the verdict, the limits in
force, every finding with what was read, the limit, how sure that is and where the rule comes from,
open defects, what is not proven, room for two signatures, and the signed head of the record.

The sheet is one HTML file that loads nothing; print it from any browser.`

const printExample = `  server print wn21 -o wn21.html
  server print wn21 > wn21.html`

func newPrint(c *console) *cobra.Command {
	var address, output string
	cmd := &cobra.Command{
		Use:     "print VEHICLE",
		Short:   "Lay out a sheet for paper: how a vehicle stands and why",
		Long:    printHelp,
		Example: printExample,
		Args:    exactlyOne("name one vehicle"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return c.asking(address, func(s *remote) error {
				vehicle, err := s.vehicleMeant(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				sheet, err := s.sheet(cmd.Context(), vehicle)
				if err != nil {
					return err
				}
				var page bytes.Buffer
				if err := paper.Write(&page, sheet); err != nil {
					return err
				}
				if output == "" {
					_, err = c.Out.Write(page.Bytes())
					return err
				}
				if err := os.WriteFile(output, page.Bytes(), 0o644); err != nil {
					return command.Misuse("the sheet cannot be written: %w", err)
				}
				c.Say("written to %s", output)
				return nil
			})
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().StringVarP(&output, "output", "o", "", "file to write; to the standard output when left out")
	return cmd
}

// sheet gathers what stands on the sheet of a vehicle.
func (s *remote) sheet(ctx context.Context, vehicle string) (sheet paper.Sheet, err error) {
	sheet.Printed = time.Now()
	all, err := s.readinessOf(ctx, []string{vehicle}, nil)
	if err != nil {
		return sheet, err
	}
	sheet.Readiness = all[0]
	found, err := s.findings(ctx, vehicle)
	if err != nil {
		return sheet, err
	}
	ctx, cancel := patiently(ctx)
	defer cancel()
	for _, f := range found {
		resp, err := s.history.Explain(ctx, &pb.ExplainRequest{Vehicle: vehicle, FindingId: f.GetFindingId()})
		if fault.Is(err, fault.NotFound) { // it is no more, since the moment before
			continue
		}
		if err != nil {
			return sheet, err
		}
		sheet.Explained = append(sheet.Explained, resp.GetExplanation())
	}
	known, err := s.vehicles.GetVehicle(ctx, &pb.GetVehicleRequest{Name: vehicle})
	if err != nil {
		return sheet, err
	}
	sheet.Vehicle = known.GetVehicle()
	head, err := pb.NewJournalServiceClient(s.conn).GetCheckpoint(ctx, &pb.GetCheckpointRequest{})
	if err != nil {
		return sheet, err
	}
	sheet.Checkpoint, sheet.VerifierKey = head.GetCheckpoint(), head.GetVerifierKey()
	return sheet, nil
}
