package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"endshake/daemon/demo"
	"endshake/daemon/mail"
	"endshake/db"
	"endshake/schedule"
)

// demoZone is where the invented district lies.
const demoZone = "Europe/London"

// DemoZone is the zone of the invented district.
func DemoZone() *time.Location { return schedule.Site{Zone: demoZone}.Location() }

// DemoOptions are what a demo needs from outside itself.
type DemoOptions struct {
	Listen  string
	Seed    uint64
	Now     func() time.Time
	Version string
	Log     *slog.Logger
}

// Demo is the whole service on an invented fleet, with a receiving mail server
// in the same process. Its data lies in a folder that is removed at the end.
type Demo struct {
	*Daemon
	sink *mail.Sink
	// Reader is the name of one of the invented people, and Calendar the path of a
	// calendar of their clocks on the pages.
	Reader, Calendar string
}

// NewDemo invents the fleet and its log, keeps them in a new database, and
// makes the daemon ready. Its errors leave nothing behind.
func NewDemo(ctx context.Context, o DemoOptions) (d *Demo, err error) {
	// A short burst of work on a small heap: collecting it over and over would
	// only make a newcomer wait.
	defer debug.SetGCPercent(debug.SetGCPercent(400))
	life := lifecycle{log: o.Log}
	defer func() {
		if err != nil {
			_ = life.stop()
		}
	}()
	dir, err := os.MkdirTemp("", "endshake-demo-")
	if err != nil {
		return nil, fmt.Errorf("make a folder for the demo: %w", err)
	}
	life.started("demo folder", func(context.Context) error { return os.RemoveAll(dir) })
	store, err := invent(ctx, dir, o)
	if err != nil {
		return nil, err
	}
	life.started("database", func(context.Context) error { return store.Close() })
	sink := mail.NewSink(500)
	sink.Now = o.Now
	addr, err := sink.Start("127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	life.started("mail sink", sink.Stop)
	base := "http://" + o.Listen + "/"
	if strings.HasSuffix(o.Listen, ":0") {
		base = "" // the port is not known yet: mail names pages without their address
	}
	reader, calendar, err := follow(ctx, store, o.Now())
	if err != nil {
		return nil, err
	}
	inner, err := New(ctx, Options{
		Config: Config{
			Database: dir, Listen: o.Listen, SMTP: "smtp://" + addr, MailFrom: "Clock desk <clocks@example.org>",
			BaseURL: base, Zone: demoZone, FirstRun: true, Sums: demoSums,
		},
		Version: o.Version, Now: o.Now, Log: o.Log, Banner: "Nobody logs in here: whoever reads this may do everything. " + demo.Explain(), Sink: sink, store: store,
		Everyone: schedule.Actor{Conservator: true},
	})
	if err != nil {
		return nil, err
	}
	inner.life.stops = append(life.stops, inner.life.stops...)
	return &Demo{Daemon: inner, sink: sink, Reader: reader, Calendar: calendar}, nil
}

// demoSums are the rates of the demo, in money that nobody pays with.
var demoSums = schedule.Sums{Hour: 60, Bearing: 400, Currency: "thalers", Source: "invented for the demo"}

// follow gives the first winder of the fleet a calendar, as endshake calendar does.
func follow(ctx context.Context, store *db.Store, now time.Time) (name, path string, err error) {
	fleet, err := store.Fleet(ctx)
	if err != nil {
		return "", "", err
	}
	for _, c := range fleet.Clocks {
		for _, d := range c.Duties {
			if p, ok := fleet.Person(d.Person); ok && d.Role == schedule.Winder {
				token := NewToken()
				err := store.GivePass(ctx, "demo", now, schedule.Pass{Token: token, Deed: schedule.Following, Person: p.Slug})
				return p.Name, "/calendar/" + token + ".ics", err
			}
		}
	}
	return "", "", errors.New("the invented fleet has no winder, so there is nobody to give a calendar to")
}

// invent fills a new database with the invented fleet. The store is the
// caller's to close, unless there is an error.
func invent(ctx context.Context, dir string, o DemoOptions) (store *db.Store, err error) {
	now := o.Now()
	var fleet schedule.Fleet
	var log map[string][]schedule.Entry
	var inventing sync.WaitGroup // beside the database, so that a newcomer waits less
	inventing.Go(func() { fleet, log = demo.Fleet(schedule.DateOf(now, DemoZone()), o.Seed) })
	store, err = db.Open(ctx, dir)
	if err != nil {
		inventing.Wait()
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, store.Close())
		}
	}()
	_, _, err = store.Migrate(ctx)
	inventing.Wait()
	if err != nil {
		return nil, err
	}
	if err := store.SaveFleet(ctx, "demo", now, fleet, nil); err != nil {
		return nil, err
	}
	var all []schedule.Entry
	for _, c := range fleet.Clocks {
		all = append(all, log[c.Slug]...)
	}
	return store, store.AppendAll(ctx, "demo", now, all)
}
