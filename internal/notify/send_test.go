package notify

import (
	"encoding/base64"
	"net/http"
	"strconv"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"pgregory.net/rapid"
)

// The vector that the Standard Webhooks libraries are tested with (libraries/go/webhook_test.go, v0.0.1).
func TestSign_PublishedVector(t *testing.T) {
	const secret, id, want = "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_p5jXN8AQM9LWM0D4loKWxJek", "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
	key, err := base64.StdEncoding.DecodeString(secret)
	if err != nil {
		t.Fatal(err)
	}
	if got := Sign([][]byte{key}, id, time.Unix(1614265330, 0), []byte(`{"test": 2432232314}`)); got != want {
		t.Errorf("signed %s, want %s", got, want)
	}
}

// Whatever is signed, the Standard Webhooks Go library takes it under each of the keys,
// and under no other; nor when a byte of the body is another.
func TestSign_IsTakenByTheLibraryUnderEachKey(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		keyOf := rapid.SliceOfN(rapid.Byte(), shortestSecret, longestSecret)
		keys := rapid.SliceOfNDistinct(keyOf, 3, 3, func(k []byte) string { return string(k) }).Draw(t, "keys")
		body := rapid.SliceOfN(rapid.Byte(), 1, 200).Draw(t, "body")
		at := time.Unix(rapid.Int64Range(0, 1<<40).Draw(t, "at"), 0)
		id := rapid.StringMatching(`[a-z0-9-]{1,40}`).Draw(t, "id")
		header := http.Header{}
		header.Set("webhook-id", id)
		header.Set("webhook-timestamp", strconv.FormatInt(at.Unix(), 10))
		header.Set("webhook-signature", Sign(keys[:2], id, at, body))
		for i, key := range keys {
			hook, err := standardwebhooks.NewWebhookRaw(key)
			if err != nil {
				t.Fatal(err)
			}
			if err := hook.VerifyIgnoringTimestamp(body, header); (err == nil) != (i < 2) {
				t.Fatalf("key %d of 2: %v", i, err)
			}
			other := append([]byte{body[0] ^ 1}, body[1:]...)
			if hook.VerifyIgnoringTimestamp(other, header) == nil {
				t.Fatal("another body is taken under this signature")
			}
		}
	})
}

// RFC 9110, section 10.2.3, gives both forms; its example of an instant, held against a
// clock that stands half an hour before it.
func TestAskedFor(t *testing.T) {
	now := time.Date(1999, time.December, 31, 23, 29, 59, 0, time.UTC)
	for text, want := range map[string]time.Duration{
		"120":                           2 * time.Minute, // RFC 9110, 10.2.3
		"Fri, 31 Dec 1999 23:59:59 GMT": 30 * time.Minute,
		"Fri, 31 Dec 1999 23:00:00 GMT": 0, // past
		"Fri, 31 Dec 2099 23:59:59 GMT": longestAskedFor,
		"0":                             0,
		"99999999":                      longestAskedFor,
		"99999999999999999999":          0,
		"-5":                            0,
		"1.5":                           0,
		"":                              0,
		"soon":                          0,
	} {
		if got := askedFor(text, now); got != want {
			t.Errorf("%q: %v, want %v", text, got, want)
		}
	}
}

// Pauses double from a second to a quarter of an hour; the dice take away up to a half.
func TestPause_DoublesUpToItsBound(t *testing.T) {
	for failures, want := range map[int]time.Duration{
		1: time.Second, 2: 2 * time.Second, 3: 4 * time.Second, 10: 512 * time.Second, 11: 15 * time.Minute, 1000: 15 * time.Minute, 1 << 40: 15 * time.Minute,
	} {
		if got := pause(failures, 0); got != want {
			t.Errorf("after %d failures %v, want %v", failures, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		failures, dice := rapid.IntRange(1, 1<<30).Draw(t, "failures"), rapid.Float64Range(0, 1).Draw(t, "dice")
		whole := pause(failures, 0)
		if got := pause(failures, dice); got < whole/2 || got > whole || got > longestPause {
			t.Fatalf("%v of %v", got, whole)
		}
		if pause(failures+1, 0) < whole {
			t.Fatal("it gets shorter")
		}
	})
}
