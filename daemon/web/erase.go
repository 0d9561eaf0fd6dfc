package web

import (
	"net/http"
	"net/url"
	"strings"

	"endshake/schedule"
)

// erasePage asks once more whether somebody is to be erased.
type erasePage struct {
	Name, Slug, At, Back, Again string
	Field                       field
	Faults                      []fault
	Roles                       []dutyAt
	Own                         bool // of whoever asks
}

func (s *server) eraseForm(w http.ResponseWriter, r *http.Request) {
	s.showErase(w, r, http.StatusOK, nil)
}

// toErase is whoever the address names.
func (s *server) toErase(w http.ResponseWriter, r *http.Request) (*schedule.Snapshot, schedule.Person, bool) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return nil, schedule.Person{}, false
	}
	p, ok := snap.Fleet.Person(r.PathValue("person"))
	if ok = ok && s.Erase != nil; !ok {
		s.nowhere(w, r)
	}
	return snap, p, ok
}

func (s *server) showErase(w http.ResponseWriter, r *http.Request, status int, faults []fault) {
	snap, p, ok := s.toErase(w, r)
	if !ok {
		return
	}
	page := erasePage{Name: p.Name, Slug: p.Slug, Back: "/people/" + url.PathEscape(p.Slug), Faults: faults, Roles: dutiesBy(snap.Fleet)[p.Slug], Own: p.Slug == by(r).Person}
	page.At = page.Back + "/erase"
	fields := []field{{Name: "sure", Label: "Their short name, " + p.Slug, Input: "text", Required: true, Hint: "Typed in full, so that nobody is erased by a slip.", Auto: "off"}}
	typed(fields, r.PostForm, faults)
	page.Field = fields[0]
	if !s.sure(r) {
		page.Again = againAt(page.At)
	}
	title := "Erase " + p.Name
	if len(faults) > 0 {
		title = "Not yet: " + title
	}
	s.show(w, r, status, "erase", view{Title: title, Here: "/people", Body: page})
}

// erase takes somebody away for good.
func (s *server) erase(w http.ResponseWriter, r *http.Request) {
	_, p, ok := s.toErase(w, r)
	if !ok || !s.surely(w, r, r.URL.Path) {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	if strings.TrimSpace(r.PostForm.Get("sure")) != p.Slug {
		s.showErase(w, r, http.StatusUnprocessableEntity, []fault{{"sure", "Nobody was erased: type " + p.Slug + " here."}})
		return
	}
	e, err := s.Erase(r.Context(), by(r).Name(), p.Slug)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	s.Log.InfoContext(r.Context(), "a person was erased", "now", e.Name())
	if p.Slug != by(r).Person {
		http.Redirect(w, r, "/people?done=erased", http.StatusSeeOther)
		return
	}
	if s.Logins == nil {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	if err := s.sessions.Destroy(r.Context()); err != nil {
		s.fault(w, r, err)
		return
	}
	http.Redirect(w, r, "/login?ended=1", http.StatusSeeOther)
}
