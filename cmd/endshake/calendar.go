package main

import (
	"context"
	"fmt"
	"io"
	"net/url"
	"strings"
	"time"

	"endshake/daemon"
	"endshake/db"
	"endshake/schedule"
)

type calendarCmd struct {
	database
	Person  string `arg:"" help:"Short name of the person, as in the fleet file."`
	BaseURL string `help:"Where its reader finds the pages, like https://clocks.example.org/." env:"ENDSHAKE_BASE_URL" placeholder:"URL"`
	End     bool   `help:"Take back all calendars of that person instead."`
}

// Run prints the address of a new calendar of a person's clocks, or takes back
// those that were given.
func (c *calendarCmd) Run(ctx context.Context, out io.Writer) error {
	if err := c.check(); err != nil {
		return err
	}
	store, err := c.open(ctx, db.OpenExisting)
	if err != nil {
		return err
	}
	defer store.Close()
	fleet, err := store.Fleet(ctx)
	if err != nil {
		return err
	}
	p, ok := fleet.Person(c.Person)
	if c.End { // of one who has left as well
		n, err := store.EndPasses(ctx, "command", time.Now(), c.Person, schedule.Following)
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "%s of %s taken back.\n", schedule.Capital(schedule.Count(n, "calendar", "calendars")), c.Person)
		return nil
	}
	if !ok {
		return fmt.Errorf("calendar: there is no person %q in the fleet: see endshake fleet print", c.Person)
	}
	token := daemon.NewToken()
	if err := store.GivePass(ctx, "command", time.Now(), schedule.Pass{Token: token, Deed: schedule.Following, Person: p.Slug}); err != nil {
		return err
	}
	fmt.Fprintf(out, "%s/calendar/%s.ics\n", strings.TrimRight(c.BaseURL, "/"), token)
	fmt.Fprintf(out, "Whoever has this address can read when the clocks of %s want care. It is shown this once; take it back with endshake calendar %s --end.\n", p.Name, p.Slug)
	return nil
}

func (c *calendarCmd) check() error {
	if c.End {
		return nil
	}
	if u, err := url.Parse(c.BaseURL); err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return fmt.Errorf("--base-url: %q is not an address of pages: use the one that serve has, like https://clocks.example.org/", c.BaseURL)
	}
	return nil
}
