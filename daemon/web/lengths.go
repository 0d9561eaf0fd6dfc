package web

import (
	"bytes"
	"cmp"
	"net/http"
	"strings"

	"endshake/schedule"
	"endshake/wear"
)

// unitsOf is the unit that a reader is shown first.
func unitsOf(f schedule.Fleet, a schedule.Actor) wear.Unit {
	p, _ := f.Person(a.Person)
	return cmp.Or(p.Units, wear.MM)
}

// units is the unit that stands first on the page that answers a request.
func (s *server) units(r *http.Request, v view) wear.Unit {
	if v.Units != "" {
		return v.Units
	}
	if snap := s.Desk.Snapshot(); snap != nil {
		return unitsOf(snap.Fleet, by(r))
	}
	return wear.MM
}

// ownFirst puts the reader's unit first in all that a page says in both systems.
// It leaves alone what somebody else wrote and what a form gives back: the text
// of a pre and a textarea, of what has the class "words", and every attribute.
func ownFirst(u wear.Unit, page []byte) []byte {
	if u != wear.Thou {
		return page
	}
	var out bytes.Buffer
	out.Grow(len(page))
	theirs := false
	for len(page) > 0 {
		tag := bytes.IndexByte(page, '<')
		if tag < 0 {
			tag = len(page)
		}
		if text := page[:tag]; theirs || !bytes.ContainsAny(text, "(,") {
			out.Write(text)
		} else {
			out.WriteString(wear.OwnFirst(u, string(text)))
		}
		page = page[tag:]
		end := bytes.IndexByte(page, '>') + 1
		if end == 0 {
			end = len(page)
		}
		head := string(page[:end])
		theirs = strings.HasPrefix(head, "<pre") || strings.HasPrefix(head, "<textarea") || strings.Contains(head, ` class="words"`)
		out.WriteString(head)
		page = page[end:]
	}
	return out.Bytes()
}
