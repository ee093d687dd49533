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
