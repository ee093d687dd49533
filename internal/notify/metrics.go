package notify

import (
	"github.com/prometheus/client_golang/prometheus"
)

// described are the metrics, with the subscription as label.
type described struct {
	position, behind, delivered, failures, wellness, aside *prometheus.Desc
}

func describe() described {
	d := func(name, help string, more ...string) *prometheus.Desc {
		return prometheus.NewDesc("bayround_subscription_"+name, help, append([]string{"subscription"}, more...), nil)
	}
	return described{
		position:  d("sequence", "Newest journal event up to which everything was delivered."),
		behind:    d("behind_events", "Journal events after that, wanted or not."),
		delivered: d("delivered_total", "Notices that the receiver has taken."),
		failures:  d("failures_in_a_row", "Attempts that failed since the last success."),
		aside:     d("undeliverable", "Notices that the receiver refused for a day and that were set aside."),
		wellness:  d("state", "1 for how the subscription stands: well, failing, dead (failing for three days) or ended (410 Gone).", "state"),
	}
}

// Describe is for Prometheus.
func (n *Notifier) Describe(out chan<- *prometheus.Desc) { prometheus.DescribeByCollect(n, out) }

// Collect is for Prometheus.
func (n *Notifier) Collect(out chan<- prometheus.Metric) {
	d := describe()
	for i, s := range n.States() {
		size, now := n.branches[i].station.Size(), n.branches[i].o.Now()
		gauge := func(desc *prometheus.Desc, kind prometheus.ValueType, value float64, more ...string) {
			out <- prometheus.MustNewConstMetric(desc, kind, value, append([]string{s.Name}, more...)...)
		}
		gauge(d.position, prometheus.GaugeValue, float64(s.Place.Sequence))
		gauge(d.behind, prometheus.GaugeValue, float64(max(size-s.Place.Sequence, 0)))
		gauge(d.delivered, prometheus.CounterValue, float64(s.Delivered))
		gauge(d.failures, prometheus.GaugeValue, float64(s.Failures))
		aside, _ := asides(n.branches[i].dir, s.Name) // what cannot be read is logged when it is tried
		gauge(d.aside, prometheus.GaugeValue, float64(len(aside)))
		gauge(d.wellness, prometheus.GaugeValue, 1, s.Words(now))
	}
}
