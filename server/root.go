package main

import (
	"os"

	"github.com/spf13/cobra"
)

const rootHelp = `Bayround says of each vehicle of a fire or ambulance station whether it may respond,
right now, and how we know. This program is the station, and the tool to ask and feed it.

Exit codes
  0  done
  1  something failed; the message says what
  2  the command was not understood: flags, arguments, a round file
  3  the station refused it: a file, a result, a name it does not know
  4  the station cannot be reached, or cannot answer now: do it again later
  5  the record is damaged: a person must act
  6  the station stopped itself because a write failed: start it again
  7  the station can repair its record at its next start: start it again
With "readiness --exit-code" the verdict is the code; see its help.`

const rootExample = `  server demo                                  see it work, with invented vehicles
  server serve --data /var/lib/bayround        run a station
  server apply vehicles/                       tell it its vehicles
  server readiness                             which vehicles may respond?
  server readiness wn11 --watch                tell me when that changes`

// newRoot puts the commands together.
func newRoot(c *console) *cobra.Command {
	root := &cobra.Command{
		Use:           "server",
		Short:         "Run, ask and feed a Bayround station",
		Long:          rootHelp,
		Example:       rootExample,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.NoArgs,
		// What is asked for without a command is the help.
		RunE:              func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
		PersistentPreRunE: func(*cobra.Command, []string) error { c.Understood = true; return nil },
	}
	root.AddGroup(&cobra.Group{ID: "station", Title: "Run a station:"}, &cobra.Group{ID: "admit", Title: "Say who may call it (the station running):"}, &cobra.Group{ID: "ask", Title: "Ask and feed a station that runs:"},
		&cobra.Group{ID: "look", Title: "Look closer, back and ahead (the station running):"},
		&cobra.Group{ID: "record", Title: "Look after a record (verify and rebuild: the station stopped):"})
	for group, commands := range map[string][]*cobra.Command{
		"station": {newServe(c), newUnit(c), newDemo(c)},
		"admit":   {newEnrol(c), newAdmit(c), newRenew(c), newRevoke(c), newClients(c), newLockOuts(c), newRoles(c), newCA(c)},
		"ask":     {newReadiness(c), newShow(c), newApply(c), newPlay(c), newDue(c), newIncident(c), newWheel(c), newWatches(c), newCalendar(c), newDefect(c), newBadge(c), newCallSign(c), newStock(c), newSign(c), newErase(c)},
		"look":    {newHistory(c), newForecast(c), newExplain(c), newPrint(c), newRecord(c), newRecords(c), newGauge(c), newSubscriptions(c), newRehearse(c), newPacks(c)},
		"record":  {newVerify(c), newRebuild(c), newExport(c), newVerifyExport(c), newVerifyRecord(c), newBackup(c), newRestore(c), newRepair(c), newMove(c), newPrune(c)},
	} {
		for _, command := range commands {
			command.GroupID = group
			root.AddCommand(command)
		}
	}
	root.AddCommand(newVersion(c))
	c.identity.add(root)
	return root
}

// serverFlag adds --server, the address of the station to ask.
func serverFlag(cmd *cobra.Command, address *string) {
	preset := "127.0.0.1:7443"
	if set := os.Getenv("BAYROUND_SERVER"); set != "" {
		preset = set
	}
	cmd.Flags().StringVar(address, "server", preset, "address of the station; BAYROUND_SERVER sets another preset")
}
