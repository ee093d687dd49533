package main

import (
	"log/slog"
	"math/rand/v2"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/spf13/cobra"

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
give it another address in the file, or take it out). The station may be running; what is
shown is what it last wrote down.`

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
			c.subscriptions(all, time.Now())
			return nil
		},
	}
	cmd.Flags().StringVar(&data, "data", "data", "folder of the record")
	return cmd
}

// subscriptions prints one row a subscription.
func (c *console) subscriptions(all []notify.State, now time.Time) {
	if len(all) == 0 {
		c.Say("nobody was told of anything yet; subscriptions come from: server serve --subscriptions FILE")
		return
	}
	rows := [][]string{{"subscription", "stands", "told up to", "behind", "delivered", "last taken", "last error"}}
	for _, s := range all {
		last := "never"
		if !s.Success.IsZero() {
			last = instant(s.Success, now)
		}
		rows = append(rows, []string{
			s.Name, s.Words(now), "event " + strconv.FormatInt(s.Place.Sequence, 10), count(int(s.Behind), "event"),
			count(int(s.Delivered), "notice"), last, clipped(s.Error),
		})
	}
	c.columns(rows)
}
