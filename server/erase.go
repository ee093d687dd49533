package main

import (
	"context"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"bayround/internal/command"
	pb "bayround/proto/bayround/v1"
)

const eraseHelp = `Erase who a person is: the name and the PIN, those of former times, too. What the person did
stays in the record, under the bare id; a check is never lost by it. Tablets erase the same
when they next reach the station.

It cannot be undone. It is done at once: there is no question to answer first. Not while the
person drives or assists in a round that has not ended. Whoever does it is an administrator, and
somebody else.

What it does not reach:
  - copies made before: backups, exported records, what an unclean stop left in evidence/.
    Whoever keeps them erases them, or keeps the name.
  - the id, people/NAME, if it is a name itself; notes that somebody wrote; and the reason
    given here: write no name into it.
  - records begun before names stood apart from them: they refuse, and say so.
Take the person out of the files that are applied, too: they are refused as long as they name
somebody who was erased.`

// eraseFlags are what an erasure is told by.
type eraseFlags struct {
	server, by, reason string
}

func newErase(c *console) *cobra.Command {
	var f eraseFlags
	cmd := &cobra.Command{
		Use:     "erase PERSON",
		Short:   "Erase who a person is, for good",
		Long:    eraseHelp,
		Example: `  server erase arkwith --by tolveck --reason "left the service, asked for it"`,
		Args:    exactlyOne("name one person, for instance arkwith"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.by == "" || f.reason == "" {
				return command.Misuse("an erasure needs --by and --reason; it cannot be undone")
			}
			return c.asking(f.server, func(s *remote) error {
				return s.erase(cmd.Context(), c, inCollection("people", args[0]), f)
			})
		},
	}
	serverFlag(cmd, &f.server)
	cmd.Flags().StringVar(&f.by, "by", "", "who erases: an administrator, and somebody else")
	cmd.Flags().StringVar(&f.reason, "reason", "", "why, in words; it stays in the record")
	return cmd
}

func (s *remote) erase(ctx context.Context, c *console, person string, f eraseFlags) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	resp, err := s.vehicles.ErasePerson(ctx, &pb.ErasePersonRequest{
		RequestId: uuid.NewString(), Person: person, By: inCollection("people", f.by), Reason: f.reason,
	})
	if err != nil {
		return err
	}
	c.Say("%s is erased, recorded as event %d. This cannot be undone", resp.GetPerson().GetName(), resp.GetSequence())
	c.Say("what %s did stays in the record under that id", resp.GetPerson().GetName())
	c.Say("the name and the PIN stand in no file of this station's store any more")
	c.Say("they still stand in backups and exports that were made before, and in evidence/ if a stop was unclean")
	return nil
}
