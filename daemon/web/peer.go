package web

import (
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
)

// peer is the address that a request comes from. What X-Forwarded-For says of it
// is believed only where the peer itself is a proxy that was named, and then only
// as far back as proxies that were named lead.
func peer(r *http.Request, proxies []netip.Prefix) string {
	at, ok := addrOf(r.RemoteAddr)
	if !ok {
		return r.RemoteAddr
	}
	chain := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	for _, hop := range slices.Backward(chain) {
		if !slices.ContainsFunc(proxies, func(p netip.Prefix) bool { return p.Contains(at) }) {
			break
		}
		before, ok := addrOf(strings.TrimSpace(hop))
		if !ok {
			break
		}
		at = before
	}
	return at.String()
}

// addrOf reads an address with or without a port.
func addrOf(s string) (netip.Addr, bool) {
	if host, _, err := net.SplitHostPort(s); err == nil {
		s = host
	}
	a, err := netip.ParseAddr(strings.Trim(s, "[]"))
	return a.Unmap().WithZone(""), err == nil
}

// from is where a request comes from, as far as it is counted.
func (s *server) from(r *http.Request) string {
	if s.Logins == nil {
		return origin(r.RemoteAddr)
	}
	return origin(peer(r, s.Logins.Proxies))
}
