package main

import (
	"context"
	"encoding/hex"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"bayround/internal/admit"
	"bayround/internal/command"
	"bayround/internal/roundrecord"
	"bayround/internal/rpc"
	"bayround/internal/trust"
	pb "bayround/proto/bayround/v1"
)

const enrolHelp = `Make a code with which one tablet enrols itself at the station: it works once, for 15 minutes, and
bears five wrong tries. What is to be typed at the tablet is printed. The long number is the
SHA-256 of the public key of the station's authority: by it the tablet knows that it speaks to this
station and no other, so carry it there on paper or by eye, not by a message that others could change.

A tablet whose certificate was revoked or has ended is enrolled in the same way, under its old name
and in its old folder: what it recorded meanwhile is kept and sent then. The certificate it had before is void.`

func newEnrol(c *console) *cobra.Command {
	var address string
	cmd := &cobra.Command{
		Use:     "enrol DEVICE",
		Short:   "Make a code with which a tablet enrols itself",
		Long:    enrolHelp,
		Example: "  server enrol tablet-2",
		Args:    exactly(1, "name the tablet: server enrol tablet-2"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return c.asking(address, func(s *remote) error { return s.enrol(cmd.Context(), c, address, args[0]) })
		},
	}
	serverFlag(cmd, &address)
	return cmd
}

// exactly demands so many arguments, in words that say which.
func exactly(n int, words string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) != n {
			return command.Misuse("%s", words)
		}
		return nil
	}
}

func (s *remote) enrol(ctx context.Context, c *console, address, device string) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	opened, err := s.enrolment.OpenEnrolment(ctx, &pb.OpenEnrolmentRequest{Device: device})
	if err != nil {
		return err
	}
	c.Say("On the tablet, before %s:\n", opened.GetExpires().AsTime().Local().Format("15:04"))
	c.Say("  kiosk enrol --device %s --station %s \\\n    --station-sha256 %s\n", device, address, opened.GetAuthoritySha256())
	if rpc.Loopback(address) {
		c.Say("(%s is this machine; from another one the station has another address)\n", address)
	}
	c.Say("It asks for this code, which works once:\n\n  %s", opened.GetCode())
	return nil
}

const admitHelp = `Let a program that is no tablet call the station: make a key here, have the station sign a certificate
for it, and put both, with the certificate of the station's authority, into a folder. Carry that folder
to where the program runs, and let nobody else read it. Of several admissions in one name the
newest counts. The certificate lasts a year.`

type admitFlags struct {
	address, role, out string
}

func newAdmit(c *console) *cobra.Command {
	var f admitFlags
	cmd := &cobra.Command{
		Use:     "admit NAME --role ROLE -o FOLDER",
		Short:   "Give a program a certificate",
		Long:    admitHelp,
		Example: "  server admit control-room --role system -o control-room\n  server admit workshop-desk --role workshop -o workshop-desk",
		Args:    exactly(1, "name the program: server admit control-room --role system -o control-room"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return c.asking(f.address, func(s *remote) error { return s.admit(cmd.Context(), c, args[0], f) })
		},
	}
	serverFlag(cmd, &f.address)
	cmd.Flags().StringVar(&f.role, "role", "", "what it is: system, workshop, officer or administrator; server roles says what each may")
	cmd.Flags().StringVarP(&f.out, "out", "o", "", "folder to put ca.pem, cert.pem and key.pem into")
	return cmd
}

func (s *remote) admit(ctx context.Context, c *console, name string, f admitFlags) error {
	role, known := admit.RoleOf(f.role)
	if !known || role == pb.ClientRole_CLIENT_ROLE_TABLET {
		return command.Misuse("--role %q: say system, workshop, officer or administrator; a tablet is enrolled with server enrol", f.role)
	}
	if f.out == "" {
		return command.Misuse("say with -o into which folder the certificate goes")
	}
	if _, err := os.Stat(trust.FilesIn(f.out).Cert); err == nil {
		return command.Misuse("%s holds an identity already; name another folder, or remove it first", f.out)
	}
	a, err := trust.NewApplicant()
	if err != nil {
		return err
	}
	ctx, cancel := patiently(ctx)
	defer cancel()
	resp, err := s.enrolment.Admit(ctx, &pb.AdmitRequest{Name: name, Role: role, CertificateRequest: a.Request()})
	if err != nil {
		return err
	}
	if err := a.Keep(f.out, resp); err != nil {
		return err
	}
	c.Say("%s may call the station as %s, with ca.pem, cert.pem and key.pem of %s", name, f.role, f.out)
	return nil
}

const revokeHelp = `Let a tablet or another program in no more, from this moment on: its calls are refused, and its open
streams are ended. What a tablet recorded stays on it, and is sent when it has been enrolled again.

A tablet that was stolen also holds the hashes of the PINs of the station's people: have them choose new ones.`

func newRevoke(c *console) *cobra.Command {
	var address, reason string
	cmd := &cobra.Command{
		Use:     "revoke NAME",
		Short:   "Let a tablet or a program in no more",
		Long:    revokeHelp,
		Example: `  server revoke tablet-2 --reason "left in the yard"`,
		Args:    exactly(1, "name the tablet or program; server clients lists them"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return c.asking(address, func(s *remote) error {
				ctx, cancel := patiently(cmd.Context())
				defer cancel()
				if _, err := s.enrolment.Revoke(ctx, &pb.RevokeRequest{Name: args[0], Reason: reason}); err != nil {
					return err
				}
				c.Say("%s is let in no more", args[0])
				return nil
			})
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().StringVar(&reason, "reason", "", "why, for the record and for whoever stands before the tablet")
	return cmd
}

const clientsHelp = `List everybody who was ever let in: as what, until when the certificate lasts, and who was revoked and why.

With a name: what the record holds that this tablet or program sent, by the certificate that the station
saw, whatever device the commands named – after a theft, for instance, by the certificate that was
stolen. "server record" lays out each of the rounds.`

func newClients(c *console) *cobra.Command {
	var address, since string
	cmd := &cobra.Command{
		Use:     "clients [NAME]",
		Short:   "List the tablets and programs that were let in, or what one of them sent",
		Long:    clientsHelp,
		Example: "  server clients\n  server clients tablet-2 --since 2026-11-01",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return c.asking(address, func(s *remote) error {
				if len(args) == 1 {
					return c.saySent(cmd.Context(), s, args[0], since)
				}
				ctx, cancel := patiently(cmd.Context())
				defer cancel()
				resp, err := s.enrolment.ListClients(ctx, &pb.ListClientsRequest{})
				if err != nil {
					return err
				}
				showClients(c, resp.GetClients())
				return nil
			})
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().StringVar(&since, "since", "", "with a name: only what was recorded from this day on, as 2026-11-30")
	return cmd
}

func showClients(c *console, clients []*pb.Client) {
	rows := [][]string{{"NAME", "ROLE", "LET IN", "UNTIL", "CERTIFICATE", ""}}
	for _, one := range clients {
		ended := ""
		if one.GetRevoked() != nil {
			ended = strings.TrimSpace("revoked " + day(one.GetRevoked().AsTime()) + " " + one.GetReason())
		}
		rows = append(rows, []string{one.GetName(), admit.Word(one.GetRole()), day(one.GetAdmitted().AsTime()), day(one.GetNotAfter().AsTime()), shortened(one.GetCertificateSha256()), ended})
	}
	c.columns(rows)
}

// shortened is the SHA-256 of a certificate, in hex, as the record's pages show it.
func shortened(certificate string) string {
	sum, err := hex.DecodeString(certificate)
	if err != nil || len(sum) == 0 {
		return "-"
	}
	return roundrecord.Fingerprint(sum)
}

func newRoles(c *console) *cobra.Command {
	return &cobra.Command{
		Use:   "roles",
		Short: "Print who may call what",
		Long: `Print the table by which the station lets calls in: every call of the contract, and which roles may
make it; below it, which roles a person needs whom a call names, and which programs are believed that
somebody has proven who they are. What does not stand in a table is refused. They are the tables themselves, not a description.`,
		Example: "  server roles",
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			rows := [][]string{{"CALL"}}
			for _, role := range admit.Roles() {
				rows[0] = append(rows[0], strings.ToUpper(admit.Word(role)))
			}
			for _, rule := range admit.Table() {
				row := []string{strings.TrimPrefix(strings.TrimPrefix(rule.Method, "/"), "bayround.v1.")}
				for _, role := range admit.Roles() {
					row = append(row, map[bool]string{true: "yes", false: "-"}[admit.May(role, rule.Method)])
				}
				if rule.Anyone {
					row = append(row, "and anyone, without a certificate")
				}
				rows = append(rows, row)
			}
			c.columns(rows)
			c.Say("")
			c.columns(personRows())
			c.Say("")
			c.columns(proofRows())
			return nil
		},
	}
}

// personRows is the table of what people may do, as it is printed.
func personRows() [][]string {
	rows := [][]string{{"WHAT A PERSON DOES"}}
	for _, role := range admit.PersonRoles() {
		rows[0] = append(rows[0], strings.ToUpper(admit.PersonWord(role)))
	}
	for _, rule := range admit.PersonTable() {
		row := []string{string(rule.Deed)}
		for _, role := range admit.PersonRoles() {
			_, may := admit.PersonMay([]pb.Role{role}, rule.Deed)
			row = append(row, map[bool]string{true: "yes", false: "-"}[may])
		}
		rows = append(rows, row)
	}
	return rows
}

// proofRows is the table of who is believed what of a person, as it is printed.
func proofRows() [][]string {
	rows := [][]string{{"HOW A PERSON IS KNOWN"}}
	for _, role := range admit.Roles() {
		rows[0] = append(rows[0], strings.ToUpper(admit.Word(role)))
	}
	for _, rule := range admit.ProofTable() {
		row := []string{strings.ToLower(strings.TrimPrefix(rule.Proof.String(), "PROOF_"))}
		for _, role := range admit.Roles() {
			row = append(row, map[bool]string{true: "yes", false: "-"}[admit.MayClaim(role, rule.Proof)])
		}
		rows = append(rows, row)
	}
	return rows
}
