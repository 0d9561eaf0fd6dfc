package daemon

import (
	"context"
	"encoding/base64"
	"fmt"
	"log/slog"
	"net"
	"net/textproto"
	"os"
	"strings"
	"testing"
	"time"

	"endshake/daemon/mail"
	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
	"endshake/wear"
)

const (
	windToken    = "abcdefghijklmnopqrstuvwxyz234567" // ned's, to wind the moot hall
	measureToken = "bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb" // ned's, to measure its front bush
	adaToken     = "cccccccccccccccccccccccccccccccc" // ada's, to inspect the ferry post
	oldToken     = "dddddddddddddddddddddddddddddddd" // ned's, of fifty days ago
	declineToken = "eeeeeeeeeeeeeeeeeeeeeeeeeeeeeeee"
	listToken    = "ffffffffffffffffffffffffffffffff" // ned's, of a letter of many tasks
	noticeID     = "01985b7e-0000-7000-8000-000000000001"
)

// inwardRoom is a store, a desk and a clerk, with a letter to ned on its way.
type inwardRoom struct {
	t     *testing.T
	store *db.Store
	desk  *Desk
	clerk *clerk
	at    time.Time
	n     int
}

func newInwardRoom(t *testing.T) *inwardRoom {
	t.Helper()
	data, err := os.ReadFile("testdata/fleet.json")
	if err != nil {
		t.Fatal(err)
	}
	fleet, err := schedule.ParseFleet(data)
	if err != nil {
		t.Fatal(err)
	}
	r := &inwardRoom{t: t, store: dbtest.Open(t, dbtest.SQLite(t)), at: at(t, "2026-11-25 10:00").UTC()}
	ctx := t.Context()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(r.store.SaveFleet(ctx, "test", r.at, fleet, nil))
	must(r.store.AppendAll(ctx, "test", r.at.Add(-24*time.Hour), append(wound(t, "2018-01-01 09:00", "2026-11-17 09:00"),
		reading(t, "2020-01-10 10:00", 0.24), reading(t, "2023-01-10 10:00", 0.40))))
	made := r.at.Add(-2 * time.Hour)
	pass := func(token, person, clock string, task schedule.TaskKind, subject string, made time.Time) schedule.Pass {
		return schedule.Pass{Token: token, Deed: schedule.Answering, Notice: noticeID, Person: person, Clock: clock, Task: task, Subject: subject, Made: made}
	}
	_, err = r.store.Owe(ctx, made, []schedule.Notice{{ID: noticeID, Key: "ned|winding", Kind: schedule.WindReminder, Person: "ned", Clock: "moot-hall",
		From: "answers+bounce-" + noticeID + "@clocks.example.org", To: "ned@example.org", MessageID: "<" + noticeID + "@example.org>", Title: "Wind the moot hall clock",
		Raw: []byte("Subject: x\r\n\r\nx\r\n"), State: schedule.Sent, SentAt: made, Passes: []schedule.Pass{
			pass(windToken, "ned", "moot-hall", schedule.Winding, "going", made), pass(measureToken, "ned", "moot-hall", schedule.Measuring, "centre-front", made),
			pass(adaToken, "ada", "ferry-post", schedule.Inspection, "", made), pass(oldToken, "ned", "moot-hall", schedule.Winding, "going", r.at.AddDate(0, 0, -50)),
			{Token: declineToken, Deed: schedule.Declining, Person: "ned", Kind: schedule.WindReminder, Made: made}, pass(listToken, "ned", "", "", "", made)}}})
	must(err)
	if r.desk, err = OpenDesk(ctx, r.store, func() time.Time { return r.at }); err != nil {
		t.Fatal(err)
	}
	r.clerk = &clerk{book: r.store, desk: r.desk, own: mail.Own{From: "desk@example.org", Answers: "answers@clocks.example.org"},
		compose: mail.Composer{From: "Clock desk <desk@example.org>", Base: "https://clocks.example.org"},
		now:     func() time.Time { return r.at }, log: slog.New(slog.DiscardHandler), owed: func() {}}
	return r
}

// bring hands a message in at a real listener, over LMTP, as a mail server would.
func (r *inwardRoom) bring(from, to, raw string) (reply string) {
	r.t.Helper()
	rec := &mail.Receiver{Store: r.store, Own: r.clerk.own, Now: func() time.Time { r.n++; return r.at.Add(time.Duration(r.n) * time.Millisecond) }, Log: r.clerk.log}
	addr, err := rec.Start(mail.Listening{LMTP: true, Network: "tcp", Addr: "127.0.0.1:0"})
	if err != nil {
		r.t.Fatal(err)
	}
	defer rec.Stop(context.Background())
	c, err := net.Dial("tcp", addr)
	if err != nil {
		r.t.Fatal(err)
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(20 * time.Second))
	p := textproto.NewConn(c)
	step := func(send string, want int) string {
		if send != "" {
			_ = p.PrintfLine("%s", send)
		}
		code, line, err := p.ReadResponse(0)
		if code == 0 {
			r.t.Fatalf("after %.40q: %v", send, err)
		}
		if code/100 != want {
			return fmt.Sprint(code, " ", line)
		}
		return ""
	}
	for _, s := range []struct {
		send string
		want int
	}{{"", 2}, {"LHLO mx.example.org", 2}, {"MAIL FROM:<" + from + ">", 2}, {"RCPT TO:<" + to + ">", 2}, {"DATA", 3}} {
		if bad := step(s.send, s.want); bad != "" {
			return bad
		}
	}
	w := p.DotWriter()
	_, _ = w.Write([]byte(raw))
	_ = w.Close()
	bad := step("", 2)
	_ = p.PrintfLine("QUIT")
	if bad != "" {
		return bad
	}
	return "250"
}

// settle has the clerk settle all, and gives what came of the newest.
func (r *inwardRoom) settle() schedule.Inward {
	r.t.Helper()
	if err := r.clerk.settleAll(r.t.Context()); err != nil {
		r.t.Fatal(err)
	}
	list, err := r.store.Inwards(r.t.Context(), 1)
	if err != nil || len(list) != 1 {
		r.t.Fatalf("%v, %v", list, err)
	}
	return list[0]
}

// fromReplies are the entries that came by mail.
func (r *inwardRoom) fromReplies() (list []schedule.Entry) {
	for _, clock := range []string{"moot-hall", "ferry-post"} {
		log, err := r.store.Entries(r.t.Context(), clock)
		if err != nil {
			r.t.Fatal(err)
		}
		for _, e := range log {
			if e.Source == "reply" {
				list = append(list, e)
			}
		}
	}
	return list
}

// told are the letters that say that a reply is held.
func (r *inwardRoom) told() (list []schedule.Notice) {
	all, err := r.store.Notices(r.t.Context(), 10000)
	if err != nil {
		r.t.Fatal(err)
	}
	for _, n := range all {
		if n.Kind == schedule.ReplyHeld {
			list = append(list, n)
		}
	}
	return list
}

func to(token string) string { return "answers+" + token + "@clocks.example.org" }

var messageNumber int

// letter is a message from ned with more fields and a body.
func letter(fields, body string) string {
	messageNumber++
	if !strings.Contains(fields, "From:") {
		fields += "From: Ned Sallowby <ned@example.org>\r\n"
	}
	if !strings.Contains(fields, "Message-ID:") {
		fields += fmt.Sprintf("Message-ID: <m%d@mail.example.org>\r\n", messageNumber)
	}
	if !strings.Contains(fields, "Subject:") {
		fields += "Subject: Re: Wind the moot hall clock\r\n"
	}
	return fields + "To: answers@clocks.example.org\r\nDate: Wed, 25 Nov 2026 10:00:00 +0000\r\nMIME-Version: 1.0\r\n" + strings.ReplaceAll(body, "\n", "\r\n")
}

func plain(body string) string {
	return letter("", "Content-Type: text/plain; charset=utf-8\n\n"+body)
}

func both(text, html string) string {
	return letter("", "Content-Type: multipart/alternative; boundary=b\n\n--b\nContent-Type: text/plain; charset=utf-8\n\n"+text+
		"\n--b\nContent-Type: text/html; charset=utf-8\n\n"+html+"\n--b--\n")
}

const ourLetter = "> Dear Ned, the going train wants winding by 25 Nov 2026.\n> It was read at 0.40 mm (15.7 thou); its limit is 0.80 mm.\n> Oiled? Not done? Stopped? Say so.\n"

// badInputs are the bad inputs of mail that comes in, each by its name.
var badInputs = []struct {
	name  string
	token string
	from  string // envelope; empty: ned's; "-": the null sender
	raw   func() string
	state schedule.InwardState
	why   string // part of it
	kind  schedule.EntryKind
	told  bool
}{
	{name: "M01 HTML only", raw: func() string {
		return letter("", "Content-Type: text/html\n\n<html><head><style>p{}</style><title>not done</title></head><body><p>W&#111;und it</p><script>stopped</script><blockquote>0.40 mm?</blockquote></body></html>")
	}, state: schedule.Logged, kind: schedule.Wound},
	{name: "an error beside it", raw: func() string { return plain("Wound, 1:35 fast\n") }, state: schedule.Logged, kind: schedule.Wound},
	{name: "an error in two readings", raw: func() string { return plain("Wound, 1.35 fast\n") }, state: schedule.Held, why: "can be read in two ways", told: true},
	{name: "errors that disagree", raw: func() string { return both("wound, 1:35 fast\n", "<p>wound, 1:35 slow</p>") }, state: schedule.Held, why: "do not say the same", told: true},
	{name: "M02 text and HTML that disagree", raw: func() string { return both("wound\n", "<p>could not wind</p>") }, state: schedule.Held, why: "do not say the same", told: true},
	{name: "M02 hidden words in the HTML", raw: func() string { return both("wound\n", `<p>wound</p><p style="display:none">not done</p>`) }, state: schedule.Held, why: "hidden", told: true},
	{name: "M02 text and HTML that agree", raw: func() string {
		return both("wound it\n\nOn Tue, 24 Nov 2026 at 09:00, Clock desk <desk@example.org> wrote:\n\n"+ourLetter,
			`<div dir="ltr">wound it</div><br><div class="gmail_quote"><div class="gmail_attr">On Tue, 24 Nov 2026 Clock desk wrote:<br></div><blockquote>It was read at 0.40 mm. Not done?</blockquote></div>`)
	}, state: schedule.Logged, kind: schedule.Wound},
	{name: "M03 top-posted", raw: func() string {
		return plain("Wound it this morning, thanks\n\nOn Tue, 24 Nov 2026 at 09:00, Clock desk\n<desk@example.org> wrote:\n\n" + ourLetter)
	}, state: schedule.Logged, kind: schedule.Wound},
	{name: "M03 top-posted above a whole letter", raw: func() string {
		return plain("Wound.\n\n-----Original Message-----\nFrom: Clock desk\nSent: Tuesday\nSubject: Wind\n\n0.40 mm. Not done? Stopped.\n")
	}, state: schedule.Logged, kind: schedule.Wound},
	{name: "M04 bottom-posted", raw: func() string {
		return plain("On Tue, 24 Nov 2026 at 09:00, Clock desk wrote:\n" + ourLetter + "\nwound\n\n-- \nNed Sallowby\nnot at home on Mondays\n")
	}, state: schedule.Logged, kind: schedule.Wound},
	{name: "M05 localised line above the quote", raw: func() string {
		return plain("wound\n\nAm Di., 24. Nov. 2026 um 09:00 Uhr schrieb Clock desk <desk@example.org>:\n\n" + ourLetter)
	}, state: schedule.Logged, kind: schedule.Wound},
	{name: "M06 telephone in the signature", token: measureToken, raw: func() string {
		return plain("0.42 mm\n\nNed Sallowby\nTel. +44 1632 960123\nMob: 07700 900123\n")
	}, state: schedule.Logged, kind: schedule.Measured},
	{name: "M07 out of office", raw: func() string { return letter("Auto-Submitted: auto-replied\r\n", "\nwound\n") }, state: schedule.PassedBy, why: "automatic"},
	{name: "M08 vacation by Precedence", raw: func() string { return letter("Precedence: auto_reply\r\n", "\nwound\n") }, state: schedule.PassedBy, why: "Precedence"},
	{name: "M08 vacation by X-header", raw: func() string { return letter("X-Autoreply: yes\r\n", "\nwound\n") }, state: schedule.PassedBy, why: "automatic"},
	{name: "M08 vacation by its subject alone, of no letter", token: "-", raw: func() string { return letter("Subject: Automatic reply: Wind\r\n", "\nwound\n") }, state: schedule.Held, why: "subject"},
	{name: "and of nobody here", token: "-", raw: func() string {
		return letter("From: x@elsewhere.example\r\nSubject: Automatic reply: Wind\r\n", "\nwound\n")
	}, state: schedule.PassedBy, why: "subject"},
	{name: "a subject like a vacation's", raw: func() string { return letter("Subject: Out of the office, Re: Wind\r\n", "\nwound\n") }, state: schedule.Held, why: "subject"},
	{name: "a person's server suppresses answers", raw: func() string { return letter("X-Auto-Response-Suppress: All\r\n", "\nwound\n") }, state: schedule.Held, why: "a program may have written it"},
	{name: "and to no letter of ours", token: "-", raw: func() string { return letter("X-Auto-Response-Suppress: All\r\n", "\nstopped, stone loose\n") }, state: schedule.Held, why: "by its head"},
	{name: "and the token was cut off", token: windToken[:20], raw: func() string { return letter("X-Auto-Response-Suppress: All\r\n", "\nstopped, stone loose\n") }, state: schedule.Held, why: "by its head"},
	{name: "and to no letter of ours, from nobody here", token: "-", raw: func() string {
		return letter("From: x@elsewhere.example\r\nX-Auto-Response-Suppress: All\r\n", "\nstopped, stone loose\n")
	}, state: schedule.PassedBy, why: "by its head"},
	{name: "and says nothing, to no letter of ours", token: "-", raw: func() string { return letter("X-Auto-Response-Suppress: All\r\n", "\n\n") }, state: schedule.PassedBy, why: "by its head"},
	{name: "and says nothing", raw: func() string { return letter("X-Auto-Response-Suppress: All\r\n", "\n\n") }, state: schedule.PassedBy, why: "by its head"},
	{name: "an envelope that numbers bounces", from: "bounces+ned=example.org@mx.example.net", raw: func() string { return plain("stopped, snow on the hands\n") }, state: schedule.Held, why: "mail server"},
	{name: "an envelope of a list's bounces", from: "ringers-bounces+7@lists.example.net", raw: func() string { return plain("wound\n") }, state: schedule.Held, why: "mail server"},
	{name: "an envelope that is our own", from: "answers@clocks.example.org", raw: func() string { return plain("wound\n") }, state: schedule.Held, why: "our own"},
	{name: "an envelope that is our sender", from: "desk@example.org", raw: func() string { return plain("wound\n") }, state: schedule.Held, why: "our own"},
	{name: "a receipt that it was read", raw: func() string {
		return letter("Subject: Read: Wind\r\n", "Content-Type: multipart/report; report-type=disposition-notification; boundary=b\n\n--b\nContent-Type: text/plain\n\nwound was read\n--b\nContent-Type: message/disposition-notification\n\nDisposition: manual-action; displayed\n--b--\n")
	}, state: schedule.PassedBy, why: "report of a mail program"},
	{name: "M09 our own address", raw: func() string { return letter("From: Clock desk <desk@example.org>\r\n", "\nwound\n") }, state: schedule.PassedBy, why: "our own"},
	{name: "M09 our own letter", raw: func() string { return letter("Message-ID: <"+noticeID+"@example.org>\r\n", "\nwound\n") }, state: schedule.PassedBy, why: "our own"},
	{name: "M09 too many hops", raw: func() string {
		return letter(strings.Repeat("Received: from a by b; Wed, 25 Nov 2026 10:00:00 +0000\r\n", 60), "\nwound\n")
	}, state: schedule.PassedBy, why: "loop"},
	{name: "M10 bounce, for good", token: "bounce-" + noticeID, from: "-", raw: func() string { return bounce("failed", "5.1.1", "550 5.1.1 no such user here") }, state: schedule.Bounced, why: "5.1.1"},
	{name: "M10 bounce, for now", token: "bounce-" + noticeID, from: "-", raw: func() string { return bounce("delayed", "4.4.1", "connection timed out") }, state: schedule.PassedBy, why: "delayed"},
	{name: "M10 bounce to the plain address, by the Message-ID", token: "-", from: "-", raw: func() string { return bounce("failed", "5.2.2", "mailbox full") }, state: schedule.Bounced, why: "5.2.2"},
	{name: "M10 bounce of another's letter", token: "-", from: "-", raw: func() string {
		return strings.ReplaceAll(bounce("failed", "5.2.2", "full"), noticeID, "nothing-of-ours")
	}, state: schedule.PassedBy, why: "none of ours"},
	{name: "M11 null sender", from: "-", raw: func() string { return plain("wound\n") }, state: schedule.Held, why: "no sender"},
	{name: "M11 null sender, to no letter", token: "-", from: "-", raw: func() string { return plain("wound\n") }, state: schedule.Held, why: "no sender"},
	{name: "M12 by a mailing list, with a token", raw: func() string { return letter("List-Id: <ringers.example.org>\r\n", "\nwound\n") }, state: schedule.Held, why: "list"},
	{name: "M12 by a mailing list, to the plain address", token: "-", raw: func() string { return letter("List-Id: <ringers.example.org>\r\n", "\nwound\n") }, state: schedule.Held, why: "list"},
	{name: "M12 by a mailing list, from nobody here", token: "-", raw: func() string {
		return letter("From: x@elsewhere.example\r\nList-Id: <ringers.example.org>\r\n", "\nwound\n")
	}, state: schedule.PassedBy, why: "list"},
	{name: "M14 no Message-ID", raw: func() string { return strings.Replace(plain("wound\n"), "Message-ID", "X-None", 1) }, state: schedule.Logged, kind: schedule.Wound},
	{name: "M16 token of another clock's task", token: measureToken, raw: func() string { return plain("wound\n") }, state: schedule.Held, why: "asked for measuring", told: true},
	{name: "M17 expired token", token: oldToken, raw: func() string { return plain("wound\n") }, state: schedule.Held, why: "ended on", told: true},
	{name: "M17 no such token", token: strings.Repeat("z", 32), raw: func() string { return plain("wound\n") }, state: schedule.Held, why: "no letter here", told: true},
	{name: "M17 token cut off", token: windToken[:20], raw: func() string { return plain("wound\n") }, state: schedule.Held, why: "cut off", told: true},
	{name: "M17 no token", token: "-", raw: func() string { return plain("wound\n") }, state: schedule.Held, why: "without the mark", told: true},
	{name: "M17 token of another deed", token: declineToken, raw: func() string { return plain("wound\n") }, state: schedule.Held, why: "not for answers", told: true},
	{name: "M17 token in capitals", token: strings.ToUpper(windToken), raw: func() string { return plain("wound\n") }, state: schedule.Logged, kind: schedule.Wound},
	{name: "M18 From not proved", raw: func() string {
		return letter("Authentication-Results: mx.example.org; spf=fail smtp.mailfrom=ned@example.org; dkim=none\r\n", "\nwound\n")
	}, state: schedule.Held, why: "could not prove", told: true},
	{name: "M18 a stranger with the token", raw: func() string { return letter("From: x@elsewhere.example\r\n", "\nwound\n") }, state: schedule.Held, why: "comes from x@elsewhere.example"},
	{name: "M19 a keeper's address, another's token", token: adaToken, raw: func() string { return plain("checked, all well\n") }, state: schedule.Held, why: "a letter to Ada"},
	{name: "M20 header injection in the subject", raw: func() string {
		return letter("Subject: =?utf-8?q?Re:_x=0D=0ABcc:_all@example.org?=\r\n", "\nwhat is this\n")
	}, state: schedule.Held, why: "does not say", told: true},
	{name: "M21 two From headers", raw: func() string { return letter("From: ned@example.org\r\nFrom: ada@example.org\r\n", "\nwound\n") }, state: schedule.Held, why: "more than one From"},
	{name: "M21 two addresses in From", raw: func() string { return letter("From: ned@example.org, ada@example.org\r\n", "\nwound\n") }, state: schedule.Held, why: "not one address"},
	{name: "M22 broken encoded words", raw: func() string {
		return letter("Subject: =?utf-8?b?!!!?= =?nonsense?q?x?=\r\nFrom: =?broken?q?N=?= <ned@example.org>\r\n", "\nwound\n")
	}, state: schedule.Logged, kind: schedule.Wound},
	{name: "M23 unknown charset", raw: func() string { return letter("", "Content-Type: text/plain; charset=klingon-7\n\nwound\n") }, state: schedule.Held, why: "not known here", told: true},
	{name: "M23 wrong charset", raw: func() string { return letter("", "Content-Type: text/plain; charset=utf-8\n\nwound \xe9\xff\n") }, state: schedule.Held, why: "cannot be read", told: true},
	{name: "M23 a charset that is known", raw: func() string {
		return letter("", "Content-Type: text/plain; charset=windows-1252\n\nI\x92ve wound it\n")
	}, state: schedule.Logged, kind: schedule.Wound},
	{name: "M24 base64 cut short", raw: func() string {
		return letter("", "Content-Type: text/plain\nContent-Transfer-Encoding: base64\n\n"+base64.StdEncoding.EncodeToString([]byte("wound, not"))[:13]+"\n")
	}, state: schedule.Held, why: "cut off or damaged", told: true},
	{name: "M25 nested 1000 deep", raw: func() string {
		var b strings.Builder
		for i := range 1000 {
			fmt.Fprintf(&b, "Content-Type: multipart/mixed; boundary=b%d\n\n--b%d\n", i, i)
		}
		return letter("", b.String()+"Content-Type: text/plain\n\nwound\n")
	}, state: schedule.Held, why: "nested", told: true},
	{name: "M25 ten thousand parts", raw: func() string {
		return letter("", "Content-Type: multipart/mixed; boundary=b\n\n"+strings.Repeat("--b\nContent-Type: text/plain\n\n\n", 10000)+"--b--\n")
	}, state: schedule.Held, why: "more than 100 parts", told: true},
	{name: "M27 an attachment called ../../x", raw: func() string {
		return letter("", "Content-Type: multipart/mixed; boundary=b\n\n--b\nContent-Type: text/plain\n\nwound\n--b\nContent-Type: image/png; name=\"../../x\"\nContent-Disposition: attachment; filename=\"../../x\"\n\nPNG\n--b--\n")
	}, state: schedule.Logged, kind: schedule.Wound},
	{name: "M28 winmail.dat", raw: func() string {
		return letter("", "Content-Type: multipart/mixed; boundary=b\n\n--b\nContent-Type: text/plain\n\nwound\n--b\nContent-Type: application/ms-tnef; name=winmail.dat\n\nx\n--b--\n")
	}, state: schedule.Held, why: "winmail.dat", told: true},
	{name: "M28 a calendar's answer", raw: func() string {
		return letter("", "Content-Type: multipart/alternative; boundary=b\n\n--b\nContent-Type: text/plain\n\ndone\n--b\nContent-Type: text/calendar; method=REPLY\n\nBEGIN:VCALENDAR\nEND:VCALENDAR\n--b--\n")
	}, state: schedule.Held, why: "calendar", told: true},
	{name: "M30 done and not done", raw: func() string { return plain("done\n\nno, not done\n") }, state: schedule.Held, why: "both", told: true},
	{name: "a doubtful reading is asked back", token: measureToken, raw: func() string { return plain("4.2 mm\n") }, state: schedule.Held, why: "", told: true},
	{name: "a letter of many tasks", token: listToken, raw: func() string { return plain("done\n") }, state: schedule.Held, why: "more than one thing", told: true},
	{name: "not done, with the reason", raw: func() string { return plain("not done: ladder locked\n") }, state: schedule.Logged, kind: schedule.Noted},
	{name: "not done, with no reason but the words", raw: func() string { return plain("Could not wind it.\n") }, state: schedule.Logged, kind: schedule.Noted},
	{name: "stopped", raw: func() string { return plain("stopped, snow on the hands\n") }, state: schedule.Logged, kind: schedule.Stopped},
	{name: "NUL in the text", raw: func() string { return plain("wound\x00\n") }, state: schedule.Held, why: "signs", told: true},
	{name: "longer than any answer", raw: func() string { return plain(strings.Repeat("wound\n", 60000)) }, state: schedule.Held, why: "longer than any", told: true},
	{name: "an empty message", raw: func() string { return plain("\n") }, state: schedule.Held, why: "no words", told: true},
}

// bounce is a delivery report of the letter to ned (RFC 3464).
func bounce(action, status, words string) string {
	return letter("From: Mail Delivery System <mailer-daemon@mx.example.net>\r\nSubject: Undelivered\r\n", "Content-Type: multipart/report; report-type=delivery-status; boundary=b\n\n"+
		"--b\nContent-Type: text/plain\n\nI am sorry. wound\n--b\nContent-Type: message/delivery-status\n\nReporting-MTA: dns; mx.example.net\n\n"+
		"Final-Recipient: rfc822; ned@example.org\nAction: "+action+"\nStatus: "+status+"\nDiagnostic-Code: smtp; "+words+"\n\n"+
		"--b\nContent-Type: message/rfc822\n\nFrom: desk@example.org\nMessage-ID: <"+noticeID+"@example.org>\nSubject: Wind\n\nx\n--b--\n")
}

func TestBadInputsByMail(t *testing.T) {
	for _, c := range badInputs {
		t.Run(c.name, func(t *testing.T) {
			r := newInwardRoom(t)
			from, rcpt := "ned@example.org", to(windToken)
			switch {
			case c.from == "-":
				from = ""
			case c.from != "":
				from = c.from
			}
			if c.token == "-" {
				rcpt = "answers@clocks.example.org"
			} else if c.token != "" {
				rcpt = to(c.token)
			}
			if got := r.bring(from, rcpt, c.raw()); got != "250" {
				t.Fatalf("the server said %s", got)
			}
			got := r.settle()
			if got.State != c.state || !strings.Contains(got.Why, c.why) || got.Why == "" {
				t.Errorf("it is %s because %q, want %s because %q", got.State, got.Why, c.state, c.why)
			}
			entries := r.fromReplies()
			if want := map[bool]int{true: 1}[c.state == schedule.Logged]; len(entries) != want {
				t.Fatalf("%d entries were logged, want %d: %+v", len(entries), want, entries)
			}
			if len(entries) == 1 && (entries[0].Kind != c.kind || entries[0].By != "ned" || got.Entry != entries[0].ID) {
				t.Errorf("logged %+v, want %s by ned; the message names %q", entries[0], c.kind, got.Entry)
			}
			if told := r.told(); (len(told) == 1) != c.told || len(told) > 1 {
				t.Errorf("%d letters told ned, want told %v", len(told), c.told)
			} else if c.told {
				r.lawful(told[0])
			}
			boxes, err := r.store.Mailboxes(t.Context(), 10)
			if err != nil || (len(boxes) == 1) != (strings.Contains(c.name, "for good")) {
				t.Errorf("mailboxes that are stopped: %+v, %v", boxes, err)
			}
		})
	}
}

// lawful sees that a letter of ours can start no loop (RFC 3834).
func (r *inwardRoom) lawful(n schedule.Notice) {
	r.t.Helper()
	n, err := r.store.Notice(r.t.Context(), n.ID)
	if err != nil {
		r.t.Fatal(err)
	}
	raw := string(n.Raw)
	head, _, _ := strings.Cut(raw, "\r\n\r\n")
	if n.From != "" || n.To != "ned@example.org" || !strings.Contains(head, "Auto-Submitted: auto-replied\r\n") || strings.Contains(head, "\nBcc") {
		r.t.Errorf("told from %q to %q:\n%s", n.From, n.To, raw)
	}
	if again := mail.ReadReply(n.Raw, n.From, r.clerk.own); again.Auto == "" {
		r.t.Error("our own letter would be taken for one that a person wrote")
	}
}

// M12, M13, M14: the same message again is answered 250, and nothing is done.
func TestSameMessageAgain(t *testing.T) {
	for _, name := range []string{"M12 a copy by a list", "M13 same Message-ID, other words", "M14 no Message-ID"} {
		t.Run(name, func(t *testing.T) {
			r := newInwardRoom(t)
			raw, again := plain("wound\n"), ""
			switch name[:3] {
			case "M12":
				again = "List-Id: <l.example.org>\r\n" + raw
			case "M13":
				again = strings.Replace(raw, "wound", "stopped", 1)
			case "M14":
				raw = strings.Replace(raw, "Message-ID", "X-None", 1)
				again = raw
			}
			for range 3 {
				if got := r.bring("ned@example.org", to(windToken), raw) + r.bring("ned@example.org", to(windToken), again); got != "250250" {
					t.Fatal(got)
				}
				r.settle()
			}
			if list, err := r.store.Inwards(t.Context(), 10); err != nil || len(list) != 1 || len(r.fromReplies()) != 1 {
				t.Errorf("%d messages and %d entries, %v; want one each", len(list), len(r.fromReplies()), err)
			}
		})
	}
}

// M15: a token that was used is of no use in a new message.
func TestTokenReplayed(t *testing.T) {
	r := newInwardRoom(t)
	for i, c := range []struct {
		text  string
		state schedule.InwardState
	}{{"wound\n", schedule.Logged}, {"Wound it, as I said.\n", schedule.Held}, {"wound!\n", schedule.PassedBy}, {"stopped\n", schedule.Held}, {"not done: rain\n", schedule.Held}} {
		r.bring("ned@example.org", to(windToken), plain(c.text))
		if got := r.settle(); got.State != c.state {
			t.Errorf("message %d, %q, is %s: %s; want %s", i, c.text, got.State, got.Why, c.state)
		}
	}
	if n := len(r.fromReplies()); n != 1 {
		t.Errorf("%d entries, want 1", n)
	}
}

// M09: a thousand rounds of our own letters make no letter.
func TestLoopEnds(t *testing.T) {
	r := newInwardRoom(t)
	r.bring("ned@example.org", to(windToken), plain("what do you mean\n"))
	r.settle()
	told := r.told()
	if len(told) != 1 {
		t.Fatalf("%d letters", len(told))
	}
	n, err := r.store.Notice(t.Context(), told[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 1000 {
		// As it was sent, and as an answering program that keeps no rule would.
		raw := string(n.Raw)
		if i%2 == 1 {
			raw = letter("Subject: Re: "+n.Title+"\r\nX-Autoreply: yes\r\n", "\nI am away. Is it urgent?\n")
		}
		m := mail.ReadReply([]byte(raw), "ned@example.org", r.clerk.own)
		if _, err := r.store.TakeIn(t.Context(), schedule.Inward{Mark: m.Mark(fmt.Sprint(i)), At: r.at, From: "ned@example.org", To: to(windToken), Raw: []byte(raw)}); err != nil {
			t.Fatal(err)
		}
	}
	r.settle()
	if n := len(r.told()); n != 1 {
		t.Errorf("%d letters after a thousand rounds, want still 1", n)
	}
	if n := len(r.fromReplies()); n != 0 {
		t.Errorf("%d entries", n)
	}
}

// One person is told three times a day at most.
func TestToldSeldom(t *testing.T) {
	r := newInwardRoom(t)
	for i := range 6 {
		r.bring("ned@example.org", to(windToken), plain(fmt.Sprintf("hmm, number%d\n", i)))
		r.settle()
	}
	if n := len(r.told()); n != mostTold {
		t.Errorf("told %d times, want %d", n, mostTold)
	}
	r.at = r.at.Add(25 * time.Hour)
	r.bring("ned@example.org", to(windToken), plain("hmm\n"))
	r.settle()
	if n := len(r.told()); n != mostTold+1 {
		t.Errorf("told %d times on the next day, want %d", n, mostTold+1)
	}
	if held, err := r.store.Held(t.Context()); err != nil || len(held) != 7 {
		t.Errorf("%d are held, %v; want 7", len(held), err)
	}
}

// A kill between logging and settling logs once.
func TestSettledAnewAfterAKill(t *testing.T) {
	for _, text := range []string{"wound\n", "not done: ladder locked\n", "stopped, snow on the hands\n"} {
		r := newInwardRoom(t)
		r.bring("ned@example.org", to(windToken), plain(text))
		r.clerk.book = forgetful{r.store}
		if err := r.clerk.settleAll(t.Context()); err == nil {
			t.Fatal("nothing was lost: the test shows nothing")
		}
		if n := len(r.fromReplies()); n != 1 {
			t.Fatalf("%d entries before the kill", n)
		}
		r.clerk.book = r.store
		r.at = r.at.Add(time.Hour)
		if got := r.settle(); got.State != schedule.Logged || got.Entry == "" {
			t.Errorf("%q is %s after the kill: %s, entry %q", text, got.State, got.Why, got.Entry)
		}
		if n := len(r.fromReplies()); n != 1 {
			t.Errorf("%q: %d entries after the kill, want 1", text, n)
		}
	}
}

// forgetful is a store that dies before it settles.
type forgetful struct{ *db.Store }

func (forgetful) SettleIn(context.Context, schedule.Inward, ...schedule.Notice) error {
	return fmt.Errorf("killed")
}

// Readings by mail are in the writer's own unit where no other can be meant.
func TestReadingByMail(t *testing.T) {
	r := newInwardRoom(t)
	r.bring("ned@example.org", to(measureToken), plain("side-shake 16\n")) // ned reads in thou
	if got := r.settle(); got.State != schedule.Logged {
		t.Fatalf("%s: %s", got.State, got.Why)
	}
	if e := r.fromReplies()[0]; e.Reading.Value != 406 || e.Reading.Shake != wear.SideShake || e.Bearing != "centre-front" {
		t.Errorf("logged %+v", e)
	}
	r = newInwardRoom(t)
	r.bring("ned@example.org", to(measureToken), plain("end-shake 0.42 mm\n"))
	if got := r.settle(); got.State != schedule.Held {
		t.Errorf("the end-shake of a bush that has side-shake is %s: %s", got.State, got.Why)
	}
}

// The loop ends with its context, and a message that cannot be settled now is
// kept, with those behind it.
func TestClerkStops(t *testing.T) {
	r := newInwardRoom(t)
	for range 2 {
		r.bring("ned@example.org", to(windToken), plain("wound\n"))
	}
	r.clerk.book = forgetful{r.store}
	ctx, cancel := context.WithCancel(t.Context())
	pokes, done := make(chan struct{}), make(chan struct{})
	go func() { defer close(done); r.clerk.run(ctx, pokes) }()
	pokes <- struct{}{}
	pokes <- struct{}{} // it lives on after an error
	cancel()
	<-done
	if left, err := r.store.ToSettle(t.Context(), 10); err != nil || len(left) != 2 {
		t.Errorf("%d are left, %v; want both", len(left), err)
	}
}

// A message that we stumble over is held, and those behind it are settled.
func TestStumbling(t *testing.T) {
	r := newInwardRoom(t)
	r.bring("ned@example.org", to(adaToken), plain("wound\n"))
	r.bring("ned@example.org", to(windToken), plain("wound\n"))
	r.clerk.book = stumbling{r.store}
	if got := r.settle(); got.State != schedule.Logged {
		t.Errorf("the one behind it is %s: %s", got.State, got.Why)
	}
	held, err := r.store.Held(t.Context())
	if err != nil || len(held) != 1 || !strings.Contains(held[0].Why, "stumbled") || len(r.told()) != 0 {
		t.Errorf("held: %+v, %v", held, err)
	}
}

// stumbling is a store that panics over one pass.
type stumbling struct{ *db.Store }

func (s stumbling) Pass(ctx context.Context, token string) (schedule.Pass, error) {
	if token == adaToken {
		panic("no such luck")
	}
	return s.Store.Pass(ctx, token)
}
