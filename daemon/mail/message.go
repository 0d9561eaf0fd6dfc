package mail

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"mime"

	"github.com/emersion/go-message"

	"endshake/schedule"
)

// content is what a letter says, in two forms, with its pictures and dates.
type content struct {
	text, html string
	pictures   []picture
	calendar   []byte // RFC 5545; nil: no date is set
}

// picture is a PNG that the HTML shows.
type picture struct {
	cid  string // what html calls it by
	name string // of the file
	png  []byte
}

// boundaries separate the parts of a message. "=_" never occurs in
// quoted-printable text (RFC 2045 6.7) or in base64, and what follows from the
// ID is the same every time.
type boundaries [sha256.Size]byte

func (b boundaries) of(level int) string { return fmt.Sprintf("=_%x", b[8*level:8*level+8]) }

// assemble makes the message of RFC 5322. Text is quoted-printable and pictures
// base64, so that no line is longer than 76 characters:
//
//	multipart/mixed              only where a date is set
//	  multipart/alternative
//	    text/plain
//	    multipart/related        only where there are pictures (RFC 2387)
//	      text/html
//	      image/png
//	  text/calendar              attached, so that nobody takes it for an invitation
func assemble(n schedule.Notice, h message.Header, c content) ([]byte, error) {
	edges := boundaries(sha256.Sum256([]byte(n.ID)))
	top := map[string]string{"boundary": edges.of(0)}
	if c.calendar == nil {
		h.SetContentType("multipart/alternative", top)
	} else {
		h.SetContentType("multipart/mixed", top)
	}
	var b bytes.Buffer
	w, err := message.CreateWriter(&b, h)
	if err != nil {
		return nil, fmt.Errorf("compose: headers: %w", err)
	}
	if c.calendar == nil {
		err = writeForms(w, edges, c)
	} else {
		err = writeMixed(w, edges, c)
	}
	if err := errors.Join(err, w.Close()); err != nil {
		return nil, fmt.Errorf("compose: body: %w", err)
	}
	return b.Bytes(), nil
}

// writeMixed writes the two forms of a letter and its calendar.
func writeMixed(w *message.Writer, edges boundaries, c content) error {
	var h message.Header
	h.SetContentType("multipart/alternative", map[string]string{"boundary": edges.of(1)})
	forms, err := w.CreatePart(h)
	if err != nil {
		return err
	}
	if err := errors.Join(writeForms(forms, edges, c), forms.Close()); err != nil {
		return err
	}
	const file = "clocks.ics"
	var p message.Header
	p.Set("Content-Transfer-Encoding", "quoted-printable")
	p.SetContentDisposition("attachment", map[string]string{"filename": file})
	p.Set("Content-Type", mime.FormatMediaType("text/calendar", map[string]string{"charset": "utf-8", "method": "PUBLISH", "name": file}))
	return writePart(w, p, c.calendar)
}

// writeForms writes the plain text, and then what says the same in HTML.
func writeForms(w *message.Writer, edges boundaries, c content) error {
	if err := textPart(w, "text/plain", c.text); err != nil {
		return err
	}
	if len(c.pictures) == 0 {
		return textPart(w, "text/html", c.html)
	}
	var h message.Header
	h.SetContentType("multipart/related", map[string]string{"boundary": edges.of(2), "type": "text/html"})
	related, err := w.CreatePart(h)
	if err != nil {
		return err
	}
	err = textPart(related, "text/html", c.html)
	for _, pic := range c.pictures {
		var p message.Header
		p.Set("Content-Transfer-Encoding", "base64")
		p.Set("Content-Id", "<"+pic.cid+">")
		p.SetContentDisposition("inline", map[string]string{"filename": pic.name})
		p.SetContentType("image/png", nil)
		err = errors.Join(err, writePart(related, p, pic.png))
	}
	return errors.Join(err, related.Close())
}

func textPart(w *message.Writer, kind, body string) error {
	var h message.Header
	h.Set("Content-Transfer-Encoding", "quoted-printable")
	h.SetContentType(kind, map[string]string{"charset": "utf-8"})
	return writePart(w, h, []byte(body))
}

func writePart(w *message.Writer, h message.Header, body []byte) error {
	p, err := w.CreatePart(h)
	if err != nil {
		return err
	}
	_, err = p.Write(body)
	return errors.Join(err, p.Close())
}
