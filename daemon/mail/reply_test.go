package mail

import (
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"
)

// What people wrote, with what mail programs put around it; all invented.
func TestWritten(t *testing.T) {
	quote := "> It was read at 0.40 mm.\n> Not done?\n"
	for i, c := range []struct{ text, want string }{
		{"wound", "wound"},
		{"wound\r\n\r\nOn Tue, 24 Nov 2026 at 09:00, Clock desk <desk@example.org> wrote:\r\n\r\n" + quote, "wound"},
		{"wound\n\nOn Tue, 24 Nov 2026 at 09:00, Clock desk <\ndesk@example.org> wrote:\n\n" + quote, "wound"},
		{"wound\n\nOn 24 Nov 2026, at 09:00, Clock desk\n<desk@example.org>\nwrote:\n" + quote, "wound"},
		{"On 24/11/2026 09:00, Clock desk wrote:\n" + quote + "\nwound\n", "wound"},
		{"Hello,\n" + quote + "wound\n> more\nthanks", "Hello,\nwound\nthanks"},
		{"remonté\n\nLe mar. 24 nov. 2026 à 09:00, Clock desk <desk@example.org> a écrit :\n" + quote, "remonté"},
		{"wound\n\nAm 24.11.2026 um 09:00 schrieb Clock desk:\n" + quote, "wound"},
		{"wound\n\nEl mar, 24 nov 2026 a las 9:00, Clock desk (<desk@example.org>) escribió:\n" + quote, "wound"},
		{"wound\n\nIl giorno mar 24 nov 2026 alle ore 09:00 Clock desk <desk@example.org> ha scritto:\n" + quote, "wound"},
		{"wound\n\nOp di 24 nov 2026 om 09:00 schreef Clock desk <desk@example.org>:\n" + quote, "wound"},
		{"wound\n\nDen tis 24 nov. 2026 kl 09:00 skrev Clock desk <desk@example.org>:\n" + quote, "wound"},
		{"wound\n\nEm ter., 24 de nov. de 2026 às 09:00, Clock desk <desk@example.org> escreveu:\n" + quote, "wound"},
		{"wound\n\nút 24. 11. 2026 v 9:00 odesílatel Clock desk <desk@example.org> napsal:\n" + quote, "wound"},
		{"wound\n\n2026-11-24 9:00 GMT+01:00 Clock desk <desk@example.org>:\n" + quote, "wound"},
		{"wound\n\n2026年11月24日(火) 9:00 Clock desk <desk@example.org>:\n" + quote, "wound"},
		{"wound\n\n-----Original Message-----\nFrom: Clock desk\nnot done", "wound"},
		{"wound\n\n-------- Ursprüngliche Nachricht --------\nVon: Clock desk\nnot done", "wound"},
		{"wound\n\n________________________________\nFrom: Clock desk <desk@example.org>\nSent: 24 November 2026 09:00\nTo: Ned\nSubject: Wind\n\nnot done", "wound"},
		{"wound\n\nFrom: Clock desk <desk@example.org>\nDate: Tuesday\nTo: Ned\n\nnot done", "wound"},
		{"wound\n\nVon: Clock desk\nGesendet: Dienstag\nAn: Ned\nBetreff: Wind\n\nnot done", "wound"},
		{"wound\n\nDe : Clock desk\nEnvoyé : mardi\nÀ : Ned\nObjet : x\n\nnot done", "wound"},
		{"From: the tower it looks fine\nwound", "From: the tower it looks fine\nwound"},
		{"wound\n-- \nNed\nNot available on Mondays", "wound"},
		{"wound\n--\nNed\n\nOn Tue, 24 Nov 2026, Clock desk wrote:\n" + quote + "but not the strike", "wound\nbut not the strike"},
		{"wound\n\nSent from my telephone", "wound"}, {"wound\nGet Outlook for Android", "wound"}, {"wound\nVon meinem Mobilteil gesendet", "wound"},
		{"wound\nSent to the wrong clock: sorry", "wound\nSent to the wrong clock: sorry"},
		{"0.42 mm\nNed Sallowby\n+44 1632 960123", "0.42 mm\nNed Sallowby"}, {"0.42 mm\nTel: (01632) 960-123", "0.42 mm"}, {"0.42 mm\nNed, 01632 960123", "0.42 mm"},
		{"wound\n\nThis e-mail and any attachments are confidential.\nIf you are not the reader, stop.", "wound"},
		{"16 thou\n0.42", "16 thou\n0.42"}, {"wound at 10:15", "wound at 10:15"}, {"This is what we wrote:\nwound", "This is what we wrote:\nwound"},
		{"", ""}, {quote, ""}, {"On Tue, 24 Nov 2026, Clock desk wrote:\nunmarked 0.40 mm", ""},
	} {
		if got := written(c.text); got != c.want {
			t.Errorf("%d: %q:\n got %q\nwant %q", i, c.text, got, c.want)
		}
	}
}

func TestHTMLText(t *testing.T) {
	for _, c := range []struct{ html, want, trouble string }{
		{"<p>wound</p>", "wound", ""}, {"wo<b>un</b>d<br>it", "wound\nit", ""}, {"<div>a</div><div>b</div>", "a\n\nb", ""}, {"a &lt; b &amp; c &#x2014;", "a < b & c —", ""},
		{"<script>stopped</script><style>x</style>wound<img src=x onerror=y alt=stopped><!-- not done -->", "wound", ""},
		{"<title>not</title><textarea>done</textarea><noscript>x</noscript>wound", "wound", ""},
		{"wound<blockquote type=cite>not done</blockquote>it", "wound\nit", ""},
		{`wound<div class="gmail_quote">On x wrote:<blockquote>no</blockquote></div>`, "wound", ""},
		{`wound<div id="appendonsend"></div><hr><div>From: x</div>not done`, "wound", ""}, {`wound<div id="divRplyFwdMsg">From</div>not done`, "wound", ""},
		{`wound<div class="moz-cite-prefix">On x:</div><blockquote>no</blockquote>`, "wound", ""},
		{`wound<div class="gmail_signature">Ned, not in</div>`, "wound", ""}, {`wound <div id="Signature">no</div>`, "wound", ""},
		{`wound<span style="display:none">not</span>`, "wound", "hidden"}, {`<s>not</s> done`, "done", "struck"}, {`done<p hidden>not</p>`, "done", "hidden"},
		{`<span style="font-size:0">not</span>done`, "done", "hidden"}, {`<span style="text-decoration: line-through">not</span>done`, "done", "struck"},
		{`<span style="display:none"> </span>done`, "done", ""},
		{"<blockquote>never closed", "", ""}, {"</div></p>wound<", "wound<", ""}, {strings.Repeat("<i>", 2000) + "x", "", "nested"}, {strings.Repeat("</i>", 100000) + "x", "x", ""},
		{"<pre>a\n  b</pre>", "a\nb", ""}, {"a\r\n b", "a b", ""}, {"", "", ""},
	} {
		got, trouble := htmlText(c.html)
		if got != c.want || (trouble == "") != (c.trouble == "") || !strings.Contains(trouble, c.trouble) {
			t.Errorf("%.60q: %q, %q; want %q, %q", c.html, got, trouble, c.want, c.trouble)
		}
	}
}

// RFC 3464, appendix E.1 to E.3, shortened: what its own examples report.
func TestReadReport(t *testing.T) {
	wrap := func(status string) string {
		return "Message-Id: <1@x.example>\r\nFrom: <MAILER-DAEMON@CS.UTK.EDU>\r\nMIME-Version: 1.0\r\n" +
			"Content-Type: multipart/report; report-type=delivery-status; boundary=\"RAA14128.773615765/CS.UTK.EDU\"\r\n\r\n--RAA14128.773615765/CS.UTK.EDU\r\n\r\nThe original message was received\r\n" +
			"--RAA14128.773615765/CS.UTK.EDU\r\ncontent-type: message/delivery-status\r\n\r\n" + strings.ReplaceAll(status, "\n", "\r\n") +
			"\r\n--RAA14128.773615765/CS.UTK.EDU\r\ncontent-type: message/rfc822\r\n\r\nMessage-ID: <ours@example.org>\r\n\r\n--RAA14128.773615765/CS.UTK.EDU--\r\n"
	}
	for _, c := range []struct {
		name, status string
		want         Report
		failed       bool
	}{
		{"E.1", "Reporting-MTA: dns; cs.utk.edu\n\nOriginal-Recipient: rfc822;louisl@larry.slip.umd.edu\nFinal-Recipient: rfc822;louisl@larry.slip.umd.edu\nAction: failed\nStatus: 4.0.0\nDiagnostic-Code: smtp; 426 connection timed out\nLast-Attempt-Date: Thu, 7 Jul 1994 17:15:49 -0400\n",
			Report{"failed", "4.0.0", "louisl@larry.slip.umd.edu", "426 connection timed out", "<ours@example.org>"}, false},
		{"E.2", "Reporting-MTA: dns; cs.utk.edu\n\nOriginal-Recipient: rfc822;arathib@vnet.ibm.com\nFinal-Recipient: rfc822;arathib@vnet.ibm.com\nAction: failed\nStatus: 5.0.0 (permanent failure)\nDiagnostic-Code: smtp;\n 550 'arathib@vnet.IBM.COM' is not a registered gateway user\nRemote-MTA: dns; vnet.ibm.com\n\nOriginal-Recipient: rfc822;johnh@hpnjld.njd.hp.com\nFinal-Recipient: rfc822;johnh@hpnjld.njd.hp.com\nAction: delayed\nStatus: 4.0.0 (hpnjld.njd.jp.com: host name lookup failure)\n",
			Report{"failed", "5.0.0", "arathib@vnet.ibm.com", "550 'arathib@vnet.IBM.COM' is not a registered gateway user", "<ours@example.org>"}, true},
		{"E.3", "Reporting-MTA: mailbus; SYS30\n\nFinal-Recipient: unknown; nair_s\nStatus: 5.0.0 (unknown permanent failure)\nAction: failed\n", Report{"failed", "5.0.0", "nair_s", "", "<ours@example.org>"}, true},
		{"delayed", "Reporting-MTA: dns; a\n\nFinal-Recipient: rfc822; b@c.example\nAction: delayed\nStatus: 4.4.1\n", Report{"delayed", "4.4.1", "b@c.example", "", "<ours@example.org>"}, false},
		{"nothing", "", Report{MessageID: "<ours@example.org>"}, false},
		{"rubbish", "\xff\x00: x\nAction failed\n\n\n\nAction:\n", Report{MessageID: "<ours@example.org>"}, false},
	} {
		r := ReadReply([]byte(wrap(c.status)), "", ownNames)
		if r.Report == nil || *r.Report != c.want || r.Report.Failed() != c.failed {
			t.Errorf("%s: %+v, want %+v", c.name, r.Report, c.want)
		}
	}
}

// A mark is of a message and its recipient.
func TestMark(t *testing.T) {
	read := func(s string) Reply { return ReadReply([]byte(s), "a@b.example", ownNames) }
	one := read("Message-ID: <1@x>\r\nFrom: a@b.example\r\n\r\nwound\r\n")
	for s, same := range map[string]bool{
		"Message-ID: <1@x>\r\nFrom: a@b.example\r\n\r\nother\r\n": true, "Message-ID: <2@x>\r\nFrom: a@b.example\r\n\r\nwound\r\n": false, "From: a@b.example\r\n\r\nwound\r\n": false,
	} {
		if got := read(s).Mark("x@y") == one.Mark("X@y"); got != same {
			t.Errorf("%q: the same %v, want %v", s, got, same)
		}
	}
	if one.Mark("x@y") == one.Mark("z@y") {
		t.Error("for two recipients the mark is one")
	}
}

func checkReply(t *testing.T, r Reply) {
	t.Helper()
	for _, s := range []string{r.Title, r.Held, r.Auto, r.Marked} {
		if strings.ContainsAny(s, "\r\n\x00") || !utf8.ValidString(s) {
			t.Fatalf("%q is not one line of text", s)
		}
	}
	for _, s := range []string{r.Text, r.HTML} {
		if !utf8.ValidString(s) || strings.Contains(s, "\x00") {
			t.Fatalf("%q is no text", s)
		}
	}
	if r.From != "" && !strings.Contains(r.From, "@") {
		t.Fatalf("From %q", r.From)
	}
}

func FuzzReadReply(f *testing.F) {
	for _, body := range []string{"\r\nwound\r\n", "Content-Type: text/html\r\n\r\n<p>wound", "Content-Type: multipart/alternative; boundary=b\r\n\r\n--b\r\n\r\nx\r\n--b\r\nContent-Type: text/html\r\n\r\n<i>x\r\n--b--\r\n",
		"Content-Type: text/plain; charset=iso-2022-jp\r\nContent-Transfer-Encoding: base64\r\n\r\nAAAA\r\n", "Content-Type: multipart/report; report-type=delivery-status; boundary=b\r\n\r\n--b\r\nContent-Type: message/delivery-status\r\n\r\nAction: failed\r\n--b--\r\n",
		"Content-Type: application/ms-tnef\r\n\r\n", "Content-Transfer-Encoding: quoted-printable\r\n\r\n=3D=\r\n=ZZ"} {
		f.Add([]byte("From: Ned <ned@example.org>\r\nSubject: =?utf-8?q?Re=3A?=\r\nMessage-ID: <1@x>\r\n"+body), "ned@example.org")
	}
	f.Fuzz(func(t *testing.T, raw []byte, sender string) {
		r := ReadReply(raw, sender, ownNames)
		checkReply(t, r)
		if again := ReadReply(raw, sender, ownNames); fmt.Sprintf("%+v", again.Mark("a")) != r.Mark("a") {
			t.Fatal("the mark of one message differs")
		}
	})
}

func FuzzWritten(f *testing.F) {
	f.Add("wound\n\nOn Tue, 24 Nov 2026, x <a@b.c> wrote:\n> 0.40 mm\n", "<p>wound<blockquote>x")
	f.Add("--\n\n-----Original Message-----\nFrom: a\nSent: b", "<div id=appendonsend>")
	f.Fuzz(func(t *testing.T, text, html string) {
		got := written(text)
		if again := written(got + "\n> quoted"); len(again) > len(got) {
			t.Fatalf("%q grew to %q", got, again)
		}
		if len(got) > len(text)*3 {
			t.Fatalf("%q is more than was written", got)
		}
		out, _ := htmlText(html)
		if strings.Contains(out, "\x00") && !strings.Contains(html, "\x00") {
			t.Fatalf("%q", out)
		}
	})
}

func FuzzReport(f *testing.F) {
	f.Add("Reporting-MTA: dns; a\r\n\r\nFinal-Recipient: rfc822; a@b\r\nAction: failed\r\nStatus: 5.1.1\r\n", "Message-ID: <1@x>\r\n\r\n")
	f.Add("Action: failed\n\nAction: delayed\n\n", "")
	f.Fuzz(func(t *testing.T, status, head string) {
		r := ReadReply([]byte("From: mailer-daemon@x.example\r\nContent-Type: multipart/report; report-type=delivery-status; boundary=bbbbbbbb\r\n\r\n--bbbbbbbb\r\nContent-Type: message/delivery-status\r\n\r\n"+
			status+"\r\n--bbbbbbbb\r\nContent-Type: text/rfc822-headers\r\n\r\n"+head+"\r\n--bbbbbbbb--\r\n"), "", ownNames)
		checkReply(t, r)
		if r.Auto+r.Marked == "" {
			t.Fatal("a report would be answered")
		}
		if r.Report == nil {
			t.Fatal("a report is none")
		}
		if s := r.Report.Status; s != "" && !status5(s) {
			t.Fatalf("status %q", s)
		}
		if strings.ContainsAny(r.Report.Words+r.Report.Recipient+r.Report.MessageID, "\r\n") {
			t.Fatalf("%+v", r.Report)
		}
	})
}

func status5(s string) bool {
	return status.FindString(s) == s && strings.ContainsRune("245", rune(s[0]))
}
