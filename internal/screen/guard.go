package screen

import (
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
)

// policy is what a page may load and do: nothing but what this program serves.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; " +
	"base-uri 'none'; form-action 'self'; frame-ancestors 'none'; " +
	"require-trusted-types-for 'script'; trusted-types bayround"

// guard lets through only what is addressed to one of hosts and, if it changes
// something, does not come from another site's page.
//
// Without the list of hosts a page of anywhere could point a name of its own at this
// machine and then speak to it as its own (DNS rebinding).
func guard(hosts []string, next http.Handler) http.Handler {
	next = http.NewCrossOriginProtection().Handler(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		if !known(hosts, r.Host) {
			http.Error(w, "This kiosk is not called that. Use the address it printed when it started.", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// known says whether host is on the list, with its port or without.
func known(hosts []string, host string) bool {
	host = strings.ToLower(host)
	name := host
	if only, _, err := net.SplitHostPort(host); err == nil {
		name = only
	}
	return slices.ContainsFunc(hosts, func(h string) bool {
		h = strings.ToLower(h)
		return h == host || h == name || h == "["+name+"]"
	}) && host != ""
}

// sameOrigin says whether a socket is asked for by a page of this very server. A
// browser lets a page of any site open a socket to here and always names the
// page's origin; what names none is no browser.
func sameOrigin(r *http.Request) bool {
	origin, err := url.Parse(r.Header.Get("Origin"))
	if err != nil || origin.Host == "" {
		return false
	}
	scheme := "http"
	if r.TLS != nil {
		scheme = "https"
	}
	return origin.Scheme == scheme && strings.EqualFold(origin.Host, r.Host) && origin.Path == ""
}
