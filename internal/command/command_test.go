package command_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bayround/internal/command"
	"bayround/internal/fault"
)

func TestMayListen_OnlyOnThisMachineUnlessAsked(t *testing.T) {
	for address, want := range map[string]bool{
		"": true, "127.0.0.1:7443": true, "127.8.9.1:0": true, "[::1]:7443": true, "localhost:7443": true,
		"0.0.0.0:7443": false, ":7443": false, "[::]:7443": false, "192.0.2.7:7443": false, "station.example:7443": false, "7443": false,
	} {
		if err := command.MayListen(address, false); (err == nil) != want {
			t.Errorf("%q: %v", address, err)
		}
		if err := command.MayListen(address, true); err != nil {
			t.Errorf("%q, asked for: %v", address, err)
		}
	}
}

func TestTell_EndsWithTheCodeThatTheHelpPromises(t *testing.T) {
	plain := errors.New("the disk is gone")
	for _, tc := range []struct {
		name string
		err  error
		code int
		says string // "" for silence
	}{
		{"done", nil, 0, ""},
		{"any other failure", plain, 1, "the disk is gone"},
		{"ended by a signal", context.Canceled, 1, ""},
		{"a slip of whoever typed", command.Misuse("--x %q", "y"), 2, `--x "y"`},
		{"a slip further down", fmt.Errorf("round.yaml: %w", command.MisusedBy(plain)), 2, "round.yaml: the disk is gone"},
		{"refused", fault.New(fault.Invalid, "R", "too low").At("a.b", "must rise"), 3, "too low\n  a.b: must rise"},
		{"not there", fault.New(fault.Unavailable, "R", "later"), 4, "later"},
		{"not reached", fault.New(fault.Unavailable, "NOT_REACHED", `"error dialling: dial tcp 127.0.0.1:9: refused"`), 4, "is its address right?"},
		{"damaged", fault.New(fault.Lost, "R", "gap at 7"), 5, "gap at 7"},
		{"stopped itself", command.StoppedBy(plain), 6, "the disk is gone"},
		{"an answer", command.Code(12), 12, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			var out, complaints bytes.Buffer
			c := &command.Console{Out: &out, Err: &complaints}
			if code := c.Tell(tc.err); code != tc.code {
				t.Errorf("exit code %d, want %d", code, tc.code)
			}
			if out.Len() > 0 || !strings.Contains(complaints.String(), tc.says) || tc.says == "" && complaints.Len() > 0 {
				t.Errorf("said %q and %q, want %q", out.String(), complaints.String(), tc.says)
			}
		})
	}
}

func TestLogger_RefusesWhatItDoesNotKnow(t *testing.T) {
	var log bytes.Buffer
	for _, wrong := range [][2]string{{"xml", "info"}, {"text", "loud"}} {
		if _, err := command.Logger(&log, wrong[0], wrong[1]); command.CodeOf(err) != command.ExitMisused {
			t.Errorf("%v: %v", wrong, err)
		}
	}
	logger, err := command.Logger(&log, "json", "warn")
	if err != nil {
		t.Fatal(err)
	}
	logger.Info("quiet")
	logger.Warn("loud")
	var line map[string]any
	if err := json.Unmarshal(log.Bytes(), &line); err != nil || line["msg"] != "loud" {
		t.Errorf("logged %q: %v", log.String(), err)
	}
}

func TestWriteReady_LeavesTheFileAndNoDraft(t *testing.T) {
	folder := t.TempDir()
	name := filepath.Join(folder, "ready.json")
	for _, address := range []string{"127.0.0.1:1", "127.0.0.1:2"} {
		if err := command.WriteReady(name, map[string]string{"listen": address}); err != nil {
			t.Fatal(err)
		}
		content, err := os.ReadFile(name)
		if err != nil || !strings.Contains(string(content), address) {
			t.Errorf("%q: %v", content, err)
		}
	}
	if entries, err := os.ReadDir(folder); err != nil || len(entries) != 1 {
		t.Errorf("%v: %v", entries, err)
	}
	if err := command.WriteReady("", nil); err != nil {
		t.Error(err)
	}
	if err := command.WriteReady(filepath.Join(folder, "none", "ready.json"), nil); err == nil {
		t.Error("a folder that is not there was written to")
	}
}
