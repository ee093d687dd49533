package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"bayround/internal/command"
	"bayround/internal/notify"
	"bayround/internal/photo"
	"bayround/internal/rpc"
	"bayround/internal/station"
	"bayround/internal/trust"
)

// running is a station that serves.
type running struct {
	station *station.Station
	inVain  bool // a repair of the record was tried at this start, and copies of its end would not help
	server  *rpc.Server
	metrics *http.Server // nil for none
	log     *slog.Logger
	ready   ready
	ended   chan error // what serving ended with, once for each listener
	beside  *attendance
	gate    *trust.Gate // nil in plain text
	fresh   func()      // ends what keeps the gate's certificates fresh
	tells   *notify.Notifier
}

// ready is what --ready-file holds.
type ready struct {
	Listen  string `json:"listen"`
	Metrics string `json:"metrics,omitempty"`
	Data    string `json:"data"`
	PID     int    `json:"pid"`
	// Identity is the folder of the identity to ask it with; empty in plain text.
	Identity string `json:"identity,omitempty"`
}

// photosFolder is where photos lie beside the record. The journal lets a folder of
// this name stand in its directory.
const photosFolder = "photos"

// start opens the station and serves it. What it has opened is closed again when
// it fails half-way.
func start(ctx context.Context, c *console, f *serveFlags, logger *slog.Logger) (r *running, err error) {
	if err := closeKeys(f.data, logger); err != nil {
		return nil, err
	}
	subscribers, err := loadSubscriptions(f.tell)
	if err != nil {
		return nil, err
	}
	_, none := os.Stat(filepath.Join(f.data, keyName))
	st, inVain, err := openMended(ctx, c, f, logger)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, st.Close())
		}
	}()
	photos, err := openPhotos(f.data, none != nil, logger)
	if err != nil {
		return nil, err
	}
	gate, err := openGate(c, f)
	if err != nil {
		return nil, err
	}
	badges, err := openBadges(filepath.Join(f.data, trustFolder))
	if err != nil {
		return nil, err
	}
	registry := newRegistry()
	tells, err := tellSubscribers(st, f.data, subscribers, logger, registry)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			tells.Close()
		}
	}()
	server, err := rpc.New(st, rpc.Options{Logger: logger, Metrics: registry, StreamsPerConnection: f.streams, Photos: photos, Badges: badges, Gate: gate})
	if err != nil {
		return nil, err
	}
	r = &running{
		station: st, inVain: inVain, server: server, log: logger, ended: make(chan error, 2), ready: ready{Data: f.data, PID: os.Getpid()},
		gate: gate, fresh: keepFresh(gate, st, logger), tells: tells,
	}
	if gate != nil {
		r.ready.Identity = gate.AdministratorFolder()
	}
	if err := r.listen(f, registry); err != nil {
		return nil, err
	}
	r.beside = attend(st, logger)
	if err := command.WriteReady(f.readyFile, r.ready); err != nil {
		return nil, errors.Join(err, r.stop())
	}
	return r, nil
}

// openPhotos opens the photos, once record and photos are closed to others.
func openPhotos(data string, made bool, log *slog.Logger) (*photo.Store, error) {
	if err := closeRecord(data, made, log); err != nil {
		return nil, err
	}
	photos, err := photo.Open(photo.Options{Dir: filepath.Join(data, photosFolder)})
	if err != nil {
		return nil, fmt.Errorf("opening the station's photos in %s: %w", data, err)
	}
	return photos, nil
}

// newRegistry counts what this process takes.
func newRegistry() *prometheus.Registry {
	registry := prometheus.NewRegistry()
	registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return registry
}

// listen opens both listeners, and serves on them when both are there.
func (r *running) listen(f *serveFlags, registry *prometheus.Registry) error {
	calls, err := net.Listen("tcp", f.listen)
	if err != nil {
		return fmt.Errorf("listening for calls: %w", err)
	}
	r.ready.Listen = calls.Addr().String()
	if f.metrics != "" {
		scrapes, err := net.Listen("tcp", f.metrics)
		if err != nil {
			return errors.Join(fmt.Errorf("listening for metrics: %w", err), calls.Close())
		}
		r.ready.Metrics = scrapes.Addr().String()
		r.metrics = &http.Server{Handler: metricsPages(registry, r.station), ReadHeaderTimeout: 5 * time.Second}
		go func() { r.ended <- r.metrics.Serve(scrapes) }()
	}
	go func() { r.ended <- r.server.Serve(calls) }()
	return nil
}

// metricsPages is what the metrics address answers.
func metricsPages(registry *prometheus.Registry, st *station.Station) http.Handler {
	pages := http.NewServeMux()
	pages.Handle("GET /metrics", promhttp.HandlerFor(registry, promhttp.HandlerOpts{Timeout: 5 * time.Second}))
	pages.Handle("GET /calendar/{file}", calendarPage(st))
	return pages
}

// wait serves until ctx ends, the journal stops itself or a listener breaks, and
// then ends everything in order.
func (r *running) wait(ctx context.Context) error {
	var why error
	select {
	case <-ctx.Done():
		r.log.Info("stopping")
	case <-r.station.Failed():
		why = errStopped
	case <-r.mendable():
		why = errMendable
	case why = <-r.ended:
	}
	return errors.Join(why, r.stop())
}

// mendable is closed when a start anew would repair the record. After one that tried
// with a copy that reaches its end it never is: the station would be started over and over.
func (r *running) mendable() <-chan struct{} {
	if r.inVain {
		return nil
	}
	return r.station.Mendable()
}

// stop ends calls first, so that nobody is answered by a station that is closed.
func (r *running) stop() error {
	ctx, cancel := context.WithTimeout(context.Background(), 9*time.Second)
	defer cancel()
	r.tells.Close()
	r.beside.end()
	r.server.Stop(ctx)
	r.fresh()
	var err error
	if r.metrics != nil {
		err = r.metrics.Close()
	}
	return errors.Join(err, r.station.Close())
}

// readyLine is the one line that says where the station is.
func (r *running) readyLine() string {
	line := "ready on " + r.ready.Listen
	if r.ready.Metrics != "" {
		line += ", metrics on http://" + r.ready.Metrics + "/metrics"
	}
	line += ", record in " + r.ready.Data
	if r.gate == nil {
		return line + "; in plain text, for this machine alone"
	}
	return line
}
