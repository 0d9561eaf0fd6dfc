package daemon

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"

	"endshake/daemon/mail"
	"endshake/daemon/web"
)

// pinger is the part of the store that says whether it answers.
type pinger interface {
	Ping(ctx context.Context) error
}

// healthz answers while the process lives.
func healthz(w http.ResponseWriter, _ *http.Request) { fmt.Fprintln(w, "alive") }

// stale is the age at which a snapshot says that something is stuck.
const stale = 3 * reassessEvery

// readyz answers 200 once clocks are assessed and while the database answers.
func readyz(desk *Desk, store pinger, now func() time.Time) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		ctx, cancel := context.WithTimeout(r.Context(), 2*time.Second)
		defer cancel()
		switch {
		case desk.Snapshot() == nil:
			http.Error(w, "not ready: the fleet is not assessed yet", http.StatusServiceUnavailable)
		case now().Sub(desk.Snapshot().Now) > stale:
			http.Error(w, "not ready: the fleet was last assessed "+desk.Snapshot().Now.UTC().Format(time.RFC3339), http.StatusServiceUnavailable)
		case store.Ping(ctx) != nil:
			http.Error(w, "not ready: the database does not answer", http.StatusServiceUnavailable)
		default:
			fmt.Fprintln(w, "ready")
		}
	}
}

// inOneMeaning ends the connection after a request that came in chunks: where it
// gave a length too, or what this server and a proxy in front read differently,
// nothing behind it is taken for a request of its own (RFC 9112, 6.1 and 11.2).
func inOneMeaning(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if len(r.TransferEncoding) > 0 {
			w.Header().Set("Connection", "close")
		}
		next.ServeHTTP(w, r)
	})
}

// ownHost refuses requests that name another host than this one: a page
// elsewhere could otherwise have a browser read and log here, by pointing a
// name of its own at a loopback address. What only says that the service lives,
// and what shows a token, is answered by any name: that of a probe or a scraper.
func ownHost(c Config, next http.Handler) http.Handler {
	base := ""
	if u, err := url.Parse(c.BaseURL); err == nil {
		base = u.Hostname()
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		scrape := r.URL.Path == "/metrics" || r.URL.Path == "/metrics/bearings"
		probe := r.URL.Path == "/healthz" || r.URL.Path == "/readyz" || scrape && web.Bearer(r) != ""
		host := r.Host
		if h, _, err := net.SplitHostPort(host); err == nil {
			host = h
		}
		host = strings.Trim(host, "[]")
		if !probe && !mail.Loopback(host) && !(base != "" && strings.EqualFold(host, base)) {
			http.Error(w, "this service does not go by that name: use its own address, or set --base-url", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}
