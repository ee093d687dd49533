package main

import (
	"bufio"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"bayround/internal/command"
	"bayround/internal/trust"
)

func grpcurl(t *testing.T) string {
	t.Helper()
	return tool(t, "grpcurl", "github.com/fullstorydev/grpcurl/cmd/grpcurl")
}

// secured starts the server as it is shipped, with certificates, and returns how
// grpcurl shows one; our own commands find theirs.
func secured(t *testing.T) (p *process, show []string, ca string) {
	t.Helper()
	t.Setenv("BAYROUND_PLAINTEXT_ON_LOOPBACK", "")
	data := t.TempDir()
	folder := filepath.Join(data, trustFolder, "administrator")
	t.Setenv("BAYROUND_IDENTITY", folder)
	files := trust.FilesIn(folder)
	return launch(t, data), []string{"-cacert", files.CA, "-cert", files.Cert, "-key", files.Key}, files.CA
}

func TestOtherSystems_AskWithGrpcurlAndNothingElse(t *testing.T) {
	ask := grpcurl(t)
	p, show, ca := secured(t)
	must(t, "apply", county(t), "--server", p.address)
	must(t, "play", round(t, "09-t1-before-tow.yaml"), "--server", p.address)
	for _, tc := range []struct {
		why   string
		args  []string
		code  int // of grpcurl: 64 and the code of gRPC
		wants []string
	}{
		{
			"the services tell what they are",
			[]string{p.address, "list"},
			0,
			[]string{"bayround.v1.EnrolService", "bayround.v1.HistoryService", "bayround.v1.JournalService", "bayround.v1.PhotoService", "bayround.v1.ReadinessService", "bayround.v1.RoundService", "bayround.v1.TwinService", "bayround.v1.VehicleService", "grpc.health.v1.Health"},
		},
		{"a service describes itself", []string{p.address, "describe", "bayround.v1.RoundService"}, 0, []string{"rpc RecordResults ( stream"}},
		{"all vehicles", []string{p.address, "bayround.v1.ReadinessService/ListReadiness"}, 0, []string{`"callSign": "T1"`, `"VERDICT_FIT"`, `"VERDICT_UNPROVEN"`}},
		{"one vehicle", []string{"-d", `{"vehicle": "vehicles/t1"}`, p.address, "bayround.v1.ReadinessService/GetReadiness"}, 0, []string{`"VERDICT_FIT"`}},
		{
			"before it was there",
			[]string{"-d", `{"vehicle": "vehicles/t1", "as_of": "2020-01-01T08:00:00Z"}`, p.address, "bayround.v1.ReadinessService/GetReadiness"},
			64 + 5,
			[]string{"Code: NotFound"},
		},
		{
			"a field that breaks its rule is named",
			[]string{"-d", `{"vehicle": "T1"}`, p.address, "bayround.v1.ReadinessService/GetReadiness"},
			64 + 3,
			[]string{"Code: InvalidArgument", "google.rpc.BadRequest", `"field": "vehicle"`, `"reason": "FIELDS_BREAK_RULES"`, `"domain": "bayround"`},
		},
		{
			"every event from the first",
			[]string{"-d", `{"stop_at_end": true}`, p.address, "bayround.v1.JournalService/Follow"},
			0,
			[]string{`"sequence": "1"`, `"resultRecorded"`, `"bookmark"`},
		},
		{"the checkpoint", []string{p.address, "bayround.v1.JournalService/GetCheckpoint"}, 0, []string{`"checkpoint"`, `"verifierKey"`}},
	} {
		t.Run(tc.why, func(t *testing.T) {
			printed, code := outside(t.Context(), t, ask, append(slices.Clone(show), tc.args...)...)
			if code != tc.code {
				t.Errorf("exit code %d, want %d", code, tc.code)
			}
			requireIn(t, printed, tc.wants...)
		})
	}
	printed, code := outside(t.Context(), t, ask, "-cacert", ca, p.address, "list")
	if code == 0 || !strings.Contains(printed, "needs a certificate") {
		t.Errorf("without a certificate: exit code %d\n%s", code, printed)
	}
	if printed, code := outside(t.Context(), t, ask, "-plaintext", p.address, "list"); code == 0 {
		t.Errorf("in plain text: %s", printed)
	}
}

func TestOtherSystems_AreToldWhenTheStationStops(t *testing.T) {
	p, show, _ := secured(t)
	must(t, "apply", county(t), "--server", p.address)
	watch := exec.Command(grpcurl(t), append(show, p.address, "bayround.v1.ReadinessService/WatchReadiness")...) //nolint:gosec // our own tool
	var errs strings.Builder
	watch.Stderr = &errs
	out, err := watch.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := watch.Start(); err != nil {
		t.Fatal(err)
	}
	lines, states := bufio.NewScanner(out), 0
	for lines.Scan() && !strings.Contains(lines.Text(), `"present"`) {
		if strings.Contains(lines.Text(), `"callSign"`) {
			states++
		}
	}
	if states < 10 {
		t.Errorf("before \"present\" came %d states, want one for each of the county's vehicles", states)
	}
	if code := p.end(); code != command.ExitDone {
		t.Errorf("the server ended with %d\n%s", code, p.log)
	}
	for lines.Scan() {
	}
	if err := watch.Wait(); err == nil || watch.ProcessState.ExitCode() != 64+14 {
		t.Errorf("the watch ended with %v", err)
	}
	requireIn(t, errs.String(), "Code: Unavailable", "the station is stopping", "STATION_STOPS")
}

func TestOtherSystems_SeeItsHealth(t *testing.T) {
	probe := tool(t, "grpc-health-probe", "github.com/grpc-ecosystem/grpc-health-probe")
	p, _, ca := secured(t)
	for _, service := range []string{"", "bayround.v1.VehicleService", "bayround.v1.RoundService", "bayround.v1.ReadinessService", "bayround.v1.JournalService", "bayround.v1.PhotoService", "bayround.v1.TwinService", "bayround.v1.HistoryService"} {
		printed, code := outside(t.Context(), t, probe, "-tls", "-tls-ca-cert="+ca, "-addr="+p.address, "-service="+service)
		if code != 0 || !strings.Contains(printed, "SERVING") {
			t.Errorf("health of %q: exit code %d, %s", service, code, printed)
		}
	}
	if code := p.end(); code != command.ExitDone {
		t.Errorf("the server ended with %d\n%s", code, p.log)
	}
	if printed, code := outside(t.Context(), t, probe, "-addr="+p.address); code == 0 {
		t.Errorf("health of a server that is gone: %s", printed)
	}
}
