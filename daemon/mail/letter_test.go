package mail

import (
	"bytes"
	"encoding/base64"
	"html"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"net/textproto"
	"regexp"
	"strings"
	"testing"
)

// letter is a message as the standard library reads it: net/mail, mime and
// mime/multipart are the outside reference for what is composed here.
type letter struct {
	head       mail.Header
	text, html string
	words      string            // of the HTML, without its tags
	pictures   map[string][]byte // by Content-Id
	order      []string          // of the pictures
	calendar   []byte            // nil: none
	file       string            // its name
}

var tags = regexp.MustCompile(`(?s)<style>.*?</style>|<[^>]*>`)

// squeeze makes two texts comparable however their lines are broken.
func squeeze(s string) string { return strings.Join(strings.Fields(s), " ") }

// part is one part of a multipart, decoded.
type part struct {
	kind   string
	params map[string]string
	head   textproto.MIMEHeader
	body   []byte
}

// partsOf takes a multipart apart, and fails where it does not end properly.
func partsOf(t *testing.T, body io.Reader, boundary string) []part {
	t.Helper()
	var out []part
	for r := multipart.NewReader(body, boundary); ; {
		p, err := r.NextRawPart()
		if err == io.EOF {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		got := part{head: p.Header}
		if got.kind, got.params, err = mime.ParseMediaType(p.Header.Get("Content-Type")); err != nil {
			t.Fatal(err)
		}
		var decoded io.Reader = p
		switch p.Header.Get("Content-Transfer-Encoding") {
		case "quoted-printable":
			decoded = quotedprintable.NewReader(p)
		case "base64":
			decoded = base64.NewDecoder(base64.StdEncoding, p)
		}
		if got.body, err = io.ReadAll(decoded); err != nil {
			t.Fatal(err)
		}
		out = append(out, got)
	}
}

// read takes a message apart: the text first, then the HTML or a
// multipart/related of the HTML with its pictures; where a date is set, both in
// a multipart/mixed with a calendar.
func read(t *testing.T, raw []byte) letter {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	kind, params, err := mime.ParseMediaType(m.Header.Get("Content-Type"))
	if err != nil {
		t.Fatal(err)
	}
	l := letter{head: m.Header}
	body := m.Body
	if kind == "multipart/mixed" {
		mixed := partsOf(t, body, params["boundary"])
		if len(mixed) != 2 || mixed[1].kind != "text/calendar" {
			t.Fatalf("a multipart/mixed of %d parts", len(mixed))
		}
		how, with, err := mime.ParseMediaType(mixed[1].head.Get("Content-Disposition"))
		if err != nil || how != "attachment" || mixed[1].params["method"] != "PUBLISH" || mixed[1].params["charset"] != "utf-8" {
			t.Errorf("the calendar comes as %v", mixed[1].head)
		}
		l.calendar, l.file = mixed[1].body, with["filename"]
		kind, params, body = mixed[0].kind, mixed[0].params, bytes.NewReader(mixed[0].body)
	}
	if kind != "multipart/alternative" {
		t.Fatalf("content type %q", kind)
	}
	parts := partsOf(t, body, params["boundary"])
	if len(parts) == 2 && parts[1].kind == "multipart/related" {
		parts[1] = l.readRelated(t, parts[1])
	}
	if len(parts) != 2 || parts[0].kind != "text/plain" || parts[1].kind != "text/html" {
		t.Fatalf("%d parts, want text/plain and text/html", len(parts))
	}
	for _, p := range parts {
		if p.head.Get("Content-Transfer-Encoding") != "quoted-printable" || p.params["charset"] != "utf-8" {
			t.Errorf("part %v, want UTF-8 in quoted-printable", p.head)
		}
	}
	l.text, l.html = string(parts[0].body), string(parts[1].body)
	l.words = squeeze(html.UnescapeString(tags.ReplaceAllString(l.html, " ")))
	return l
}

// readRelated keeps the pictures of a multipart/related and gives its HTML.
func (l *letter) readRelated(t *testing.T, p part) part {
	t.Helper()
	related := partsOf(t, bytes.NewReader(p.body), p.params["boundary"])
	if len(related) < 2 || p.params["type"] != "text/html" {
		t.Fatalf("a multipart/related of %d parts: %v", len(related), related)
	}
	l.pictures = map[string][]byte{}
	for _, pic := range related[1:] {
		if pic.kind != "image/png" {
			t.Errorf("a picture of the kind %s", pic.kind)
		}
		cid := strings.Trim(pic.head.Get("Content-Id"), "<>")
		l.pictures[cid], l.order = pic.body, append(l.order, cid)
	}
	return related[0]
}
