package daemon

import (
	"cmp"
	"context"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"endshake/daemon/login"
	"endshake/daemon/mail"
	"endshake/daemon/web"
	"endshake/db"
	"endshake/schedule"
)

const (
	// firstFor is how long the link holds by which somebody becomes the first
	// conservator, and invitedFor that of an invitation.
	firstFor = 7 * 24 * time.Hour
	// firstPerson is who that link is given to, whom nobody knows yet.
	firstPerson = "first"
)

// letIn has people log in, and prints the link for the first conservator where
// there is none.
func (d *Daemon) letIn(ctx context.Context) error {
	if d.o.Everyone != (schedule.Actor{}) {
		return nil
	}
	proxies, err := d.o.proxies()
	if err != nil {
		return err
	}
	d.logins = &web.Logins{Accounts: d.door, Entrances: d.door, Sessions: &sessions{Sessions: d.store.Sessions(d.o.Now), pulse: d.pulse}, Passwords: login.New(),
		NewToken: NewToken, Proxies: proxies}
	if host, _, _ := net.SplitHostPort(d.o.Listen); !mail.Loopback(host) && strings.HasPrefix(d.o.BaseURL, "http:") {
		d.o.Log.Warn("passwords can be read on their way: have something in front speak https, and give that address with --base-url", "base-url", d.o.BaseURL)
	}
	if strings.HasPrefix(d.o.BaseURL, "https:") && len(proxies) == 0 { // something in front speaks it
		d.o.Log.Warn("everybody counts as one where wrong passwords are counted, so that one person can keep all others out: name the network of what speaks https in front with --trusted-proxy, like 127.0.0.1", "base-url", d.o.BaseURL)
	}
	if d.o.SMTP != "" && d.o.BaseURL != "" {
		d.logins.Letter = d.oweLink
	}
	return nil
}

// GiveFirst gives a new link by which somebody becomes the first conservator, and
// ends those given before; it returns its token, and none where somebody runs the
// fleet already.
func GiveFirst(ctx context.Context, store *db.Store, actor string, now time.Time) (token string, err error) {
	all, err := store.Accounts(ctx)
	if err != nil {
		return "", err
	}
	for _, a := range all {
		if a.Conservator && a.Open() {
			return "", nil
		}
	}
	if _, err := store.EndPasses(ctx, actor, now, firstPerson, schedule.First); err != nil {
		return "", err
	}
	token = NewToken()
	return token, store.GivePass(ctx, actor, now, schedule.Pass{Token: token, Deed: schedule.First, Person: firstPerson, Ends: now.Add(firstFor)})
}

// sayFirst prints the link for the first conservator, once a start.
func (d *Daemon) sayFirst(ctx context.Context) error {
	if d.logins == nil {
		return nil
	}
	token, err := GiveFirst(ctx, d.store, "serve", d.o.Now())
	if err != nil || token == "" {
		return err
	}
	base := strings.TrimRight(cmp.Or(d.o.BaseURL, near(d.Addr())), "/")
	d.o.Log.Warn("nobody runs this fleet yet: open this address within seven days and say who you are; it works once", "address", base+"/first/"+token)
	return nil
}

// near is where this machine finds what listens at addr: that at every address of
// it at its own.
func near(addr string) string {
	if at, err := netip.ParseAddrPort(addr); err == nil && at.Addr().IsUnspecified() {
		addr = net.JoinHostPort("127.0.0.1", strconv.Itoa(int(at.Port())))
	}
	return "http://" + addr + "/"
}

// oweLink has a letter with a link owed.
func (d *Daemon) oweLink(ctx context.Context, l web.LinkLetter) (bool, error) {
	if l.Person.Email == "" {
		return false, nil
	}
	id, err := uuid.NewV7()
	if err != nil {
		return false, err
	}
	n, err := d.compose.Link(mail.LinkLetter{Person: l.Person, Kind: l.Kind, By: l.By, Pass: l.Pass}, id.String(), l.Now)
	if err != nil {
		return false, err
	}
	if _, err := d.store.Owe(ctx, l.Now, []schedule.Notice{n}); err != nil {
		return false, err
	}
	d.drain()
	return true, nil
}

// saveFleet keeps a part of the fleet and has it assessed.
func (d *Daemon) saveFleet(ctx context.Context, actor string, part schedule.Fleet, check func(schedule.Fleet) error) error {
	err := d.store.SaveFleet(ctx, actor, d.o.Now(), part, func(stored schedule.Fleet, _ map[string][]schedule.Entry) error { return check(stored) })
	if err != nil {
		return err
	}
	_, err = d.desk.Follow(ctx)
	return err
}

// audit lists who changed what.
func (d *Daemon) audit(ctx context.Context, actor string, before int64, limit int) ([]web.Change, error) {
	rows, err := d.store.AuditOf(ctx, actor, before, limit)
	var out []web.Change
	for _, r := range rows {
		out = append(out, web.Change(r))
	}
	return out, err
}

// exported audits that somebody took clocks away.
func (d *Daemon) exported(ctx context.Context, actor string, clocks []string) error {
	return d.store.Exported(ctx, actor, d.o.Now(), clocks)
}

// emptyOld empties old mail and forgets sessions that are over.
func (d *Daemon) emptyOld(ctx context.Context, now time.Time) (inward, notices int, err error) {
	if _, err := d.store.EmptySessions(ctx, now); err != nil {
		return 0, 0, err
	}
	return d.store.EmptyOldMail(ctx, now)
}

// forwarded are the headers by which a proxy says that it asks for another.
var forwarded = []string{"X-Forwarded-For", "X-Forwarded-Host", "X-Real-Ip", "Forwarded", "Via"}

// forScrapers lets programs on this machine read the metrics, and others that show
// a token for them. Tokens are looked up by their hash, so that the time that it
// takes tells nothing of them.
func (d *Daemon) forScrapers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if d.logins == nil || fromHere(r, d.logins.Proxies) && r.Header.Get("Authorization") == "" {
			next.ServeHTTP(w, r)
			return
		}
		m, err := d.door.Machine(r.Context(), d.o.Now(), web.Bearer(r))
		if err == nil {
			err = (schedule.Fleet{}).Allow(schedule.Actor{Machine: &m}, schedule.Measure, "")
		}
		switch {
		case err == nil:
			next.ServeHTTP(w, r)
		case schedule.CodeOf(err) != "":
			w.Header().Set("WWW-Authenticate", `Bearer realm="endshake metrics"`)
			http.Error(w, "the metrics are for programs on this machine, or with a token that has the scope metrics: a conservator gives one", http.StatusUnauthorized)
		default:
			d.o.Log.ErrorContext(r.Context(), "metrics not served", "error", fmt.Errorf("find a token: %w", err))
			http.Error(w, "something went wrong here", http.StatusServiceUnavailable)
		}
	})
}

// fromHere reports whether a request comes from a program on this machine, and
// not through a proxy on it: one that was named, one that says so, or one that
// hands on the name by which others ask.
func fromHere(r *http.Request, proxies []netip.Prefix) bool {
	for _, h := range forwarded {
		if r.Header.Get(h) != "" {
			return false
		}
	}
	host, _, err := net.SplitHostPort(r.Host)
	if err != nil {
		host = strings.Trim(r.Host, "[]")
	}
	a, err := netip.ParseAddrPort(r.RemoteAddr)
	at := a.Addr().Unmap()
	return err == nil && at.IsLoopback() && mail.Loopback(host) && !slices.ContainsFunc(proxies, func(p netip.Prefix) bool { return p.Contains(at) })
}
