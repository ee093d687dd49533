package notify

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"crypto/tls"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"bayround/internal/notice"
)

const (
	attemptTimeout  = 15 * time.Second // of one attempt, from connecting to the end of the answer
	longestAnswer   = 64 << 10         // bytes of an answer that are read
	firstPause      = time.Second
	longestPause    = 15 * time.Minute
	longestAskedFor = 24 * time.Hour // that a receiver may ask us to wait
)

// outcome is what came of an attempt.
type outcome struct {
	err     error         // nil when the receiver has it
	gone    bool          // the receiver wants nothing more
	refused bool          // it is the message that is in the way, not the receiver
	after   time.Duration // that the receiver asked to wait; 0 when it did not
}

// client makes attempts. It follows no redirect, so that nothing is sent anywhere but
// where the file says, and reads no proxy from the environment.
func client() *http.Client {
	return &http.Client{
		Timeout:       attemptTimeout,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{
			TLSClientConfig: &tls.Config{MinVersion: tls.VersionTLS12}, MaxIdleConnsPerHost: 1, IdleConnTimeout: 90 * time.Second,
			TLSHandshakeTimeout: attemptTimeout, MaxResponseHeaderBytes: longestAnswer, ForceAttemptHTTP2: true,
		},
	}
}

// Sign is the webhook-signature of a message by the Standard Webhooks text (symmetric
// signatures, v1): one signature for each key, with blanks between.
func Sign(keys [][]byte, id string, at time.Time, body []byte) string {
	signatures := make([]string, len(keys))
	for i, key := range keys {
		mac := hmac.New(sha256.New, key)
		_, _ = fmt.Fprintf(mac, "%s.%d.%s", id, at.Unix(), body)
		signatures[i] = "v1," + base64.StdEncoding.EncodeToString(mac.Sum(nil))
	}
	return strings.Join(signatures, " ")
}

// attempt sends a message once. now is by the computer's clock: receivers hold the
// time of the attempt against theirs.
func (s Subscription) attempt(ctx context.Context, by *http.Client, m notice.Message, now time.Time) outcome {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, s.URL.String(), bytes.NewReader(m.Body))
	if err != nil {
		return outcome{err: err}
	}
	for name, value := range m.Header {
		req.Header.Set(name, value)
	}
	req.Header.Set("User-Agent", "bayround")
	req.Header.Set("webhook-id", m.ID)
	req.Header.Set("webhook-timestamp", strconv.FormatInt(now.Unix(), 10))
	req.Header.Set("webhook-signature", Sign(s.Secrets, m.ID, now, m.Body))
	resp, err := by.Do(req)
	if err != nil {
		return outcome{err: withoutURL(err)}
	}
	defer func() { _ = resp.Body.Close() }()
	_, _ = io.CopyN(io.Discard, resp.Body, longestAnswer) // so that the connection can be used again; what it says does not matter
	return judge(resp, now)
}

// Test sends a message that tells of nothing, once, and says what went wrong. Id is to
// be a new one each time.
func (s Subscription) Test(ctx context.Context, id string, now time.Time) error {
	m, err := notice.Test(id, now, s.Mode)
	if err != nil {
		return fmt.Errorf("encode %s: %w", id, err)
	}
	by := client()
	defer by.CloseIdleConnections()
	return s.attempt(ctx, by, m, now).err
}

// withoutURL is an error of a client without the address, which may hold what nobody
// else is to read.
func withoutURL(err error) error {
	if of := (*url.Error)(nil); errors.As(err, &of) {
		return of.Err
	}
	return err
}

// judge says what an answer means.
func judge(resp *http.Response, now time.Time) outcome {
	// The receiver's own words are not repeated: they may say anything.
	answered := fmt.Sprintf("the receiver answered %d %s", resp.StatusCode, http.StatusText(resp.StatusCode))
	switch code := resp.StatusCode; {
	case code >= 200 && code < 300:
		return outcome{}
	case code == http.StatusGone:
		return outcome{gone: true, err: errors.New(answered + ": it wants nothing more")}
	case code >= 300 && code < 400:
		return outcome{err: errors.New(answered + "; redirects are not followed, give the address it leads to")}
	case code == http.StatusTooManyRequests || code == http.StatusServiceUnavailable:
		return outcome{err: errors.New(answered), after: askedFor(resp.Header.Get("Retry-After"), now)}
	default:
		return outcome{err: errors.New(answered), refused: slices.Contains(ofTheMessage(), code)}
	}
}

// ofTheMessage are the codes of an answer that speak of what was sent (RFC 9110, section
// 15.5, and 500: the receiver broke over it). The others speak of the receiver, of its
// address or of who asks.
func ofTheMessage() []int {
	return []int{http.StatusBadRequest, http.StatusConflict, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity, http.StatusInternalServerError}
}

// askedFor reads a Retry-After (RFC 9110, section 10.2.3): seconds or an instant. What
// cannot be read is 0.
func askedFor(text string, now time.Time) time.Duration {
	var d time.Duration
	if seconds, err := strconv.ParseUint(text, 10, 31); err == nil {
		d = time.Duration(seconds) * time.Second
	} else if at, err := http.ParseTime(text); err == nil {
		d = at.Sub(now)
	}
	return min(max(d, 0), longestAskedFor)
}

// pause is how long to wait after so many failures in a row: twice as long each time,
// of which the dice, from 0 to 1, take away up to a half.
func pause(failures int, dice float64) time.Duration {
	d := longestPause
	if shift := max(failures-1, 0); shift < 10 {
		d = min(firstPause<<shift, longestPause)
	}
	return d - time.Duration(dice*float64(d)/2)
}
