package mail

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"regexp"
	"strings"

	"github.com/emersion/go-message"
	"github.com/emersion/go-message/textproto"
)

// Report is what a delivery report says of a letter (RFC 3464): of the
// recipient that fares worst, where it names several.
type Report struct {
	Action    string // failed, delayed, delivered, relayed or expanded; empty: not said
	Status    string // like 5.1.1; empty: not said
	Recipient string // address; empty: not said
	Words     string // of the server that would not take it
	// MessageID is that of the letter, with its angle brackets, where the report
	// returns its head; empty: it does not.
	MessageID string
}

// Failed reports whether the letter will never arrive.
func (r Report) Failed() bool {
	return r.Action == "failed" && (r.Status == "" || strings.HasPrefix(r.Status, "5."))
}

// status is an enhanced status code (RFC 3463 2).
var status = regexp.MustCompile(`\b([245]\.\d{1,3}\.\d{1,3})\b`)

// badness orders actions: what fares worst counts.
var badness = map[string]int{"failed": 3, "delayed": 2, "relayed": 1, "expanded": 1, "delivered": 1}

// readReport reads a multipart/report. What cannot be read is left empty.
func readReport(p *message.Entity) *Report {
	r := &Report{}
	parts := p.MultipartReader()
	for n := 0; parts != nil && n < maxParts; n++ {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) || part == nil {
			break
		}
		kind, _, _ := part.Header.ContentType()
		switch strings.ToLower(kind) {
		case "message/delivery-status", "message/global-delivery-status":
			r.recipients(part.Body)
		case "message/rfc822", "text/rfc822-headers", "message/global", "message/global-headers":
			head, err := readHead(bufio.NewReader(io.LimitReader(part.Body, maxHead)))
			if id := strings.TrimSpace(head.Get("Message-Id")); (err == nil || id != "") && plainASCII(id) && len(id) < 500 {
				r.MessageID = id
			}
		}
	}
	return r
}

// readHead reads a head that may be the whole text.
func readHead(b *bufio.Reader) (textproto.Header, error) {
	text, err := io.ReadAll(b)
	if err != nil {
		return textproto.Header{}, err
	}
	return textproto.ReadHeader(bufio.NewReader(io.MultiReader(bytes.NewReader(text), strings.NewReader("\r\n\r\n"))))
}

// recipients reads the blocks of a delivery status: one of the message, then one
// for each recipient.
func (r *Report) recipients(body io.Reader) {
	text, err := io.ReadAll(io.LimitReader(body, maxHead))
	if err != nil {
		return
	}
	text = bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n"))
	for block := range bytes.SplitSeq(text, []byte("\n\n")) {
		block = bytes.TrimLeft(block, "\n")
		head, err := readHead(bufio.NewReader(bytes.NewReader(block)))
		if err != nil || !head.Has("Action") && !head.Has("Status") {
			continue
		}
		next := Report{Action: strings.ToLower(firstWord(head.Get("Action"))), Words: clip(clean(strings.ToValidUTF8(typed(head.Get("Diagnostic-Code")), "\ufffd")), maxReply)}
		if m := status.FindString(head.Get("Status")); m != "" {
			next.Status = m
		}
		if to := typed(head.Get("Final-Recipient")); to != "" && plainASCII(to) {
			next.Recipient = clip(to, maxName)
		} else if to := typed(head.Get("Original-Recipient")); plainASCII(to) {
			next.Recipient = clip(to, maxName)
		}
		if badness[next.Action] > badness[r.Action] {
			next.MessageID = r.MessageID
			*r = next
		}
	}
}

// typed is the value of a field that begins with its type: "rfc822; a@b".
func typed(v string) string {
	if _, rest, ok := strings.Cut(v, ";"); ok {
		v = rest
	}
	return strings.Join(strings.Fields(v), " ")
}

func firstWord(s string) string {
	if f := strings.Fields(s); len(f) > 0 {
		return f[0]
	}
	return ""
}
