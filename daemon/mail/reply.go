package mail

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/mail"
	"regexp"
	"strings"
	"time"

	"github.com/emersion/go-message"
	_ "github.com/emersion/go-message/charset" // letters of every charset that mail programs send
)

// Bounds of what is read of a message; MaxInward bounds the whole, in bytes.
const (
	MaxInward   = 1 << 20
	maxHead     = 128 << 10
	maxDepth    = 10
	maxParts    = 100
	maxReceived = 50 // hops; more is a loop, as in Postfix (hopcount_limit)
)

// Reply is a message that came in, taken apart. The zero value holds nothing.
type Reply struct {
	MessageID string // with its angle brackets; empty: none that can be read
	From      string // address of the one who wrote; empty: none, or not one
	Title     string
	Date      time.Time // that it bears; zero: none that can be read
	// Text is what the writer wrote, without what they quoted and signed, as
	// its plain text has it, and HTML as its HTML has it; empty: there is none.
	Text, HTML string
	// Auto says in one sentence why nobody wrote it by hand; empty: somebody did.
	Auto string
	// Marked says in one sentence what about it is a robot's, though somebody may
	// have written it; empty: nothing.
	Marked string
	// Held says in one sentence why it cannot be read for certain; empty: it can.
	Held string
	// Report is what it reports of a letter that did not arrive; nil: nothing.
	Report *Report

	marks [sha256.Size]byte // of the whole message
}

// Own is what we are called by in mail, to know our own letters by.
type Own struct {
	From    string // address of the sender of letters
	Answers string // address that answers go to, without a token
}

// readKnown reads what a message is known by, and none of its parts.
func readKnown(raw []byte) Reply {
	r := Reply{marks: sha256.Sum256(raw)}
	if m, _ := message.ReadWithOptions(bytes.NewReader(raw), &message.ReadOptions{MaxHeaderBytes: maxHead}); m != nil {
		r.head(m.Header)
	}
	return r
}

// ReadReply takes a message apart. sender is its envelope sender, empty for the
// null one. It never fails: what cannot be read is Held.
func ReadReply(raw []byte, sender string, own Own) Reply {
	r := Reply{marks: sha256.Sum256(raw)}
	if len(raw) > MaxInward {
		r.Held = fmt.Sprintf("it has %d bytes, and no more than %d are read", len(raw), MaxInward)
		return r
	}
	m, err := message.ReadWithOptions(bytes.NewReader(raw), &message.ReadOptions{MaxHeaderBytes: maxHead})
	if m == nil {
		r.Held = "its head cannot be read"
		return r
	}
	r.head(m.Header)
	if r.Held == "" && unproved(m.Header) {
		r.Held = "the mail server could not prove that it is from who it says"
	}
	r.Auto, r.Marked = automatic(m.Header, sender, r.From, own)
	w := walk{r: &r, sender: sender}
	w.part(m, err, 0)
	if w.parts > maxParts {
		w.hold("it has more than %d parts", maxParts)
	}
	w.write()
	return r
}

// Mark is what makes a message the same one when it comes again to the same
// recipient: its Message-ID, or all of it where there is none.
func (r Reply) Mark(to string) string {
	what := r.marks[:]
	if r.MessageID != "" {
		sum := sha256.Sum256([]byte(r.MessageID))
		what = sum[:]
	}
	return fmt.Sprintf("%x", sha256.Sum256(append(what, strings.ToLower(to)...)))
}

// head reads the head of a message.
func (r *Reply) head(h message.Header) {
	if id := strings.TrimSpace(h.Get("Message-Id")); plainASCII(id) && len(id) < 500 {
		r.MessageID = id
	}
	title, err := h.Text("Subject")
	if err != nil {
		title = h.Get("Subject")
	}
	r.Title = clip(clean(strings.ToValidUTF8(title, "\ufffd")), maxName)
	if date, err := mail.ParseDate(h.Get("Date")); err == nil {
		r.Date = date
	}
	from := values(h, "From")
	switch {
	case len(from) == 0:
		r.Held = "it does not say who it is from"
		return
	case len(from) > 1:
		r.Held = "it has more than one From"
		return
	}
	list, err := mail.ParseAddressList(from[0])
	if err != nil {
		// A name that cannot be decoded hides no address.
		if a := bareAddress.FindStringSubmatch(from[0]); a != nil && strings.Count(from[0], "@") == 1 {
			list, err = mail.ParseAddressList(a[1])
		}
	}
	if err != nil || len(list) != 1 {
		r.Held = "its From is not one address that can be read"
		return
	}
	r.From = list[0].Address
}

// bareAddress is the address at the end of a From.
var bareAddress = regexp.MustCompile(`<([^<>\s]+@[^<>\s]+)>\s*$`)

func values(h message.Header, key string) (all []string) {
	for f := h.FieldsByKey(key); f.Next(); {
		all = append(all, f.Value())
	}
	return all
}

// autoTitles begin the subject of answers that a program writes.
var autoTitles = regexp.MustCompile(`(?i)^(?:automatic reply|auto(?:matic)?[- ]?(?:reply|response)|auto: |out of (?:the )?office|vacation|automatische antwort|abwesenheits|réponse automatique|respuesta automática|risposta automatica|automatisch antwoord|autosvar|undeliver|delivery status notification|mail delivery|returned mail|failure notice)`)

// robots write no answers by hand.
var robots = regexp.MustCompile(`(?i)^(?:mailer-daemon|postmaster|no-?reply|do-?not-?reply|bounces?|daemon|root)(?:[+-].*)?@|^[^@]*-bounces?(?:[+-][^@]*)?@`)

// ourID is a Message-ID of one of our letters: a UUID of version 7 in small
// letters, which mail programs do not make.
var ourID = regexp.MustCompile(`^<[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}@`)

// automatic says why nobody wrote a message by hand (RFC 3834, RFC 5230 4.6, and
// what is used beside them, from memory), or else which mark of a robot it bears
// that a message written by hand may bear too.
func automatic(h message.Header, sender, from string, own Own) (auto, marked string) {
	field := func(key string) string { return strings.ToLower(strings.TrimSpace(h.Get(key))) }
	said, _, _ := strings.Cut(field("Auto-Submitted"), ";")
	said = strings.TrimSpace(said)
	ours := func(a, b string) bool { return a != "" && b != "" && strings.EqualFold(a, b) }
	fromUs := domainOf(own.From)
	switch precedence := field("Precedence"); {
	case ours(from, own.From) || ours(plainOf(from), own.Answers):
		return "it is a letter of our own that came back", ""
	case ourID.MatchString(h.Get("Message-Id")) && strings.EqualFold(domainOf(strings.Trim(h.Get("Message-Id"), "<> ")), fromUs):
		return "it is a letter of our own that came back", ""
	case len(values(h, "Received")) > maxReceived:
		return fmt.Sprintf("it went through more than %d servers: a loop", maxReceived), ""
	case said != "" && said != "no":
		return "it is an automatic answer (Auto-Submitted)", ""
	case precedence == "bulk" || precedence == "junk" || precedence == "auto_reply":
		return "it is no letter to us alone (Precedence)", ""
	case h.Has("X-Autoreply") || h.Has("X-Autorespond") || h.Has("X-Autoresponder"):
		return "it is an automatic answer, by its head", ""
	case h.Has("List-Id") || h.Has("List-Post") || precedence == "list":
		return "", "it came by a mailing list"
	case h.Has("X-Auto-Response-Suppress"):
		return "", "it is an automatic answer, by its head"
	case sender == "":
		return "", "it has no sender that could be answered, as bounces have"
	case ours(plainOf(sender), own.Answers) || ours(sender, own.From):
		return "", "its sender is an address of our own"
	case robots.MatchString(from) || robots.MatchString(sender):
		return "", "it was written by a mail server"
	case autoTitles.MatchString(strings.TrimSpace(h.Get("Subject"))):
		return "", "it is an automatic answer, by its subject"
	}
	return "", ""
}

// plainOf is an address without what follows a + before the @.
func plainOf(addr string) string {
	at := strings.LastIndexByte(addr, '@')
	if at < 0 {
		return addr
	}
	local, _, _ := strings.Cut(addr[:at], "+")
	return local + addr[at:]
}

// walk goes through the parts of a message.
type walk struct {
	r           *Reply
	sender      string
	parts       int
	texts, html []string
}

func (w *walk) hold(format string, args ...any) {
	if w.r.Held == "" {
		w.r.Held = fmt.Sprintf(format, args...)
	}
}

// part reads one part, and those in it.
func (w *walk) part(p *message.Entity, err error, depth int) {
	if w.parts++; w.parts > maxParts {
		return
	}
	if depth > maxDepth {
		w.hold("its parts are nested more than %d deep", maxDepth)
		return
	}
	kind, params, parseErr := p.Header.ContentType()
	if p.Header.Get("Content-Type") == "" {
		kind = "text/plain"
	} else if parseErr != nil && kind == "" {
		kind = "application/octet-stream"
	}
	kind = strings.ToLower(kind)
	disposition, names, _ := mime.ParseMediaType(p.Header.Get("Content-Disposition"))
	switch {
	case (kind == "text/calendar" || kind == "application/ics") && (disposition != "attachment" || params["method"] != ""):
		w.hold("it is an answer of a calendar program: answer in words, or by the link in the letter")
	case kind == "application/ms-tnef" || kind == "application/vnd.ms-tnef" || strings.EqualFold(params["name"], "winmail.dat") || strings.EqualFold(names["filename"], "winmail.dat"):
		w.hold("its words are packed up in a winmail.dat that only one mail program reads: have it write plain text")
	case kind == "multipart/report" && strings.EqualFold(params["report-type"], "delivery-status"):
		w.r.Report = readReport(p)
	case kind == "multipart/report" && depth == 0: // as a receipt is (RFC 8098)
		w.r.Auto = "it is a report of a mail program"
	case strings.HasPrefix(kind, "multipart/"):
		w.many(p, depth)
	case disposition == "attachment" || kind != "text/plain" && kind != "text/html":
		// What it is called and what it holds is nothing to us.
	default:
		w.text(p, kind, err)
	}
}

func (w *walk) many(p *message.Entity, depth int) {
	parts := p.MultipartReader()
	if parts == nil {
		w.hold("its parts cannot be told apart")
		return
	}
	for w.parts <= maxParts {
		next, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return
		}
		if next == nil {
			w.hold("its parts cannot be read to the end")
			return
		}
		w.part(next, err, depth+1)
	}
}

// text keeps the text of a part.
func (w *walk) text(p *message.Entity, kind string, err error) {
	if err != nil {
		w.hold("its letters are coded in a way that is not known here (%s)", clip(clean(err.Error()), maxName))
		return
	}
	b, err := io.ReadAll(io.LimitReader(p.Body, 4*MaxInward))
	if err != nil {
		w.hold("its text is cut off or damaged")
		return
	}
	s := strings.ToValidUTF8(string(b), "\ufffd")
	if strings.Contains(s, "\x00") {
		w.hold("its text holds signs that no letter holds")
		return
	}
	if kind == "text/plain" {
		w.texts = append(w.texts, s)
	} else {
		w.html = append(w.html, s)
	}
}

// mostText is the most of text, and of HTML, in which what its writer wrote is
// looked for, in bytes: the letters it quotes are much shorter.
const mostText = 256 << 10

// write finds what the writer wrote.
func (w *walk) write() {
	text := strings.Join(w.texts, "\n")
	if len(text) > mostText || len(strings.Join(w.html, "")) > 2*mostText {
		w.hold("it is longer than any answer is")
		return
	}
	w.r.Text = written(text)
	for _, h := range w.html {
		text, trouble := htmlText(h)
		if trouble != "" {
			w.hold("%s", trouble)
		}
		w.r.HTML = strings.TrimSpace(w.r.HTML + "\n" + written(text))
	}
}

// Words are the writer's own, of the plain text where there are some.
func (r Reply) Words() string {
	if r.Text != "" {
		return r.Text
	}
	return r.HTML
}
