package main

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"

	"bayround/internal/command"
)

// secretOfTheText is the example of the Standard Webhooks text.
const secretOfTheText = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"

// subscriptionsFile names one receiver, control, in a folder with its secret.
func subscriptionsFile(t *testing.T, url string) string {
	t.Helper()
	dir := t.TempDir()
	file := filepath.Join(dir, "subscriptions.yaml")
	for name, content := range map[string]string{
		"control.secret":     secretOfTheText + "\n",
		"subscriptions.yaml": fmt.Sprintf("subscriptions:\n  - {name: control, url: %q, secret_file: control.secret, plaintext_on_loopback: true}\n", url),
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return file
}

func TestSubscriptions_AreTriedBeforeTheyCount(t *testing.T) {
	var status atomic.Int32
	status.Store(http.StatusNoContent)
	receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("webhook-signature") == "" || r.Header.Get("content-type") != "application/cloudevents+json" {
			t.Errorf("it is no signed event: %v", r.Header)
		}
		w.WriteHeader(int(status.Load()))
	}))
	defer receiver.Close()
	file := subscriptionsFile(t, receiver.URL)
	requireIn(t, must(t, "subscriptions", "test", "control", "--file", file), "control took it")
	status.Store(http.StatusForbidden)
	for why, tc := range map[string]struct {
		args []string
		code int
		says string
	}{
		"refused":      {[]string{"subscriptions", "test", "control", "--file", file}, command.ExitNotThere, "403 Forbidden"},
		"not in there": {[]string{"subscriptions", "test", "nobody", "--file", file}, command.ExitRefused, "no subscription"},
		"no file":      {[]string{"subscriptions", "test", "control"}, command.ExitMisused, "--file"},
		"no name":      {[]string{"subscriptions", "test", "--file", file}, command.ExitMisused, "name one subscription"},
	} {
		got := do(t, tc.args...)
		if got.code != tc.code {
			t.Errorf("%s: exit code %d, want %d: %s", why, got.code, tc.code, got.err)
		}
		requireIn(t, got.err, tc.says)
	}
	requireIn(t, must(t, "subscriptions", "--data", t.TempDir()), "nobody was told of anything yet")
}

// What was set aside is listed with its reason, and sent again when somebody says so.
func TestSubscriptions_WhatWasSetAsideIsSentAgain(t *testing.T) {
	var status atomic.Int32
	status.Store(http.StatusUnprocessableEntity)
	var told atomic.Value
	receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		told.Store(r.Header.Get("webhook-id"))
		w.WriteHeader(int(status.Load()))
	}))
	defer receiver.Close()
	file, data := subscriptionsFile(t, receiver.URL), t.TempDir()
	of := filepath.Join(data, "subscriptions", "control.aside")
	if err := os.MkdirAll(of, 0o700); err != nil {
		t.Fatal(err)
	}
	const aside = `{"version":1,"subscription":"control","id":"7-ab-p2-found-00","source":"/bayround/journals/x","time":"2026-03-02T07:30:00Z",
		"notice":{"kind":"defect.found","vehicle":"vehicles/p2","call_sign":"Q2"},"refused_since":"2026-03-03T07:30:00Z","tries":103,"last_error":"the receiver answered 422"}`
	if err := os.WriteFile(filepath.Join(of, "7-ab-p2-found-00.json"), []byte(aside), 0o600); err != nil {
		t.Fatal(err)
	}
	requireIn(t, must(t, "subscriptions", "--data", data), "undeliverable", "7-ab-p2-found-00", "defect.found", "Q2", "103 times", "the receiver answered 422")
	again := []string{"subscriptions", "again", "control", "--file", file, "--data", data}
	for why, tc := range map[string]struct {
		args []string
		code int
		says string
	}{
		"refused further": {again, command.ExitNotThere, "1 event of 1 not taken"},
		"not aside":       {append(again, "8"), command.ExitRefused, `no event "8" of control was set aside`},
		"no name":         {[]string{"subscriptions", "again", "--file", file}, command.ExitMisused, "name one subscription"},
		"no file":         {[]string{"subscriptions", "again", "control"}, command.ExitMisused, "--file"},
	} {
		got := do(t, tc.args...)
		if got.code != tc.code {
			t.Errorf("%s: exit code %d, want %d: %s", why, got.code, tc.code, got.err)
		}
		requireIn(t, got.err, tc.says)
	}
	requireIn(t, must(t, "subscriptions", "--data", data), "104 times", "422 Unprocessable Entity")
	status.Store(http.StatusNoContent)
	requireIn(t, must(t, append(again, "7-ab-p2-found-00")...), "control took 7-ab-p2-found-00")
	if told.Load() != "7-ab-p2-found-00" {
		t.Errorf("it was sent as %v", told.Load())
	}
	requireIn(t, must(t, again...), "nothing of control was set aside")
}
