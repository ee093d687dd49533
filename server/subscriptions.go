package main

import (
	"log/slog"
	"math/rand/v2"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/spf13/cobra"

	"bayround/internal/command"
	"bayround/internal/fault"
	"bayround/internal/notify"
	"bayround/internal/station"
)

// loadSubscriptions reads the file of --subscriptions; none when it is "".
func loadSubscriptions(file string) ([]notify.Subscription, error) {
	if file == "" {
		return nil, nil
	}
	return notify.Load(file)
}

// tellSubscribers begins to tell those who subscribed.
func tellSubscribers(st *station.Station, data string, to []notify.Subscription, log *slog.Logger, metrics prometheus.Registerer) (*notify.Notifier, error) {
	n, err := notify.Open(st, notify.Options{Data: data, Subscriptions: to, Logger: log, Dice: rand.Float64})
	if err != nil {
		return nil, err
	}
	metrics.MustRegister(n)
	return n, nil
}

const subscriptionsHelp = `Say how the subscriptions of a station stand: up to which event of the record each was
told, how many events lie behind that, and how its receiver does. Well, failing, dead
(failing for three days; it is tried further) or ended (the receiver answered 410 Gone:
give it another address in the file, or take it out). Below stand the events that a
receiver refused for a day and that were set aside: they are sent again with
"subscriptions again". The station may be running; what is shown is what it last wrote
down.`

func newSubscriptions(c *console) *cobra.Command {
	var data string
	cmd := &cobra.Command{
		Use:     "subscriptions",
		Short:   "Say how those who are told of changes stand",
		Long:    subscriptionsHelp,
		Example: "  server subscriptions --data /var/lib/bayround",
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			all, err := notify.States(data)
			if err != nil {
				return err
			}
			aside, err := notify.Asides(data)
			if err != nil {
				return err
			}
			c.subscriptions(all, time.Now())
			c.asides(aside, time.Now())
			return nil
		},
	}
	cmd.Flags().StringVar(&data, "data", "data", "folder of the record")
	cmd.AddCommand(newSubscriptionsTest(c), newSubscriptionsAgain(c))
	return cmd
}

const subscriptionsTestHelp = `Send one receiver a signed event that tells of nothing (type bayround.v1.test), once, and say
whether it took it. The station is not asked, and nothing is written down: try a file of
subscriptions with it before the station reads it.`

func newSubscriptionsTest(c *console) *cobra.Command {
	var file string
	cmd := &cobra.Command{
		Use:     "test NAME",
		Short:   "Send one receiver an event that tells of nothing",
		Long:    subscriptionsTestHelp,
		Example: "  server subscriptions test control --file subscriptions.yaml",
		Args:    exactlyOne("name one subscription, for instance control"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if file == "" {
				return command.Misuse("say with --file which file of subscriptions it stands in")
			}
			s, err := subscription(file, args[0])
			if err != nil {
				return err
			}
			if err := s.Test(cmd.Context(), "test-"+uuid.NewString(), time.Now()); err != nil {
				return fault.New(fault.Unavailable, "RECEIVER_FAILED", "%s did not take it: %v", s.Name, err)
			}
			c.Say("%s took it", s.Name)
			return nil
		},
	}
	cmd.Flags().StringVar(&file, "file", "", "file of subscriptions, as for serve --subscriptions")
	return cmd
}

// subscription reads one subscription of a file.
func subscription(file, name string) (notify.Subscription, error) {
	all, err := notify.Load(file)
	if err != nil {
		return notify.Subscription{}, err
	}
	for _, s := range all {
		if s.Name == name {
			return s, nil
		}
	}
	return notify.Subscription{}, fault.New(fault.NotFound, "SUBSCRIPTION_UNKNOWN", "%s holds no subscription %q", file, name)
}

// subscriptions prints one row a subscription.
func (c *console) subscriptions(all []notify.State, now time.Time) {
	if len(all) == 0 {
		c.Say("nobody was told of anything yet; subscriptions come from: server serve --subscriptions FILE")
		return
	}
	rows := [][]string{{"subscription", "stands", "told up to", "behind", "delivered", "last taken", "next try", "last error"}}
	for _, s := range all {
		last := "never"
		if !s.Success.IsZero() {
			last = instant(s.Success, now)
		}
		next := "–"
		if s.Failures > 0 && s.Next.After(now) {
			next = instant(s.Next, now)
		}
		rows = append(rows, []string{
			s.Name, s.Words(now), "event " + strconv.FormatInt(s.Place.Sequence, 10), count(int(s.Behind), "event"),
			count(int(s.Delivered), "notice"), last, next, clipped(s.Error),
		})
	}
	c.columns(rows)
}
