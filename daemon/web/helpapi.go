package web

import (
	"cmp"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"endshake/daemon/web/api"
	"endshake/schedule"
)

// programmerPage says how a program gets at what the pages show.
type programmerPage struct {
	Open      bool // nobody logs in here: a token is not needed
	Gives     bool // the reader gives tokens
	Read, Log []string
	Addresses []api.Address
	Scopes    []pair
	Most      int // entries on a page of a list
}

// helpAPI is the help for programmers. Its lines for the shell name a clock that
// the reader can see.
func (s *server) helpAPI(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	page := programmerPage{Open: s.Logins == nil && known(s.Everyone), Gives: s.Tokens != nil && by(r).Conservator, Most: mostLimit}
	clock, bearing := "a-clock", "a-bearing"
	for _, a := range snap.Clocks {
		if len(a.Outlooks) > 0 {
			clock, bearing = a.Clock.Slug, a.Outlooks[0].Bearing.Code
			break
		}
	}
	base := strings.TrimSuffix(cmp.Or(s.Base, s.Near, "http://127.0.0.1:8080/"), "/")
	token := `-H "Authorization: Bearer $TOKEN" `
	at := base + "/api/clocks/" + url.PathEscape(clock)
	page.Read = []string{"curl " + token + base + "/api/fleet", "curl " + token + at + "/bearings/" + url.PathEscape(bearing)}
	now := s.Now().UTC().Truncate(time.Second).Format(time.RFC3339)
	page.Log = []string{fmt.Sprintf(`curl %s-H "Content-Type: application/json" -H "Idempotency-Key: look-%s" -d '{"kind": "noted", "at": "%s", "note": "Looked in: it goes."}' %s/log`,
		token, strings.ReplaceAll(now, ":", ""), now, at)}
	for _, rt := range s.apiRoutes() {
		page.Addresses = append(page.Addresses, api.Address{Path: rt.path, About: apiAbout[rt.path]})
	}
	for _, scope := range schedule.Scopes {
		page.Scopes = append(page.Scopes, pair{string(scope), scopeWords[scope]})
	}
	s.show(w, r, http.StatusOK, "helpapi", view{Title: "For programmers", Here: "/help", Body: page})
}
