package web

import (
	"fmt"
	"html/template"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"rsc.io/qr"

	"endshake/schedule"
)

// labelsAtOnce is how many labels stand on one page: six sheets of A4.
const labelsAtOnce = 48

// labelPage is labels to be cut out and put up beside clocks.
type labelPage struct {
	One    bool // of one clock
	Clock  schedule.Clock
	Labels []codeLabel
	NoBase bool   // the address of these pages is not known
	Here   bool   // or is good on this machine alone
	Next   string // address of the next page of them; empty: none
}

// codeLabel leads whoever stands before a clock to its page.
type codeLabel struct {
	Clock, Place string
	Address      string // as it is read out, without its scheme
	Code         template.HTML
	Do           string // what to do when the clock has stopped
}

// label shows the label of a clock.
func (s *server) label(w http.ResponseWriter, r *http.Request) {
	a, snap, ok := s.assessment(w, r)
	if !ok {
		return
	}
	page := labelPage{One: true, Clock: a.Clock, NoBase: s.Base == "", Here: onlyHere(s.Base)}
	if err := s.addLabel(&page, snap, a); err != nil {
		s.fault(w, r, err)
		return
	}
	s.show(w, r, http.StatusOK, "label", view{Title: "Label of " + a.Clock.Name, Here: "/", Body: page})
}

// labels shows those of the fleet.
func (s *server) labels(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	from, err := strconv.Atoi(r.URL.Query().Get("from"))
	if err != nil || from < 0 || from >= len(snap.Clocks) {
		from = 0
	}
	page := labelPage{NoBase: s.Base == "", Here: onlyHere(s.Base)}
	end := min(from+labelsAtOnce, len(snap.Clocks))
	for _, a := range snap.Clocks[from:end] {
		if err := s.addLabel(&page, snap, a); err != nil {
			s.fault(w, r, err)
			return
		}
	}
	if end < len(snap.Clocks) {
		page.Next = "/labels?from=" + strconv.Itoa(end)
	}
	s.show(w, r, http.StatusOK, "label", view{Title: "Labels", Here: "/", Body: page})
}

// onlyHere reports whether an address leads nowhere from another machine.
func onlyHere(base string) bool {
	u, err := url.Parse(base)
	if err != nil {
		return false
	}
	ip := net.ParseIP(u.Hostname())
	return u.Hostname() == "localhost" || ip != nil && ip.IsLoopback()
}

func (s *server) addLabel(page *labelPage, snap *schedule.Snapshot, a schedule.Assessment) error {
	l := codeLabel{Clock: a.Clock.Name, Place: placeOf(a), Do: "Stopped? Leave it as it is, scan this and press \u201cFound stopped\u201d."}
	if people := duties(snap.Fleet, a.Clock); len(people) > 0 {
		l.Do += " No login? Tell " + people[0].Name + "."
	}
	if s.Base != "" {
		to := strings.TrimSuffix(s.Base, "/") + "/clock/" + url.PathEscape(a.Clock.Slug)
		_, l.Address, _ = strings.Cut(to, "://")
		code, err := qr.Encode(to, qr.M)
		if err != nil {
			return fmt.Errorf("draw the code of %s: %w", a.Clock.Slug, err)
		}
		l.Code = drawn(code, "Code that leads to the page of "+a.Clock.Name)
	}
	page.Labels = append(page.Labels, l)
	return nil
}

// quiet is the white edge that a reader of codes needs, in modules (ISO/IEC
// 18004: four).
const quiet = 4

// drawn is a code as a picture for print, black on white whatever the page is.
func drawn(code *qr.Code, title string) template.HTML {
	var path strings.Builder
	for y := range code.Size {
		for x := 0; x < code.Size; x++ {
			if !code.Black(x, y) {
				continue
			}
			n := 1
			for code.Black(x+n, y) { // nothing is black beyond the edge
				n++
			}
			fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", x+quiet, y+quiet, n, n)
			x += n
		}
	}
	size := code.Size + 2*quiet
	return template.HTML(fmt.Sprintf(`<svg class="code" role="img" viewBox="0 0 %d %d" shape-rendering="crispEdges"><title>%s</title><path fill="#fff" d="M0 0h%dv%dH0z"/><path fill="#000" d="%s"/></svg>`,
		size, size, template.HTMLEscapeString(title), size, size, path.String()))
}
