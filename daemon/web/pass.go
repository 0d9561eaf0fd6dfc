package web

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"time"

	"endshake/schedule"
)

// Passes are what letters let their readers do with no login.
type Passes interface {
	// Pass finds a pass by its token; a *schedule.Error with NotFound, the same
	// for an unknown token as for what can be none.
	Pass(ctx context.Context, token string) (schedule.Pass, error)
	// Decline keeps that a person will have no more mail of a kind, and Resume
	// takes that back.
	Decline(ctx context.Context, now time.Time, person string, kind schedule.NoticeKind) error
	Resume(ctx context.Context, now time.Time, person string, kind schedule.NoticeKind) error
	// Declined lists what people declined.
	Declined(ctx context.Context) ([]schedule.Decline, error)
}

// linkRoots are where the pages of passes stand.
var linkRoots = []string{"/answer/", "/decline/", "/calendar/", "/join/", "/first/"}

// ofLink gives the root of a path that holds a token; empty: it is no such path.
func ofLink(path string) string {
	for _, root := range linkRoots {
		if len(path) >= len(root) && strings.EqualFold(path[:len(root)], root) {
			return root
		}
	}
	return ""
}

// masked is a path as it may stand in a log: without a token.
func masked(path string) string {
	if root := ofLink(path); root != "" {
		return root + "…"
	}
	return path
}

// secretly sets what keeps an address with a token to its reader: it goes to no
// other site, and into no index.
func secretly(h http.Header) {
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("X-Robots-Tag", "noindex, nofollow")
}

// pass finds the pass of a request for a deed, or answers that there is none. A
// pass for another deed is none.
func (s *server) pass(w http.ResponseWriter, r *http.Request, token string, deed schedule.Deed) (schedule.Pass, bool) {
	if s.Passes == nil {
		s.unknownLink(w, r)
		return schedule.Pass{}, false
	}
	p, err := s.Passes.Pass(r.Context(), token)
	switch {
	case schedule.CodeOf(err) == schedule.NotFound, err == nil && p.Deed != deed:
		s.unknownLink(w, r)
	case err != nil:
		s.fault(w, r, fmt.Errorf("find a pass: %w", err))
	default:
		return p, true
	}
	return schedule.Pass{}, false
}

// unknownLink answers for every token that opens nothing. Who brings many of
// them gets short answers for a while. A right token is never kept waiting: many
// readers may come from one address, behind a proxy.
func (s *server) unknownLink(w http.ResponseWriter, r *http.Request) {
	if s.wrong.take(s.from(r), wrongFor, s.Now()) > 0 {
		w.Header().Set("Retry-After", "60")
		http.Error(w, "That was tried too often. Wait a minute.", http.StatusTooManyRequests)
		return
	}
	s.sorry(w, r, http.StatusNotFound, "This link leads nowhere",
		"Nothing was logged or changed. A mail program may have cut the link off: open the letter again, and take all of it. If that does not help, answer the letter or ask whoever sent it.")
}

// ended answers for a pass that was good once.
func (s *server) ended(w http.ResponseWriter, r *http.Request, why string) {
	s.sorry(w, r, http.StatusGone, "This link is no longer of use", sentence(why))
}

// taken reports in words that a pass was taken back or is over; empty: it holds.
func taken(p schedule.Pass, now time.Time) string {
	switch {
	case !p.Ended.IsZero():
		return "It was taken back on " + day(p.Ended, time.UTC)
	case !p.Ends.IsZero() && !now.Before(p.Ends):
		return "It ended on " + day(p.Ends, time.UTC)
	}
	return ""
}

const (
	// wrongMost is how many wrong tokens one address may bring within wrongFor
	// (judgement, no source).
	wrongMost = 20
	wrongFor  = 200 * time.Second
)

// origin is where a request comes from: an address, of IPv6 the network of one
// household.
func origin(remote string) string {
	host, _, err := net.SplitHostPort(remote)
	if err != nil {
		host = remote
	}
	a, err := netip.ParseAddr(host)
	if err != nil {
		return "elsewhere"
	}
	if a = a.Unmap(); a.Is6() {
		if p, err := a.WithZone("").Prefix(64); err == nil {
			return p.String()
		}
	}
	return a.WithZone("").String()
}
