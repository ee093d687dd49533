package main

import (
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/durationpb"

	"bayround/internal/admit"
	"bayround/internal/command"
	"bayround/internal/rpc"
	pb "bayround/proto/bayround/v1"
)

const caHelp = `Tell by which certificate authority the station is known, when its certificate ends, and how a rotation
stands: another authority that takes its place ("server ca rotate"), and who was not renewed since it began.`

func newCA(c *console) *cobra.Command {
	var address string
	cmd := &cobra.Command{
		Use:     "ca",
		Short:   "Tell of the station's certificate authority, and replace it",
		Long:    caHelp,
		Example: "  server ca\n  server ca rotate\n  server ca retire",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return c.asking(address, func(s *remote) error {
				ctx, cancel := patiently(cmd.Context())
				defer cancel()
				resp, err := s.enrolment.GetAuthority(ctx, &pb.GetAuthorityRequest{})
				if err != nil {
					return err
				}
				c.sayAuthority(resp.GetState())
				return nil
			})
		},
	}
	serverFlag(cmd, &address)
	cmd.AddCommand(newCARotate(c), newCARetire(c))
	return cmd
}

const caRotateHelp = `Make another certificate authority, which takes the place of the station's while it serves. Both
count for a while, the overlap: time in which the station runs, whatever its clock shows. Tablets that
are in touch meanwhile are renewed by themselves, within an hour or two, and know both; for another
program run "server renew" where it lies. When the overlap is over, the former authority is retired
and its key is removed. Who was not renewed must then be enrolled or admitted again; what a tablet
recorded is kept and sent after that.

Let the overlap be long enough that every tablet is switched on within it. After a theft of the
station's folder both the thief and you can use the former key until it is retired: --overlap 0
retires it at once, and everybody must enrol again.`

func newCARotate(c *console) *cobra.Command {
	var address string
	var overlap time.Duration
	cmd := &cobra.Command{
		Use:     "rotate",
		Short:   "Have another authority take the place of the station's",
		Long:    caRotateHelp,
		Example: "  server ca rotate\n  server ca rotate --overlap 336h\n  server ca rotate --overlap 0",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if overlap < 0 || overlap > 365*24*time.Hour {
				return command.Misuse("--overlap %s: say how many hours, from 0 to 8760h, which is a year", overlap)
			}
			return c.asking(address, func(s *remote) error {
				ctx, cancel := patiently(cmd.Context())
				defer cancel()
				resp, err := s.enrolment.RotateAuthority(ctx, &pb.RotateAuthorityRequest{Overlap: durationpb.New(overlap)})
				if err != nil {
					return err
				}
				c.sayAuthority(resp.GetState())
				return nil
			})
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().DurationVar(&overlap, "overlap", 60*24*time.Hour, "how long both authorities count, in time that the station serves")
	return cmd
}

func newCARetire(c *console) *cobra.Command {
	var address string
	var leaveOut bool
	cmd := &cobra.Command{
		Use:   "retire",
		Short: "End a rotation before its overlap is over",
		Long: `Retire the former authority now. While somebody was not renewed, that is refused, and who it is said;
with --leave-out they must be enrolled or admitted again.`,
		Example: "  server ca retire\n  server ca retire --leave-out",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return c.asking(address, func(s *remote) error {
				ctx, cancel := patiently(cmd.Context())
				defer cancel()
				resp, err := s.enrolment.RetireAuthority(ctx, &pb.RetireAuthorityRequest{LeaveOut: leaveOut})
				if err != nil {
					return err
				}
				c.sayAuthority(resp.GetState())
				if left := resp.GetLeftOut(); len(left) > 0 {
					c.Say("to be enrolled or admitted again: %s", strings.Join(left, ", "))
				}
				return nil
			})
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().BoolVar(&leaveOut, "leave-out", false, "also when somebody was not renewed yet")
	return cmd
}

// sayAuthority prints how the authorities stand.
func (c *console) sayAuthority(state *pb.AuthorityState) {
	c.Say("known by   %s", state.GetAuthoritySha256())
	if end := state.GetNotAfter(); end != nil { // older stations do not tell
		c.Say("ends       %s", day(end.AsTime()))
	}
	if state.GetNextSha256() == "" {
		c.Say("no other authority takes its place")
		return
	}
	c.Say("next       %s, since %s", state.GetNextSha256(), day(state.GetBegun().AsTime()))
	c.Say("overlap    the former one is retired when the station has served %.0f hours more", state.GetLeft().AsDuration().Hours())
	if len(state.GetWaiting()) == 0 {
		c.Say("everybody who is let in was renewed; server ca retire ends it now")
		return
	}
	c.Say("not renewed yet:")
	rows := [][]string{{"NAME", "ROLE", "UNTIL"}}
	for _, one := range state.GetWaiting() {
		rows = append(rows, []string{one.GetName(), admit.Word(one.GetRole()), day(one.GetNotAfter().AsTime())})
	}
	c.columns(rows)
}

const renewHelp = `Renew the certificate of a program that is no tablet: with the identity that this command is given,
which is replaced by one that lasts longer and knows the station by all authorities that count now. Run it
before the certificate ends, and while another authority takes the place of the station's.`

func newRenew(c *console) *cobra.Command {
	var address string
	cmd := &cobra.Command{
		Use:     "renew",
		Short:   "Renew a program's certificate",
		Long:    renewHelp,
		Example: "  server renew --identity control-room --server station:7443",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if c.identity.plain {
				return command.Misuse("in plain text there is no certificate to renew")
			}
			return c.renew(cmd.Context(), address)
		},
	}
	serverFlag(cmd, &address)
	return cmd
}

func (c *console) renew(ctx context.Context, address string) error {
	wallet, err := c.wallet()
	if err != nil {
		return command.MisusedBy(err)
	}
	conn, err := rpc.DialSecure(address, wallet)
	if err != nil {
		return command.MisusedBy(err)
	}
	defer func() { _ = conn.Close() }() // it has told all it had to tell
	if err := rpc.Renew(ctx, conn, wallet); err != nil {
		return err
	}
	held, err := wallet.Read()
	if err != nil {
		return err
	}
	c.Say("%s is let in until %s", held.Name, day(held.NotAfter))
	return nil
}
