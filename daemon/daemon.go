package daemon

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"
	"github.com/prometheus/client_golang/prometheus"

	"endshake/daemon/backup"
	"endshake/daemon/mail"
	"endshake/daemon/metrics"
	"endshake/daemon/web"
	"endshake/db"
	"endshake/schedule"
)

// Daemon is a service that is ready to run, or runs.
type Daemon struct {
	o       Options
	store   *db.Store
	desk    *Desk
	metrics *metrics.Metrics
	runner  *runner
	sender  *mail.Sender // nil: no mail server is named
	pulse   *pulse
	clock   *hostClock
	working sync.Mutex    // work is done once at a time
	told    chan struct{} // wakes who follows what others change
	// wentBack: no letter is written or sent until the service is started again.
	wentBack atomic.Bool
	poke     chan struct{}
	clerk    *clerk        // nil: nothing comes in
	pokeIn   chan struct{} // wakes the clerk
	inward   string        // the address that mail comes in at
	front    *front        // what answers, first that the database is waited for
	life     lifecycle
	compose  mail.Composer
	door     *doorkeeper
	logins   *web.Logins // nil: nobody logs in
	backups  *backups    // nil: none is made
	held     string      // why no mail goes out: the database is an older copy; empty: it does
	mark     backup.Mark // as last kept
}

// New listens, opens the database, brings its schema up to date and assesses the
// fleet. A server that is away is waited for, and meanwhile the service answers
// that it is not ready. Its errors are one sentence; then nothing is left running.
func New(ctx context.Context, o Options) (d *Daemon, err error) {
	server, zone, err := o.validate()
	if err != nil {
		return nil, err
	}
	clock := newHostClock(o.Now, o.Running, o.Log)
	o.Now = clock.now
	d = &Daemon{o: o, clock: clock, told: make(chan struct{}, 1), poke: make(chan struct{}, 1), pokeIn: make(chan struct{}, 1), life: lifecycle{log: o.Log}}
	defer func() {
		if err != nil {
			err = errors.Join(err, d.life.stop())
			d = nil
		}
	}()
	if err = d.takePort(); err != nil {
		return d, err
	}
	if err = d.await(ctx); err != nil {
		return d, err
	}
	if o.Backups.Folder != "" {
		d.backups = newBackups(d.store, o.Backups, o.Log)
	}
	d.pulse = newPulse(d.store.Ready, o.Now, o.Log, func() { poke(d.told) })
	d.door = &doorkeeper{Store: d.store, pulse: d.pulse}
	owner := ownerName()
	about := metrics.Options{Source: d.desk, Outbox: d.store, Audit: d.store, Database: d.pulse, Time: clock, Waited: d.store.Waited, Now: o.Now, Version: o.Version}
	if d.backups != nil {
		about.Backups = d.backups
	}
	d.metrics = metrics.New(about)
	compose, _ := o.Composer() // which validate has checked, where there is mail
	d.compose = compose
	d.runner = &runner{
		book: d.store, desk: d.desk, zone: zone, owner: owner, now: o.Now, log: o.Log, done: d.metrics.JobDone, empty: d.emptyOld, audit: d.store,
		backups: d.backups, doubt: clock.doubt,
	}
	if o.SMTP != "" && d.held == "" {
		d.runner.letters = &letterWriter{
			outbox: d.store, facts: d.store, desk: d.desk, compose: compose,
			owner: owner, log: o.Log, atOnce: o.FirstRun,
		}
		d.sender = newSender(d.undoubted(), d.desk, server, owner, o)
	}
	if err = d.receive(compose); err != nil {
		return d, err
	}
	if err = d.letIn(ctx); err != nil {
		return d, err
	}
	return d, d.furnish()
}

// ownerName names this process in claims.
func ownerName() string {
	host, err := os.Hostname()
	if err != nil {
		host = "unnamed"
	}
	return fmt.Sprintf("%s/%d/%s", host, os.Getpid(), uuid.NewString()[:8])
}

func newSender(store mail.Outbox, desk *Desk, server mail.Server, owner string, o Options) *mail.Sender {
	s := &mail.Sender{Outbox: store, Server: server, Owner: owner, Now: o.Now, Log: o.Log, Lease: o.MailLease,
		Takes: func(n schedule.Notice, at time.Time) time.Time { return desk.Snapshot().TakesMail(n, at) }}
	if o.MailLease > 0 && o.MailLease < 20*time.Minute {
		s.Timeouts.Reply = o.MailLease / 2
	}
	return s
}

// furnish puts the handlers together.
func (d *Daemon) furnish() error {
	reg := prometheus.NewRegistry()
	if err := d.metrics.Register(reg); err != nil {
		return fmt.Errorf("register metrics: %w", err)
	}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /healthz", healthz)
	mux.HandleFunc("GET /readyz", readyz(d.desk, d.pulse, d.clock))
	mux.Handle("GET /metrics", d.forScrapers(metrics.Handler(reg, d.o.Log)))
	mux.Handle("GET /metrics/bearings", d.forScrapers(metrics.NewBearings(d.desk)))
	mux.Handle("/", web.New(d.pages()))
	d.front.answer(guarded(d.o.Config, d.pulse, mux))
	return nil
}

// pages are what the pages need.
func (d *Daemon) pages() web.Options {
	o := web.Options{
		Desk: counted{d.desk, d.metrics, d.pulse, d.clock}, Database: d.pulse, Doubt: d.clock.doubt, Mailroom: poking{d.store, d.drain}, Now: d.o.Now,
		Passes: d.store, Album: d.store, Programs: d.door, Base: d.o.BaseURL, Near: near(d.Addr()), Everyone: d.o.Everyone, Logins: d.logins, SaveFleet: d.saveFleet, Tokens: d.door, Audit: d.audit, AuditCheck: d.store.LastAuditCheck, Erase: d.erase, Exported: d.exported, Beside: d.beside, Program: programOf(d.o.Version),
		NewKey: uuid.NewString, Travel: d.o.Travel, Sums: d.o.Sums, Log: d.o.Log, Banner: d.o.Banner, History: d.history, Settings: d.settings,
	}
	if d.held != "" {
		o.Banner = strings.TrimSpace(fmt.Sprintf(heldWords, d.held) + " " + o.Banner)
	}
	if d.clerk != nil {
		o.Inward = d.store
		o.ReadInward = func(m schedule.Inward) string { return mail.ReadReply(m.Raw, m.From, d.clerk.own).Words() }
	}
	if d.o.Sink != nil {
		o.Arrivals = d.o.Sink.Arrivals
	}
	return o
}

// history is the whole log of a clock, without what cannot be read of it: the clock's
// page says that.
func (d *Daemon) history(ctx context.Context, clock string) ([]schedule.Entry, error) {
	log, _, err := d.store.ReadableEntries(ctx, clock)
	return log, err
}

// counted is a desk whose entries are counted.
type counted struct {
	*Desk
	m     *metrics.Metrics
	pulse *pulse
	clock *hostClock
}

// open reports whether the database takes what is logged; it is not asked in vain.
// Nor is anything kept under a time that may be wrong.
func (c counted) open() error {
	if !c.pulse.takes() {
		return errAway
	}
	if doubt := c.clock.doubt(); doubt != "" {
		return &schedule.Error{Code: schedule.Conflict, Message: doubt}
	}
	return nil
}

// Log takes an entry and counts it.
func (c counted) Log(ctx context.Context, e schedule.Entry) (schedule.Entry, error) {
	if err := c.open(); err != nil {
		return e, err
	}
	stored, err := c.Desk.Log(ctx, e)
	if err == nil {
		c.m.EntryLogged(stored.Kind)
	}
	return stored, err
}

// LogShown takes an entry with its pictures and counts it.
func (c counted) LogShown(ctx context.Context, e schedule.Entry, pictures []schedule.Picture) (schedule.Entry, error) {
	if err := c.open(); err != nil {
		return e, err
	}
	stored, err := c.Desk.LogShown(ctx, e, pictures)
	if err == nil {
		c.m.EntryLogged(stored.Kind)
	}
	return stored, err
}

// LogTogether takes entries, all or none, and counts them.
func (c counted) LogTogether(ctx context.Context, es []schedule.Entry) ([]schedule.Entry, error) {
	if err := c.open(); err != nil {
		return nil, err
	}
	stored, err := c.Desk.LogTogether(ctx, es)
	for _, e := range stored {
		c.m.EntryLogged(e.Kind)
	}
	return stored, err
}

// LogAnswer takes an answer and counts it.
func (c counted) LogAnswer(ctx context.Context, p schedule.Pass, e schedule.Entry) (schedule.Entry, error) {
	if err := c.open(); err != nil {
		return e, err
	}
	stored, err := c.Desk.LogAnswer(ctx, p, e)
	if err == nil {
		c.m.EntryLogged(stored.Kind)
	}
	return stored, err
}

// poking is a mail room that starts the sender when a notice is to go again.
type poking struct {
	*db.Store
	poke func()
}

// Resend owes a notice again and pokes the sender.
func (p poking) Resend(ctx context.Context, actor, id string, now time.Time) error {
	defer p.poke()
	return p.Store.Resend(ctx, actor, id, now)
}

// Addr is the address that is listened on.
func (d *Daemon) Addr() string { return d.front.ln.Addr().String() }

// Run serves until the context ends, then stops everything in order.
func (d *Daemon) Run(ctx context.Context) error {
	d.front.serve()
	d.life.started("pages", d.front.server.Shutdown)
	d.life.loop("pulse", d.pulse.run)
	f := follower{desk: d.desk, pulse: d.pulse, log: d.o.Log, wentBack: func() { d.wentBack.Store(true) }}
	d.life.loop("watch", func(ctx context.Context) { f.watch(ctx, d.told) })
	d.life.loop("listen", func(ctx context.Context) { listen(ctx, d.store, func() { poke(d.told) }, d.o.Log) })
	if d.sender == nil && d.held == "" {
		d.o.Log.Warn("no mail server is named with --smtp: no due-list and no reminder is written")
	}
	if d.sender != nil {
		d.life.loop("post", func(ctx context.Context) { post(ctx, d.sender, d.poke, d.o.Log, d.tally) })
	}
	if d.clerk != nil {
		d.life.loop("clerk", func(ctx context.Context) { d.clerk.run(ctx, d.pokeIn) })
		d.o.Log.Info("mail comes in", "address", d.inward)
	}
	if d.backups != nil {
		d.life.loop("backup", func(ctx context.Context) { wake(ctx, d.o.Log, d.backUp) })
	}
	d.life.loop("wake", func(ctx context.Context) {
		wake(ctx, d.o.Log, d.work)
	})
	if err := d.sayFirst(ctx); err != nil {
		d.o.Log.Error("no link for the first conservator could be made: endshake account first makes one", "error", err)
	}
	d.o.Log.Info("ready", "address", "http://"+d.Addr()+"/", "database", d.store.Engine(), "clocks", len(d.desk.Snapshot().Clocks))
	select {
	case <-ctx.Done():
		return d.life.stop()
	case err := <-d.front.failed:
		return errors.Join(fmt.Errorf("the pages stopped being served: %w", err), d.life.stop())
	}
}

// work does what is owed now; of a database that takes no changes, or by a clock that
// is doubted, nothing is, and of one that has become older no letters are.
func (d *Daemon) work(ctx context.Context) {
	d.working.Lock()
	defer d.working.Unlock()
	if !d.pulse.takes() || d.clock.doubt() != "" {
		return
	}
	mark := func() {
		if err := d.keepMark(ctx); err != nil && ctx.Err() == nil {
			d.o.Log.Error("a start on an older copy would not be noticed: " + err.Error())
		}
	}
	mark() // which sees whether it is older
	if d.wentBack.Load() {
		d.runner.letters = nil
	}
	d.runner.Wake(ctx)
	mark()
	d.drain()
	poke(d.pokeIn)
}

// backUp makes the backup that is owed now, of a database that answers.
func (d *Daemon) backUp(ctx context.Context) {
	if d.pulse.takes() {
		d.runner.backUp(ctx)
		return
	}
	d.backups.look(ctx, d.o.Now())
}

// drain pokes the sender; a poke that waits already is enough.
func (d *Daemon) drain() {
	if !d.wentBack.Load() {
		poke(d.poke)
	}
}

func (d *Daemon) tally(t mail.Tally) { d.metrics.MailTally(t.Sent, t.Retry, t.Refused, t.Uncertain) }
