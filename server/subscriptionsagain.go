package main

import (
	"slices"
	"time"

	"github.com/spf13/cobra"

	"bayround/internal/command"
	"bayround/internal/fault"
	"bayround/internal/notify"
)

const subscriptionsAgainHelp = `Send a receiver once more what it refused for a day and what was set aside: all of it, or the
events that are named, as "server subscriptions" lists them. They bear the ids they had. What
is taken leaves the list. The station may be running; it tries by itself at its next start, and
whenever the receiver takes events again after it had failed.`

func newSubscriptionsAgain(c *console) *cobra.Command {
	var file, data string
	cmd := &cobra.Command{
		Use:     "again NAME [EVENT...]",
		Short:   "Send a receiver what it had refused",
		Long:    subscriptionsAgainHelp,
		Example: "  server subscriptions again control --file subscriptions.yaml --data /var/lib/bayround",
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return command.Misuse("name one subscription, for instance control")
			}
			if file == "" {
				return command.Misuse("say with --file which file of subscriptions it stands in")
			}
			s, err := subscription(file, args[0])
			if err != nil {
				return err
			}
			aside, err := notify.Asides(data)
			if err != nil {
				return err
			}
			aside = slices.DeleteFunc(aside, func(a notify.Aside) bool {
				return a.Subscription != s.Name || len(args) > 1 && !slices.Contains(args[1:], a.ID)
			})
			for _, id := range args[1:] {
				if !slices.ContainsFunc(aside, func(a notify.Aside) bool { return a.ID == id }) {
					return fault.New(fault.NotFound, "NOTICE_UNKNOWN", "no event %q of %s was set aside; server subscriptions --data %s lists them", id, s.Name, data)
				}
			}
			return c.again(cmd, s, data, aside)
		},
	}
	cmd.Flags().StringVar(&file, "file", "", "file of subscriptions, as for serve --subscriptions")
	cmd.Flags().StringVar(&data, "data", "data", "folder of the record")
	return cmd
}

// again sends what was set aside, and says of each what came of it.
func (c *console) again(cmd *cobra.Command, s notify.Subscription, data string, aside []notify.Aside) error {
	left := 0
	for _, a := range aside {
		if err := s.Again(cmd.Context(), data, a, time.Now()); err != nil {
			c.Say("%s did not take %s: %v", s.Name, a.ID, err)
			left++
			continue
		}
		c.Say("%s took %s", s.Name, a.ID)
	}
	if left > 0 {
		return fault.New(fault.Unavailable, "RECEIVER_FAILED", "%s of %d not taken; nothing of it is lost", count(left, "event"), len(aside))
	}
	if len(aside) == 0 {
		c.Say("nothing of %s was set aside", s.Name)
	}
	return nil
}

// asides prints one row for each event that was set aside; nothing when there is none.
func (c *console) asides(all []notify.Aside, now time.Time) {
	if len(all) == 0 {
		return
	}
	c.Say("\nundeliverable: refused for a day and set aside; to be sent again with: server subscriptions again NAME --file FILE")
	rows := [][]string{{"subscription", "event", "kind", "vehicle", "of", "refused since", "tries", "last error"}}
	for _, a := range all {
		rows = append(rows, []string{
			a.Subscription, a.ID, string(a.Notice.Kind), a.Notice.CallSign, instant(a.At, now), instant(a.Since, now), count(a.Tries, "time"), clipped(a.Error),
		})
	}
	c.columns(rows)
}
