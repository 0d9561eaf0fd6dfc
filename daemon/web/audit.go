package web

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"endshake/schedule"
)

// Change says who changed what.
type Change struct {
	ID                             int64 // counts up in the order of the changes
	At                             time.Time
	Actor, Action, Subject, Detail string
}

// changesAPage is how many changes one page lists.
const changesAPage = 100

// auditPage lists who changed what.
type auditPage struct {
	Lede    string
	Changes []auditLine
	Who     []option
	Of      string
	Older   string // address; empty: none
	Fits    string // whether its rows fit together; empty: not known
	Broken  bool
}

// auditLine is one change. Raw is a description as it was written.
type auditLine struct{ When, Who, What, Of, Address, Detail, Raw string }

// mostDetail is how much of what a change came to is shown: descriptions are long.
const mostDetail = 200

func (s *server) audit(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	if s.Audit == nil {
		s.nowhere(w, r)
		return
	}
	q := r.URL.Query()
	before, err := strconv.ParseInt(q.Get("before"), 10, 64)
	if err != nil || before < 1 {
		before = 0
	}
	page := auditPage{Of: storable(q.Get("who")), Who: []option{{"", "everybody"}}}
	for _, p := range snap.Fleet.People {
		page.Who = append(page.Who, option{p.Slug, p.Name})
	}
	list, err := s.Audit(r.Context(), page.Of, before, changesAPage+1)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	if len(list) > changesAPage {
		list = list[:changesAPage]
		page.Older = "/audit?" + url.Values{"who": {page.Of}, "before": {strconv.FormatInt(list[len(list)-1].ID, 10)}}.Encode()
	}
	for _, c := range list {
		l := newAuditLine(c, snap)
		page.Changes = append(page.Changes, l)
	}
	if err := s.auditFits(r.Context(), &page); err != nil {
		s.fault(w, r, err)
		return
	}
	page.Lede = "Nothing was changed by whoever is asked for."
	if len(list) > 0 {
		page.Lede = "The last change shown was by " + page.Changes[0].Who + ", " + page.Changes[0].When + " UTC: " + page.Changes[0].What + "."
	}
	s.show(w, r, http.StatusOK, "audit", view{Title: "Who changed what", Here: "/people", Body: page})
}

// newAuditLine says a change in words where it can.
func newAuditLine(c Change, snap *schedule.Snapshot) auditLine {
	l := auditLine{When: schedule.Instant(c.At, time.UTC), Who: c.Actor, What: c.Action, Of: c.Subject, Detail: c.Detail}
	if p, ok := snap.Fleet.Person(c.Actor); ok {
		l.Who = p.Name
	}
	kind, slug, _ := strings.Cut(c.Subject, " ")
	if a, ok := snap.Clock(slug); ok && kind == "clock" {
		l.Of, l.Address = a.Clock.Name, "/clock/"+slug
	} else if p, ok := snap.Fleet.Person(slug); ok && kind == "person" {
		l.Of, l.Address = p.Name, "/people/"+slug
	}
	switch {
	case c.Action == "logged": // the rest is the ID of the entry
		l.Detail, _, _ = strings.Cut(c.Detail, " ")
	case strings.HasPrefix(c.Detail, "{"):
		l.Detail, l.Raw = "", c.Detail
	}
	if d := []rune(l.Raw); len(d) > mostDetail {
		l.Raw = string(d[:mostDetail]) + "…"
	}
	return l
}

// auditFits says what the last look at the whole audit found.
func (s *server) auditFits(ctx context.Context, page *auditPage) error {
	if s.AuditCheck == nil {
		return nil
	}
	c, ok, err := s.AuditCheck(ctx)
	if err != nil {
		return err
	}
	page.Fits, page.Broken = "Whether every row fits those before it is looked at each night, for the first time tonight.", ok && !c.Sound()
	if ok {
		page.Fits = c.Sentence(time.UTC)
	}
	return nil
}
