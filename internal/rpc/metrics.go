package rpc

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc/codes"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// scrapeLimit is how long a scrape may take to ask the station about itself.
const scrapeLimit = 2 * time.Second

// meter counts what goes on. A nil meter counts nothing.
type meter struct {
	calls   *prometheus.CounterVec
	took    *prometheus.HistogramVec
	open    *prometheus.GaugeVec
	results prometheus.Counter
}

// newMeter registers everything with to; nil counts nothing.
func newMeter(to prometheus.Registerer, st *station.Station) (*meter, error) {
	if to == nil {
		return nil, nil //nolint:nilnil // nil is a meter that counts nothing
	}
	m := &meter{
		calls: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "bayround_calls_total", Help: "Calls that ended, by method and gRPC code; streams count when they end.",
		}, []string{"method", "code"}),
		took: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "bayround_call_seconds", Help: "How long unary calls took, in seconds.",
			Buckets: []float64{.0005, .001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5},
		}, []string{"method"}),
		open: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "bayround_open_streams", Help: "Watches, follows and result streams that are open now.",
		}, []string{"method"}),
		results: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "bayround_results_recorded_total", Help: "Results recorded since the start; repeats do not count.",
		}),
	}
	for _, c := range []prometheus.Collector{m.calls, m.took, m.open, m.results, newStationCollector(st)} {
		if err := to.Register(c); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// called counts a call that ended.
func (m *meter) called(method string, code codes.Code, took time.Duration, unary bool) {
	if m == nil {
		return
	}
	m.calls.WithLabelValues(short(method), code.String()).Inc()
	if unary {
		m.took.WithLabelValues(short(method)).Observe(took.Seconds())
	}
}

// opened counts a stream as open until the function it returns is called.
func (m *meter) opened(method string) (closed func()) {
	if m == nil {
		return func() {}
	}
	gauge := m.open.WithLabelValues(short(method))
	gauge.Inc()
	return gauge.Dec
}

// recorded counts a result, unless it was there before or was refused.
func (m *meter) recorded(resp *pb.RecordResultResponse) {
	if m != nil && resp != nil && !resp.GetRepeatedBefore() {
		m.results.Inc()
	}
}

// short is a method without the package of its service.
func short(method string) string {
	return strings.TrimPrefix(strings.TrimPrefix(method, "/"), "bayround.v1.")
}

// stationCollector asks the station about itself at each scrape.
type stationCollector struct {
	station *station.Station
	size    *prometheus.Desc
	verdict *prometheus.Desc
}

func newStationCollector(st *station.Station) *stationCollector {
	return &stationCollector{
		station: st,
		size:    prometheus.NewDesc("bayround_journal_events", "Events in the journal.", nil, nil),
		verdict: prometheus.NewDesc("bayround_vehicle_verdict",
			"1 for the verdict a vehicle has now, 0 for the others.", []string{"vehicle", "verdict"}, nil),
	}
}

// Describe tells what will be collected.
func (c *stationCollector) Describe(to chan<- *prometheus.Desc) {
	to <- c.size
	to <- c.verdict
}

// Collect reads the journal's size and every vehicle's verdict. What the station
// cannot tell is left out, never told as zero.
func (c *stationCollector) Collect(to chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), scrapeLimit)
	defer cancel()
	if size, err := journalSize(ctx, c.station); err == nil {
		to <- prometheus.MustNewConstMetric(c.size, prometheus.GaugeValue, float64(size))
	}
	for page := ""; ; {
		list, err := c.station.ListReadiness(ctx, &pb.ListReadinessRequest{PageSize: 200, PageToken: page})
		if err != nil {
			return
		}
		for _, r := range list.GetReadiness() {
			c.collectVerdict(to, r)
		}
		if page = list.GetNextPageToken(); page == "" {
			return
		}
	}
}

func (c *stationCollector) collectVerdict(to chan<- prometheus.Metric, r *pb.Readiness) {
	for verdict := pb.Verdict_VERDICT_FIT; verdict <= pb.Verdict_VERDICT_UNFIT; verdict++ {
		value := 0.0
		if r.GetVerdict() == verdict {
			value = 1
		}
		word := strings.ToLower(strings.TrimPrefix(verdict.String(), "VERDICT_"))
		to <- prometheus.MustNewConstMetric(c.verdict, prometheus.GaugeValue, value, r.GetVehicle(), word)
	}
}

// journalSize reads the size off the newest checkpoint: its second line, as in
// C2SP tlog-checkpoint. An empty journal has no checkpoint and an error.
func journalSize(ctx context.Context, st *station.Station) (size uint64, err error) {
	resp, err := st.GetCheckpoint(ctx, &pb.GetCheckpointRequest{})
	if err != nil {
		return 0, err
	}
	var origin string
	if _, err := fmt.Sscanf(resp.GetCheckpoint(), "%s\n%d\n", &origin, &size); err != nil {
		return 0, fmt.Errorf("reading the checkpoint's size: %w", err)
	}
	return size, nil
}
