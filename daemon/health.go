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

// healthz answers while the process lives.
func healthz(w http.ResponseWriter, _ *http.Request) { fmt.Fprintln(w, "alive") }

// stale is the age at which a snapshot says that something is stuck.
const stale = 3 * reassessEvery

// readyz answers 200 once clocks are assessed and while the database answers and
// takes changes, as the pulse has it, and the time of this machine is believed: it is
// open to everybody, and asks the database nothing.
func readyz(desk *Desk, p *pulse, clock *hostClock) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		answers, takes, seen := p.Standing()
		known := "; what is shown was known at " + seen.UTC().Format(time.RFC3339)
		now, doubt := clock.look()
		at := desk.Snapshot().Now
		switch {
		case doubt != "":
			http.Error(w, "not ready: "+doubt, http.StatusServiceUnavailable)
		case now.Sub(at) > stale:
			http.Error(w, "not ready: the fleet was last assessed "+at.UTC().Format(time.RFC3339), http.StatusServiceUnavailable)
		case p.newer():
			http.Error(w, "not ready: the schema of the database is newer than this endshake knows"+known, http.StatusServiceUnavailable)
		case answers && !takes:
			http.Error(w, "not ready: the database takes no changes"+known, http.StatusServiceUnavailable)
		case !answers:
			http.Error(w, "not ready: the database does not answer"+known, http.StatusServiceUnavailable)
		default:
			fmt.Fprintln(w, "ready")
		}
	}
}

// requestTime bounds what a request asks of a database that does not come to an
// end: less than the pages may take to be sent; awayTime of one that is known not
// to answer.
const (
	requestTime = 20 * time.Second
	awayTime    = 2 * time.Second
)

// guarded is what every request passes on its way to a handler.
func guarded(c Config, p *pulse, next http.Handler) http.Handler {
	return inOneMeaning(ownHost(c, inTime(p, next)))
}

// inTime ends what a request asks of the database in time. What is long on its
// way is not hurried: there each question has the store's own bounds.
func inTime(p *pulse, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if web.LongOnItsWay(r) {
			next.ServeHTTP(w, r)
			return
		}
		most := requestTime
		if !p.answers() {
			most = awayTime
		}
		ctx, cancel := context.WithTimeout(r.Context(), most)
		defer cancel()
		next.ServeHTTP(w, r.WithContext(ctx))
	})
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
