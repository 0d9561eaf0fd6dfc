package web

import (
	"bytes"
	"encoding/base64"
	"io"
	"mime"
	"strings"

	"github.com/emersion/go-message"
	"github.com/emersion/go-message/mail"
)

// letter is a message taken apart for reading.
type letter struct {
	Title   string
	Headers []header
	Text    string
	HTML    string // with its own pictures put in
	Trouble string // it could not be read to its end
}

// header is one line of a message's head.
type header struct{ Name, Value string }

// mostPart is the most of one part that is read.
const mostPart = 4 << 20

// noSubject stands for a subject that is missing or cannot be read.
const noSubject = "no subject"

// titleOf reads a message's subject and no further.
func titleOf(raw []byte) string {
	m, err := message.Read(bytes.NewReader(raw))
	if err != nil && !message.IsUnknownCharset(err) {
		return noSubject
	}
	if subject, err := m.Header.Text("Subject"); err == nil && subject != "" {
		return subject
	}
	return noSubject
}

// readLetter takes a message apart; what cannot be read is left out and said.
func readLetter(raw []byte) letter {
	l := letter{Title: titleOf(raw)}
	m, err := mail.CreateReader(bytes.NewReader(raw))
	if err != nil && !message.IsUnknownCharset(err) {
		l.Trouble = "This message cannot be read."
		return l
	}
	defer func() { _ = m.Close() }() // nothing is held open
	for _, name := range []string{"From", "To", "Date", "Subject", "Message-Id", "Reply-To", "List-Unsubscribe", "Auto-Submitted"} {
		if v, err := m.Header.Text(name); err == nil && v != "" {
			l.Headers = append(l.Headers, header{name, v})
		}
	}
	pictures := map[string]string{}
	for {
		p, err := m.NextPart()
		if err == io.EOF {
			break
		}
		if err != nil && !message.IsUnknownCharset(err) {
			l.Trouble = "The rest of this message cannot be read."
			break
		}
		l.take(p, pictures)
	}
	for id, data := range pictures {
		l.HTML = strings.ReplaceAll(l.HTML, "cid:"+id, data)
	}
	return l
}

// take reads one part into its place.
func (l *letter) take(p *mail.Part, pictures map[string]string) {
	kind, _, _ := mime.ParseMediaType(p.Header.Get("Content-Type")) // none: plain text
	body, err := io.ReadAll(io.LimitReader(p.Body, mostPart))
	if err != nil {
		l.Trouble = "A part of this message cannot be read."
		return
	}
	switch {
	case kind == "text/html" && l.HTML == "":
		l.HTML = string(body)
	case (kind == "text/plain" || kind == "") && l.Text == "":
		l.Text = string(body)
	case kind == "image/png":
		if id := strings.Trim(p.Header.Get("Content-Id"), "<> "); id != "" {
			pictures[id] = "data:image/png;base64," + base64.StdEncoding.EncodeToString(body)
		}
	}
}
