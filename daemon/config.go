package daemon

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"net/url"
	"time"

	"endshake/daemon/backup"
	"endshake/daemon/mail"
	"endshake/db"
	"endshake/schedule"
)

// Config is what a keeper of the service sets.
type Config struct {
	Database     string // folder, sqlite:PATH or postgres://...
	Listen       string // host:port of pages and metrics
	SMTP         string // smtp://... or smtps://...; empty: no mail is written
	SMTPPassword string // takes the place of one in SMTP
	MailFrom     string // "Name <address>"
	Inward       string // where messages come in: lmtp://, smtp:// or lmtp+unix:; empty: nowhere
	Answers      string // address at which answers to letters are read; empty: they go to MailFrom
	DKIM         DKIM   // signs letters; zero: none is signed
	BaseURL      string // where readers of mail find the pages; may be empty
	Zone         string // IANA zone in which jobs fall due
	Erasures     string // file that keeps who was erased; empty: beside the database's file, where it has one
	Mark         string // file that keeps how far the database has come; empty: beside the database's file, where it has one
	// FromBackup: the database is the one to go on from, though it is an older copy.
	FromBackup bool
	// ClockIsRight: the wall clock is, though the database holds a later change.
	ClockIsRight bool
	Backups      backup.Settings // of each night; no folder: none is made
	Travel       schedule.Travel // how long ways are, where rounds are planned
	Sums         schedule.Sums   // rates of planning sums; zero: no money is said
	// TrustedProxies are the peers whose word on where a request comes from is
	// believed, as CIDR: 10.0.0.0/8.
	TrustedProxies []string
	// MailLease is how long a claimed mail is left alone after its sender died.
	MailLease time.Duration
	// FirstRun has the jobs done at once on an empty history, for a demo; a
	// real fleet waits for the next day that they fall on.
	FirstRun bool
}

// DKIM is what letters are signed with: all of it, or nothing.
type DKIM struct {
	Domain   string // that publishes the key
	Selector string
	Key      []byte // private key, PKCS #8 in PEM
}

// Composer writes letters as they are set up.
func (c Config) Composer() (mail.Composer, error) {
	out := mail.Composer{From: c.MailFrom, Base: c.BaseURL, Answers: c.Answers}
	if err := (mail.Composer{From: c.MailFrom}).Check(); err != nil {
		return out, fmt.Errorf("--mail-from: say who the mail comes from, like \"Clock desk <clocks@example.org>\": %w", err)
	}
	if err := out.Check(); err != nil {
		return out, fmt.Errorf("--answers: %w", err)
	}
	d := c.DKIM
	if d.Domain == "" && d.Selector == "" && len(d.Key) == 0 {
		return out, nil
	}
	if d.Domain == "" || d.Selector == "" || len(d.Key) == 0 {
		return out, errors.New("--dkim-domain, --dkim-selector and --dkim-key go together: give all three, or none")
	}
	var err error
	if out.DKIM, err = mail.NewDKIM(d.Domain, d.Selector, d.Key); err != nil {
		return out, fmt.Errorf("--dkim-key: %w", err)
	}
	return out, nil
}

// Options are what the daemon needs from outside itself.
type Options struct {
	Config
	Version string
	Now     func() time.Time // the wall clock
	// Running is the time since some instant by a clock that nobody sets; nil: steps of
	// Now are taken as they come.
	Running func() time.Duration
	Log     *slog.Logger
	Banner  string // a line for every page; empty: none
	// Everyone is who every reader is, where nobody logs in: in the demo. Its zero
	// value has people log in.
	Everyone schedule.Actor
	Sink     *mail.Sink // the receiving end, where the process has one; nil: none
	store    *db.Store  // open and up to date, the caller's to close; nil: Database is opened
}

// leastLease leaves a mail server time to answer.
const leastLease = time.Second

// validate names the first field that cannot be right, and gives the parsed
// mail server and zone.
func (c Config) validate() (server mail.Server, zone *time.Location, err error) {
	if zone, err = time.LoadLocation(c.Zone); err != nil || c.Zone == "" {
		return server, nil, fmt.Errorf("--zone: %q is not a known zone: use an IANA name, like Europe/London", c.Zone)
	}
	if err := c.validateListen(); err != nil {
		return server, nil, err
	}
	if c.BaseURL != "" {
		if u, err := url.Parse(c.BaseURL); err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
			return server, nil, fmt.Errorf("--base-url: %q is not an address of pages: use https://host/", c.BaseURL)
		}
	}
	if f := c.Backups.Folder; f != "" {
		if err := backup.CheckFolder(f); err != nil {
			return server, nil, fmt.Errorf("--backups: %w", err)
		}
	}
	if c.MailLease != 0 && (c.MailLease < leastLease || c.MailLease > 24*time.Hour) {
		return server, nil, fmt.Errorf("--mail-lease: %v must lie between %v and 24h", c.MailLease, leastLease)
	}
	if err := c.Sums.Check(); err != nil {
		return server, nil, err
	}
	if _, _, err := c.validateInward(); err != nil {
		return server, nil, err
	}
	if c.SMTP == "" {
		return server, zone, nil
	}
	if server, err = mail.ParseServer(c.SMTP); err != nil {
		return server, nil, fmt.Errorf("--smtp: %w", err)
	}
	if c.SMTPPassword != "" {
		server.Password = c.SMTPPassword
	}
	if _, err := c.Composer(); err != nil {
		return server, nil, err
	}
	return server, zone, nil
}

// validateListen refuses an address that others can reach where it is not known
// by what name they do: cookies and links go by that name.
func (c Config) validateListen() error {
	host, _, err := net.SplitHostPort(c.Listen)
	if err != nil {
		return fmt.Errorf("--listen: %q is not host:port, like 127.0.0.1:8080", c.Listen)
	}
	if !mail.Loopback(host) && c.BaseURL == "" {
		return fmt.Errorf("--listen: %s can be reached by others: say with --base-url by which address they reach the pages, like https://clocks.example.org/, or listen on 127.0.0.1", c.Listen)
	}
	_, err = c.proxies()
	return err
}

// proxies reads TrustedProxies.
func (c Config) proxies() (out []netip.Prefix, err error) {
	for _, s := range c.TrustedProxies {
		p, err := netip.ParsePrefix(s)
		if a, other := netip.ParseAddr(s); err != nil && other == nil {
			p, err = a.Prefix(a.BitLen())
		}
		if err != nil {
			return nil, fmt.Errorf("--trusted-proxy: %q is no network: write one like 10.0.0.0/8 or 192.0.2.7", s)
		}
		out = append(out, p.Masked())
	}
	return out, nil
}
