package main

import (
	"context"
	"encoding/hex"
	"strings"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/command"
	"bayround/internal/signature"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

const signHelp = `An officer in charge signs a round that its driver has finished, as another person. Which rounds need
it says the routine; "server records --unsigned" names those that wait for it.

First it says what would be signed, and how to sign exactly that: with --seen and the mark it prints.
When anything has changed by then, the mark is another one, and nothing is signed. The record says
that the officer was named by this program's certificate.`

func newSign(c *console) *cobra.Command {
	var server, person, seen string
	cmd := &cobra.Command{
		Use:     "sign ROUND",
		Short:   "Sign a finished round as the officer in charge",
		Long:    signHelp,
		Example: "  server sign 0d6f1f0e-8f0c-4c38-9c8c-0c7d0b2f8a11 --person osgarry",
		Args:    exactlyOne("name one round"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if person == "" {
				return command.Misuse("say who signs with --person")
			}
			return c.asking(server, func(s *remote) error {
				return s.sign(cmd.Context(), c, inCollection("rounds", args[0]), inCollection("people", person), seen)
			})
		},
	}
	serverFlag(cmd, &server)
	cmd.Flags().StringVar(&person, "person", "", "officer who signs")
	cmd.Flags().StringVar(&seen, "seen", "", "mark of what was looked at, as this command prints it")
	return cmd
}

func (s *remote) sign(ctx context.Context, c *console, name, person, seen string) error {
	g := gathering{station: s}
	record, err := g.record(ctx, name)
	if err != nil {
		return err
	}
	calling, cancel := patiently(ctx)
	defer cancel()
	resp, err := s.rounds.GetRoundContent(calling, &pb.GetRoundContentRequest{Name: name})
	if err != nil {
		return err
	}
	content, shown := resp.GetContent(), signature.Shown(record.Now, record.Round.GetPlanDigest(), record.ClosingNote())
	mark := hex.EncodeToString(signature.Of(content, shown, nil))[:16]
	if seen != mark {
		c.Say("%s, %s: driver %s, %s; %d of %d steps answered, %d of them as not checked", lastPart(content.GetVehicle()), lastPart(content.GetRoutine()),
			lastPart(content.GetDriver()), record.State(), record.Round.GetAnswered(), record.Round.GetSteps(), record.Round.GetNotChecked())
		c.Say("signed so far: %s", record.SignedWords())
		c.Say("the vehicle now: %s", verdict.OneLine(verdict.Said(record.Now)))
		for _, why := range shown.GetReasons() {
			c.Say("  %s", why)
		}
		if seen != "" {
			return command.Misuse("nothing was signed: --seen %s is the mark of something else; this has the mark %s now", seen, mark)
		}
		c.Say("to sign exactly this: server sign %s --person %s --seen %s", lastPart(name), lastPart(person), mark)
		return nil
	}
	by := &pb.Signature{Person: person, SignedAs: pb.Role_ROLE_OFFICER, DeviceTime: timestamppb.Now(), Proof: pb.Proof_PROOF_CERTIFICATE}
	by.StatementSha256 = signature.Of(content, shown, by)
	signed, err := s.rounds.SignRound(calling, &pb.SignRoundRequest{RequestId: uuid.NewString(), Round: name, Signature: by, Shown: shown})
	if err != nil {
		return err
	}
	var who []string
	for _, by := range signed.GetRound().GetSignatures() {
		who = append(who, lastPart(by.GetPerson()))
	}
	c.Say("signed; the round bears the signatures of: %s", strings.Join(who, ", "))
	return nil
}
