package main

import (
	"bytes"
	"net"
	"strings"
	"testing"

	"bayround/internal/command"
)

func TestRun_EndsAsTheHelpPromisesAndSaysWhatToDo(t *testing.T) {
	held, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = held.Close() }()
	for _, tc := range []struct {
		name, in string
		args     []string
		code     int
		says     string
	}{
		{"nothing asked is help", "", nil, command.ExitDone, ""},
		{"an unknown flag", "", []string{"serve", "--loud"}, command.ExitMisused, "kiosk help"},
		{"a device the record cannot hold", "", []string{"serve", "--device", "Tablet 1"}, command.ExitMisused, "tablet-1"},
		{"the driver's pages for others", "", []string{"serve", "--listen", "0.0.0.0:0"}, command.ExitMisused, "this tablet alone"},
		{"an address in use", "", []string{"serve", "--data", t.TempDir(), "--listen", held.Addr().String(), "--bay", "127.0.0.1:0", "--log-level", "error"}, command.ExitNotThere, "--listen"},
		{"a station forgotten that was never known", "", []string{"forget-station", "--data", t.TempDir()}, command.ExitDone, ""},
		{"a PIN too easy", "1234\n", []string{"pin"}, command.ExitRefused, "choose another"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			var out, complaints bytes.Buffer
			code := run(t.Context(), tc.args, strings.NewReader(tc.in), &out, &complaints)
			if code != tc.code || !strings.Contains(complaints.String(), tc.says) {
				t.Errorf("exit code %d, want %d; said %q, want %q in it", code, tc.code, complaints.String(), tc.says)
			}
		})
	}
}
