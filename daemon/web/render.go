package web

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

//go:embed page/*.html
var pageFiles embed.FS

// views are the parsed templates: one layout with each page.
type views struct {
	pages map[string]*template.Template
	files *files
}

// pageNames are the pages, each in a file of its own beside the layout.
var pageNames = []string{"fleet", "clock", "bearing", "compare", "due", "outlook", "timechange", "log", "do", "done", "label", "card", "cardentry",
	"mail", "letter", "inward", "inwardmessage", "reckoner", "bench", "settings", "help", "helpapi", "answer", "answered", "decline", "error",
	"login", "code", "codes", "join", "forgot", "people", "invite", "person", "me", "programs", "audit", "erase", "export", "limits", "oldbook", "past", "report", "rounds", "round", "myrounds"}

// allViews are those of every server: they do not change once parsed.
var allViews = sync.OnceValue(newViews)

func newViews() *views {
	v := &views{pages: map[string]*template.Template{}, files: newFiles()}
	layout := template.Must(template.New("layout.html").Funcs(helpers).ParseFS(pageFiles, "page/layout.html", "page/part.html", "page/care.html"))
	for _, name := range pageNames {
		t := template.Must(template.Must(layout.Clone()).ParseFS(pageFiles, "page/"+name+".html"))
		v.pages[name] = t
	}
	return v
}

// view is what the layout needs around the body of a page.
type view struct {
	Title string // the page's own, in the browser's tab
	Here  string // which link of the top line it belongs to
	Body  any
	// Banner is the first sentence of the line above every page, BannerMore the
	// rest of it.
	Banner, BannerMore string
	Style              string // address of the style sheet
	Icon               string
	Script             string
	// Manifest is the address of what a telephone keeps of the pages as a whole.
	Manifest string
	// Away says that the database does not answer; empty: it does.
	Away string
	Now  time.Time // when what it shows was assessed; zero: the latest of all
	AsOf string    // the same in words, in the reader's own zone
	// Zone is that of the one clock that the page is about; nil: of several.
	Zone  *time.Location
	There string    // how that differs from the reader's own; empty: not
	Units wear.Unit // stands first; empty: that of whoever is logged in
	Bare  bool      // the page of a link in a letter, that leads nowhere else
	Out   bool      // nobody is logged in where people do
	Whose string    // see whose
	Me    string    // who is logged in; empty: nobody logs in
	Runs  bool      // the reader runs the fleet
	// Settings are shown to whoever runs the fleet.
	Settings bool
}

// show renders a page in memory and only then answers, so that a broken
// template gives an error page and never half a page.
func (s *server) show(w http.ResponseWriter, r *http.Request, status int, name string, v view) {
	page, err := s.render(r, name, v)
	if err == nil {
		if ofLink(r.URL.Path) == "" && !secretPages[name] {
			w.Header().Add("Vary", "Accept-Encoding")
			if takesGzip(r) {
				w.Header().Set("Content-Encoding", "gzip")
				page = squeezed(page)
			}
		}
		s.send(w, r, status, page)
		return
	}
	if name == "error" {
		s.Log.ErrorContext(r.Context(), "page failed", "error", err)
		http.Error(w, "Something went wrong here. Try again in a minute.", http.StatusInternalServerError)
		return
	}
	s.fault(w, r, err)
}

// secretPages may hold a token, an address that is one, or a new secret: they go
// out as they are, for what a squeezed page holds can be told from its length by
// whoever has it hold their own guesses as well. The pages of letters' links too.
var secretPages = map[string]bool{"answer": true, "answered": true, "decline": true, "join": true, "codes": true, "code": true, "programs": true,
	"person": true, "invite": true, "me": true, "letter": true, "inwardmessage": true}

// render makes a page with the layout around it.
func (s *server) render(r *http.Request, name string, v view) ([]byte, error) {
	v.Banner, v.Bare = s.Banner, ofLink(r.URL.Path) != ""
	if first, rest, ok := strings.Cut(s.Banner, ". "); ok {
		v.Banner, v.BannerMore = first+".", rest
	}
	v.Style, v.Icon, v.Script = s.views.files.path("endshake.css"), s.views.files.path("mark.svg"), s.views.files.path("keep.js")
	v.Manifest = s.views.files.path(manifestFile)
	v.Whose = s.whose(r)
	v.Out = s.Logins != nil && !known(by(r))
	v.Settings = s.Settings != nil
	v.Runs = by(r).Conservator && !mustSetUp(account(r))
	words := instantWords(time.UTC, nil)
	if snap := s.Desk.Snapshot(); snap != nil && !v.Out {
		zone, own := time.UTC, (*time.Location)(nil) // own: they chose one
		if p, ok := snap.Fleet.Person(by(r).Person); ok {
			if s.Logins != nil {
				v.Me = p.Name
			}
			if zone = (schedule.Site{Zone: p.Zone}).Location(); p.Zone != "" {
				own = zone
			}
		}
		at := v.Now
		if at.IsZero() {
			at = s.shelf.of(snap).reader(by(r)).asOf
		}
		words = instantWords(zone, own)
		v.AsOf = words(at)
		v.There = there(at, v.Zone, own)
	}
	v.Away = s.awayWords(words)
	var page bytes.Buffer
	if err := s.views.pages[name].ExecuteTemplate(&page, "layout.html", v); err != nil {
		return nil, fmt.Errorf("render page %s: %w", name, err)
	}
	return ownFirst(s.units(r, v), page.Bytes()), nil
}

// instantWords tells an instant in a zone, or as the time of a reader who chose
// one of their own.
func instantWords(zone, own *time.Location) func(time.Time) string {
	return func(at time.Time) string {
		if own != nil {
			return at.In(own).Format("2 Jan 2006, 15:04") + " your time"
		}
		return at.In(zone).Format("2 Jan 2006, 15:04 MST")
	}
}

// there says that the times of a page are those where its clock stands, where the
// reader's own differ.
func there(at time.Time, clock, own *time.Location) string {
	if clock == nil || own == nil {
		return ""
	}
	_, x := at.In(clock).Zone()
	_, y := at.In(own).Zone()
	if x == y {
		return ""
	}
	return fmt.Sprintf("Times here are those where the clock stands (%s): %s there is %s with you (%s).",
		clock, at.In(clock).Format("15:04"), at.In(own).Format("15:04 on 2 Jan"), own)
}

// send answers with a whole page.
func (s *server) send(w http.ResponseWriter, r *http.Request, status int, page []byte) {
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set(headWhose, s.whose(r))
	h.Set("Content-Length", strconv.Itoa(len(page)))
	w.WriteHeader(status)
	if r.Method != http.MethodHead {
		_, _ = w.Write(page) // the reader has gone: nobody is left to tell
	}
}
