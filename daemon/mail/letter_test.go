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
	words      string // of the HTML, without its tags
	picture    []byte // nil: none
	cid        string // the picture's Content-Id
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
// multipart/related of the HTML with its picture.
func read(t *testing.T, raw []byte) letter {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	kind, params, err := mime.ParseMediaType(m.Header.Get("Content-Type"))
	if err != nil || kind != "multipart/alternative" {
		t.Fatalf("content type %q, %v", kind, err)
	}
	parts := partsOf(t, m.Body, params["boundary"])
	l := letter{head: m.Header}
	if len(parts) == 2 && parts[1].kind == "multipart/related" {
		related := partsOf(t, bytes.NewReader(parts[1].body), parts[1].params["boundary"])
		if len(related) != 2 || related[1].kind != "image/png" || parts[1].params["type"] != "text/html" {
			t.Fatalf("a multipart/related of %d parts: %v", len(related), related)
		}
		l.picture, l.cid = related[1].body, strings.Trim(related[1].head.Get("Content-Id"), "<>")
		parts[1] = related[0]
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
