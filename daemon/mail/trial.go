package mail

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	gomail "github.com/emersion/go-message/mail"
	"github.com/emersion/go-smtp"

	"endshake/schedule"
)

// trialWord follows the + in the address for answers to a trial letter.
const trialWord = "trial"

// Trial writes a plain letter that only tries the way, for nobody's outbox: from
// whom, signed and to be answered as every letter is. It
// fails where sender or reader cannot be reached by mail, or the ID is of no use.
func (c Composer) Trial(to, id string, now time.Time) (schedule.Notice, error) {
	from, err := schedule.ParseMail(c.From)
	if err != nil {
		return schedule.Notice{}, fmt.Errorf("the sender cannot be used: %w", err)
	}
	reader, err := schedule.ParseMail(to)
	if err != nil {
		return schedule.Notice{}, fmt.Errorf("no letter can go to %q: %w", clip(clean(to), maxName), err)
	}
	if !noticeID.MatchString(id) {
		return schedule.Notice{}, fmt.Errorf("%q cannot be part of a Message-ID: use letters, digits and hyphens, like a UUID", clip(clean(id), maxName))
	}
	n := schedule.Notice{ID: id, From: c.envelopeFrom(from, id), To: envelope(reader), Title: "A trial letter of endshake",
		MessageID: "<" + id + "@" + domainOf(from.Address) + ">", Created: now}
	var h gomail.Header // which writes the last first
	h.SetContentType("text/plain", map[string]string{"charset": "utf-8"})
	h.Set("Content-Transfer-Encoding", "7bit")
	h.Set("Auto-Submitted", "auto-generated") // RFC 3834
	h.SetMessageID(strings.Trim(n.MessageID, "<>"))
	h.SetDate(now)
	h.SetSubject(n.Title)
	back := c.plus(trialWord)
	if back != "" {
		h.Set("Reply-To", mailbox(name(from.Name), back))
	}
	h.Set("To", mailbox("", reader.Address))
	h.Set("From", mailbox(name(from.Name), from.Address))
	var b strings.Builder
	w, err := gomail.CreateSingleInlineWriter(&b, h)
	if err != nil {
		return schedule.Notice{}, fmt.Errorf("compose: headers: %w", err)
	}
	words := "This letter tries the way from the clocks' service to you.\r\nIf you read it, the way is open."
	if back == "" {
		words += " There is nothing to do.\r\n"
	} else {
		words += " To try the way back,\r\nanswer it with any word: the mail room then shows your answer, held.\r\n"
	}
	_, err = io.WriteString(w, words)
	if err := errors.Join(err, w.Close()); err != nil {
		return schedule.Notice{}, fmt.Errorf("compose: body: %w", err)
	}
	n.Raw = []byte(b.String())
	if c.DKIM != nil {
		n.Raw, err = c.DKIM.sign(n.Raw, now)
	}
	return n, err
}

// Try hands one letter over at once, with no outbox, and writes the exchange to
// out: each line with the seconds since the beginning, C: for what we say and S:
// for the server, and -- for a remark. No secret is in it. An error is one
// sentence that says what failed, and how to mend it where we know.
func (s *Sender) Try(ctx context.Context, n schedule.Notice, out io.Writer) error {
	d, err := s.withDefaults()
	if err != nil {
		return err
	}
	d.talk = &dialogue{out: out, began: time.Now(), secrets: secretsOf(s.Server)}
	err = d.attempt(ctx, n)
	d.talk.end()
	if err == nil {
		return nil
	}
	return fmt.Errorf("the letter to %s was not taken: %s%s", n.To, scrub(clean(strings.TrimPrefix(err.Error(), "mail: ")), d.talk.secrets), advice(err))
}

func (s *Sender) attempt(ctx context.Context, n schedule.Notice) error {
	l, err := s.open(ctx, time.Now().Add(s.span()))
	if err != nil {
		s.unverified(err)
		return err
	}
	defer l.close()
	if state, ok := l.client.TLSConnectionState(); ok {
		s.talk.note("encrypted by %s, %s", tls.VersionName(state.Version), tls.CipherSuiteName(state.CipherSuite))
		s.certificate(state.PeerCertificates, "verified for "+s.Server.Host)
	} else {
		s.talk.note("the line is not encrypted")
	}
	if err := sendable(n, l.client); err != nil {
		return err
	}
	if err := l.client.Mail(n.From, &smtp.MailOptions{Size: int64(len(n.Raw))}); err != nil {
		return setupReply(err)
	}
	if err := l.client.Rcpt(n.To, nil); err != nil {
		return atRecipient{err}
	}
	w, err := l.client.Data()
	if err != nil {
		return err
	}
	if _, err := w.Write(n.Raw); err != nil {
		return err
	}
	if _, err := w.CloseWithResponse(); err != nil {
		return err
	}
	_ = l.client.Quit() // the letter is taken: nothing follows from its reply
	return nil
}

// certificate notes whom a server says it is.
func (s *Sender) certificate(chain []*x509.Certificate, verdict string) {
	if len(chain) == 0 {
		return
	}
	c := chain[0]
	names := append([]string{}, c.DNSNames...)
	for _, ip := range c.IPAddresses {
		names = append(names, ip.String())
	}
	if len(names) == 0 {
		names = []string{"no host"}
	}
	s.talk.note("its certificate is for %s, from %s, good from %s until %s: %s", strings.Join(names, ", "), issuer(c),
		schedule.DateOf(c.NotBefore, time.UTC).Words(), schedule.DateOf(c.NotAfter, time.UTC).Words(), verdict)
}

func issuer(c *x509.Certificate) string {
	if name := c.Issuer.CommonName; name != "" {
		return name
	}
	return c.Issuer.String()
}

// unverified notes the certificate for which a line was given up.
func (s *Sender) unverified(err error) {
	if bad, ok := errors.AsType[*tls.CertificateVerificationError](err); ok {
		s.certificate(bad.UnverifiedCertificates, "not accepted")
	}
}

// advice says how to mend what failed, where we know.
func advice(err error) string {
	_, badCertificate := errors.AsType[*tls.CertificateVerificationError](err)
	switch code := codeOf(err); {
	case badCertificate:
		return "; name the host that the certificate is for, or have it renewed"
	case code == 535:
		return "; check the user and the password"
	case errors.Is(err, ErrSetup):
		return ""
	case code == 421 || code/100 == 4:
		return "; it asks to be tried again later, which the service does by itself"
	case code/100 == 5 && errors.As(err, new(atRecipient)):
		return "; check the address, and whether this server may send there"
	case code == 0 && lineBroke(err):
		return "; check the host, the port, and what stands between"
	}
	return ""
}
