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
	record  recordDescs
}

// recordDescs describe how well the record stands.
type recordDescs struct{ events, behind, torn, scrubAge, scrubOK, free, space *prometheus.Desc }

func newRecordDescs() recordDescs {
	desc := func(name, help string) *prometheus.Desc {
		return prometheus.NewDesc("bayround_record_"+name, help, nil, nil)
	}
	return recordDescs{
		events:   desc("events", "Events in the record."),
		behind:   desc("behind", "1 when the record has lost its newest entries: nothing is taken until it is repaired."),
		torn:     desc("heads_torn", "1 when at the start no checkpoint beside the record could be read: a loss before would not have been noticed."),
		scrubAge: desc("scrub_age_seconds", "How long ago the newest whole reading of the record ended; missing while none has."),
		scrubOK:  desc("scrub_ok", "1 when the newest whole reading of the record found it sound, 0 when not; missing while none has ended."),
		free:     desc("free_bytes", "Bytes free on the record's disk."),
		space:    desc("space_level", "How much room that is: 1 enough, 2 scarce, 3 no new rounds, 4 full: nothing is taken."),
	}
}

func newStationCollector(st *station.Station) *stationCollector {
	return &stationCollector{
		station: st,
		size:    prometheus.NewDesc("bayround_journal_events", "Events in the journal.", nil, nil),
		verdict: prometheus.NewDesc("bayround_vehicle_verdict",
			"1 for the verdict a vehicle has now, 0 for the others.", []string{"vehicle", "verdict"}, nil),
		record: newRecordDescs(),
	}
}

// Describe tells what will be collected.
func (c *stationCollector) Describe(to chan<- *prometheus.Desc) {
	to <- c.size
	to <- c.verdict
	for _, desc := range []*prometheus.Desc{c.record.events, c.record.behind, c.record.torn, c.record.scrubAge, c.record.scrubOK, c.record.free, c.record.space} {
		to <- desc
	}
}

// Collect reads the journal's size and every vehicle's verdict. What the station
// cannot tell is left out, never told as zero.
func (c *stationCollector) Collect(to chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), scrapeLimit)
	defer cancel()
	if size, err := journalSize(ctx, c.station); err == nil {
		to <- prometheus.MustNewConstMetric(c.size, prometheus.GaugeValue, float64(size))
	}
	c.collectRecord(ctx, to)
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

func (c *stationCollector) collectRecord(ctx context.Context, to chan<- prometheus.Metric) {
	tell := func(desc *prometheus.Desc, value float64) {
		to <- prometheus.MustNewConstMetric(desc, prometheus.GaugeValue, value)
	}
	if resp, err := c.station.GetRecordState(ctx, &pb.GetRecordStateRequest{}); err == nil {
		tell(c.record.events, float64(resp.GetState().GetEvents()))
		tell(c.record.behind, oneIf(resp.GetState().GetBehind()))
		if space := resp.GetState().GetSpace(); space != pb.SpaceLevel_SPACE_LEVEL_UNSPECIFIED {
			tell(c.record.free, float64(resp.GetState().GetFreeBytes()))
			tell(c.record.space, float64(space))
		}
	}
	tell(c.record.torn, oneIf(c.station.HeadsTorn()))
	if scrub, age := c.station.Scrubbed(); scrub != nil {
		tell(c.record.scrubAge, age.Seconds())
		tell(c.record.scrubOK, oneIf(scrub.GetProblem() == ""))
	}
}

func oneIf(holds bool) float64 {
	if holds {
		return 1
	}
	return 0
}

func (c *stationCollector) collectVerdict(to chan<- prometheus.Metric, r *pb.Readiness) {
	for verdict := pb.Verdict_VERDICT_FIT; verdict <= pb.Verdict_VERDICT_UNFIT; verdict++ {
		word := strings.ToLower(strings.TrimPrefix(verdict.String(), "VERDICT_"))
		to <- prometheus.MustNewConstMetric(c.verdict, prometheus.GaugeValue, oneIf(r.GetVerdict() == verdict), r.GetVehicle(), word)
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
