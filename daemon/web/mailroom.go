package web

import (
	"cmp"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"endshake/schedule"
)

// How many notices the mail room lists, and stopped mailboxes.
const (
	mostNotices   = 200
	mostMailboxes = 200
)

// mailPage is the mail room.
type mailPage struct {
	Lede      string
	Started   string // an address that was just set going; empty: none
	Notices   []noticeLine
	Mailboxes []mailboxLine
	Arrivals  []arrivalLine
	Arrived   string // how many those are
	Inward    bool   // messages come in, and are listed on a page of their own
	Sink      bool   // there is a receiving server to look into
}

// mailboxLine is an address that nothing is sent to.
type mailboxLine struct {
	Address, People, Since, Why string
}

// noticeLine is one notice in a list.
type noticeLine struct {
	ID, Title, Person, When string
	State                   schedule.NoticeState
	Words                   string // what the state means; empty: the word says it
	Reply                   string // the server's last words; empty: none, or no more than that it is taken
}

// arrivalLine is one message that arrived.
type arrivalLine struct {
	N           int
	When, Title string
}

// noticeWords says what a state of a notice means, where its name does not.
var noticeWords = map[schedule.NoticeState]string{
	schedule.Owed:    "to be sent, or to be tried again",
	schedule.Sending: "going out now; load this page again in a minute",
	schedule.Refused: "it will not be taken: see why, mend it, and send it again",
	schedule.Parked:  "it may have gone out already: look, and send it again if it has not",
}

func (s *server) mail(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	notices, err := s.Mailroom.Notices(r.Context(), mostNotices)
	if err != nil {
		s.fault(w, r, fmt.Errorf("list notices: %w", err))
		return
	}
	boxes, err := s.Mailroom.Mailboxes(r.Context(), mostMailboxes)
	if err != nil {
		s.fault(w, r, fmt.Errorf("list mailboxes: %w", err))
		return
	}
	page := mailPage{Inward: s.Inward != nil, Sink: s.Arrivals != nil}
	if a := r.URL.Query().Get("going"); readersAt(snap.Fleet, a) != "" { // no words that a link brings in are shown
		page.Started = a
	}
	for _, m := range boxes {
		page.Mailboxes = append(page.Mailboxes, mailboxLine{m.Address, readersAt(snap.Fleet, m.Address), schedule.Instant(m.Stopped, time.UTC), m.Why})
	}
	troubled := 0
	for _, n := range notices {
		page.Notices = append(page.Notices, newNoticeLine(snap.Fleet, n))
		if n.State == schedule.Refused || n.State == schedule.Parked {
			troubled++
		}
	}
	page.Lede = "Every notice has gone out, or is on its way."
	switch {
	case len(notices) == 0:
		page.Lede = "No notice has been written yet."
		if s.Logins != nil && s.Logins.Letter == nil {
			page.Lede = "No notice is written: no mail server was named when the service was started."
		}
	case troubled > 0:
		page.Lede = schedule.Capital(schedule.Count(troubled, "notice wants", "notices want")) + " looking at."
	}
	if len(boxes) > 0 {
		page.Lede += " Nothing is sent to " + schedule.Count(len(boxes), "address", "addresses") + " any more: see below."
	}
	if s.Arrivals != nil {
		for _, m := range s.Arrivals() {
			page.Arrivals = append(page.Arrivals, arrivalLine{m.Number, schedule.Instant(m.At, time.UTC), titleOf(m.Raw)})
		}
		page.Arrived = schedule.Capital(schedule.Count(len(page.Arrivals), "message", "messages"))
		slices.SortFunc(page.Arrivals, func(x, y arrivalLine) int { return cmp.Compare(y.N, x.N) }) // newest first
	}
	s.show(w, r, http.StatusOK, "mail", view{Title: "Mail room", Here: "/mail", Body: page})
}

// readersAt names who reads at an address.
func readersAt(f schedule.Fleet, address string) string {
	var names []string
	for _, p := range f.People {
		if address != "" && strings.EqualFold(p.Email, address) {
			names = append(names, p.Name)
		}
	}
	return strings.Join(names, ", ")
}

func newNoticeLine(f schedule.Fleet, n schedule.Notice) noticeLine {
	l := noticeLine{ID: n.ID, Title: n.Title, Person: personName(f, n.Person), State: n.State,
		Words: noticeWords[n.State], Reply: more(n.Reply), When: "since " + schedule.Instant(n.Created, time.UTC)}
	switch {
	case n.State == schedule.Sent && !n.SentAt.IsZero():
		l.When = schedule.Instant(n.SentAt, time.UTC)
	case n.State == schedule.Refused || n.State == schedule.Parked:
		l.When = "(owed " + schedule.Instant(n.Created, time.UTC) + ")"
	case n.State == schedule.Owed && n.Attempts > 0:
		l.When = "with the next try " + schedule.Instant(n.NextTry, time.UTC)
	}
	if l.Title == "" {
		l.Title = noSubject
	}
	return l
}

// plainYes is a mail server's yes that says nothing else.
var plainYes = regexp.MustCompile(`(?i)^250[ -]([0-9]\.[0-9]\.[0-9] )?(ok|taken|accepted)?(: queued)?\W*$`)

// more is what a mail server said, where that is more than that it has taken it.
func more(reply string) string {
	if plainYes.MatchString(reply) {
		return ""
	}
	return reply
}

// letterPage is one message with what the mail server said.
type letterPage struct {
	Letter   letter
	Notice   *noticeLine // nil for a message that arrived
	Attempts string
	HTMLAt   string // address of its HTML part; empty: none
	Steps    []stepLine
	Resend   string // address to send it again; empty: not now
	Moved    bool   // it was just owed once more
	When     string
}

// stepLine is one step of a notice.
type stepLine struct {
	When, What, Words string
}

// stepWords says what each step of a notice means.
var stepWords = map[schedule.StepKind]string{
	schedule.StepOwed:      "came to be owed",
	schedule.StepTried:     "tried",
	schedule.StepPutOff:    "not taken yet, to be tried again",
	schedule.StepUncertain: "handed over, and no answer came",
	schedule.StepParked:    "parked for a person to look at",
	schedule.StepRefused:   "refused",
	schedule.StepSent:      "taken by the mail server",
	schedule.StepAgain:     "asked to be sent again",
	schedule.StepBack:      "came back",
}

func (s *server) notice(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	n, err := s.Mailroom.Notice(r.Context(), r.PathValue("id"))
	if err != nil {
		s.failed(w, r, err)
		return
	}
	steps, err := s.Mailroom.Steps(r.Context(), n.ID)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	line := newNoticeLine(snap.Fleet, n)
	at := "/mail/" + url.PathEscape(n.ID)
	page := letterPage{Letter: s.letterFor(r, n), Notice: &line, Moved: r.URL.Query().Has("again"), When: line.When,
		Attempts: schedule.Count(n.Attempts, "try", "tries")}
	for _, st := range steps {
		page.Steps = append(page.Steps, stepLine{schedule.Instant(st.At, time.UTC), cmp.Or(stepWords[st.What], string(st.What)), more(st.Words)})
	}
	if page.Letter.HTML != "" {
		page.HTMLAt = at + "/html"
	}
	if len(n.Raw) > 0 && (n.State == schedule.Refused || n.State == schedule.Parked) {
		page.Resend = at + "/resend"
	}
	s.show(w, r, http.StatusOK, "letter", view{Title: line.Title, Here: "/mail", Body: page})
}

// letterOf takes a notice's message apart, if one could be written.
func letterOf(n schedule.Notice) letter {
	if n.Kind == schedule.Invitation || n.Kind == schedule.NewPassword {
		return letter{Title: n.Title, Text: "What it says is for its reader alone: it holds a link by which they choose a password."}
	}
	if len(n.Raw) > 0 {
		return readLetter(n.Raw)
	}
	return letter{Title: cmp.Or(n.Title, noSubject),
		Trouble: "No message was written, so there is none to send: mend what the last word names."}
}

func (s *server) noticeHTML(w http.ResponseWriter, r *http.Request) {
	n, err := s.Mailroom.Notice(r.Context(), r.PathValue("id"))
	if err != nil {
		s.failed(w, r, err)
		return
	}
	s.showHTML(w, r, s.letterFor(r, n))
}

// secretIn are what lets the holder of a letter act in its reader's name: links
// with a token, and addresses for replies.
var secretIn = regexp.MustCompile(`(?i)((?:/answer/|/decline/|/calendar/|/join/|/first/)|\+)[a-z2-7]{32}`)

// letterFor is the letter of a notice as whoever asks may see it: what others are
// let do by theirs is left out, for it would count as done by them.
func (s *server) letterFor(r *http.Request, n schedule.Notice) letter {
	l := letterOf(n)
	if s.Logins == nil || n.Person == by(r).Person {
		return l
	}
	mask := func(text string) string { return secretIn.ReplaceAllString(text, "$1…") }
	l.Text, l.HTML = mask(l.Text), mask(l.HTML)
	for i := range l.Headers {
		l.Headers[i].Value = mask(l.Headers[i].Value)
	}
	return l
}

func (s *server) resend(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	if err := s.Mailroom.Resend(r.Context(), by(r).Name(), id, s.Now()); err != nil {
		s.failed(w, r, err)
		return
	}
	http.Redirect(w, r, "/mail/"+url.PathEscape(id)+"?again=1", http.StatusSeeOther)
}

// startMailbox sets an address going again.
func (s *server) startMailbox(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, 4<<10)
	address := storable(r.PostFormValue("address"))
	if err := s.Mailroom.StartMailbox(r.Context(), by(r).Name(), address, s.Now()); err != nil {
		s.failed(w, r, err)
		return
	}
	http.Redirect(w, r, "/mail?going="+url.QueryEscape(address), http.StatusSeeOther)
}

// arrived finds a message that the receiving server took, by its number.
func (s *server) arrived(w http.ResponseWriter, r *http.Request) (schedule.Arrival, bool) {
	n, err := strconv.Atoi(r.PathValue("n"))
	if s.Arrivals == nil || err != nil {
		s.nowhere(w, r)
		return schedule.Arrival{}, false
	}
	for _, a := range s.Arrivals() {
		if a.Number == n {
			return a, true
		}
	}
	s.nowhere(w, r)
	return schedule.Arrival{}, false
}

func (s *server) arrival(w http.ResponseWriter, r *http.Request) {
	m, ok := s.arrived(w, r)
	if !ok {
		return
	}
	page := letterPage{Letter: readLetter(m.Raw), When: "arrived " + schedule.Instant(m.At, time.UTC)}
	if page.Letter.HTML != "" {
		page.HTMLAt = "/arrived/" + r.PathValue("n") + "/html"
	}
	s.show(w, r, http.StatusOK, "letter", view{Title: page.Letter.Title, Here: "/mail", Body: page})
}

func (s *server) arrivalHTML(w http.ResponseWriter, r *http.Request) {
	if m, ok := s.arrived(w, r); ok {
		s.showHTML(w, r, readLetter(m.Raw))
	}
}

// showHTML shows the HTML part of a message shut in: no script, no form, no
// fetching, an origin of its own.
func (s *server) showHTML(w http.ResponseWriter, r *http.Request, l letter) {
	if l.HTML == "" {
		s.nowhere(w, r)
		return
	}
	h := w.Header()
	h.Set("Content-Security-Policy", "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'")
	h.Set("Content-Type", "text/html; charset=utf-8")
	if r.Method != http.MethodHead {
		_, _ = w.Write([]byte(l.HTML)) // as it was sent: the policy shuts it in
	}
}
