package mail

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"net/mail"
	"strings"
	"time"

	"github.com/emersion/go-message"
	gomail "github.com/emersion/go-message/mail"

	"endshake/schedule"
)

// assemble makes the message of RFC 5322: multipart/alternative, with the HTML
// and its picture in a multipart/related (RFC 2387). Text is quoted-printable
// and the picture base64, so that no line is longer than 76 characters.
func assemble(n schedule.Notice, from, to *mail.Address, date time.Time, c content) ([]byte, error) {
	var h gomail.Header
	// "=_" never occurs in quoted-printable text (RFC 2045 6.7) or in base64,
	// and boundaries that follow from the ID make the bytes the same every time.
	sum := sha256.Sum256([]byte(n.ID))
	h.SetContentType("multipart/alternative", map[string]string{"boundary": fmt.Sprintf("=_%x", sum[:12])})
	h.Set("Auto-Submitted", "auto-generated") // RFC 3834: nothing answers it by itself
	h.SetMessageID(strings.Trim(n.MessageID, "<>"))
	h.SetDate(date)
	h.SetSubject(n.Title)
	h.SetAddressList("To", []*mail.Address{to})
	h.SetAddressList("From", []*mail.Address{from})

	var b bytes.Buffer
	w, err := message.CreateWriter(&b, h.Header)
	if err != nil {
		return nil, fmt.Errorf("compose: headers: %w", err)
	}
	err = textPart(w, "text/plain", c.text)
	if c.picture == nil {
		err = errors.Join(err, textPart(w, "text/html", c.html))
	} else {
		err = errors.Join(err, relatedPart(w, fmt.Sprintf("=_%x", sum[12:24]), c))
	}
	if err := errors.Join(err, w.Close()); err != nil {
		return nil, fmt.Errorf("compose: body: %w", err)
	}
	return b.Bytes(), nil
}

// relatedPart writes the HTML with its picture.
func relatedPart(w *message.Writer, boundary string, c content) error {
	var h message.Header
	h.SetContentType("multipart/related", map[string]string{"boundary": boundary, "type": "text/html"})
	related, err := w.CreatePart(h)
	if err != nil {
		return err
	}
	var p message.Header
	p.Set("Content-Transfer-Encoding", "base64")
	p.Set("Content-Id", "<"+c.cid+">")
	p.SetContentDisposition("inline", map[string]string{"filename": "chart.png"})
	p.SetContentType("image/png", nil)
	return errors.Join(textPart(related, "text/html", c.html), writePart(related, p, c.picture), related.Close())
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
