package main

import (
	"context"
	"fmt"
	"io"
	"net/url"
	"os"
	"strings"
	"time"

	"endshake/daemon"
	"endshake/daemon/login"
	"endshake/db"
	"endshake/schedule"
)

type accountCmd struct {
	First accountFirstCmd `cmd:"" help:"Print a link by which somebody becomes the first conservator; those given before end."`
	Set   accountSetCmd   `cmd:"" help:"Let a person of the fleet log in, or give them another password."`
	List  accountListCmd  `cmd:"" help:"List who can log in."`

	Erased accountErasedCmd `cmd:"" help:"Print who was erased, to be kept apart from backups; or erase again by such a list."`
}

type accountFirstCmd struct {
	database
	BaseURL string `help:"Where people find the pages, like https://clocks.example.org/." default:"http://127.0.0.1:8080/" env:"ENDSHAKE_BASE_URL" placeholder:"URL"`
}

// Run prints the link.
func (c *accountFirstCmd) Run(ctx context.Context, out io.Writer) error {
	if u, err := url.Parse(c.BaseURL); err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return fmt.Errorf("--base-url: %q is not an address of pages: use the one that serve has, like https://clocks.example.org/", c.BaseURL)
	}
	store, err := c.open(ctx, db.OpenExisting)
	if err != nil {
		return err
	}
	defer store.Close()
	token, err := daemon.GiveFirst(ctx, store, "command", time.Now())
	if err != nil {
		return err
	}
	if token == "" {
		return fmt.Errorf("account: somebody runs the fleet already and can let others in; where nobody can log in any more, use endshake account set PERSON --conservator")
	}
	fmt.Fprintf(out, "%s/first/%s\nOpen it within seven days and say who you are. It works once.\n", strings.TrimRight(c.BaseURL, "/"), token)
	return nil
}

type accountSetCmd struct {
	database
	Person       string `arg:"" help:"Short name of the person, as in the fleet file."`
	PasswordFile string `help:"File that holds the password, on its first line." required:"" placeholder:"FILE"`
	Conservator  bool   `help:"They run the whole fleet."`
	NoCodes      bool   `help:"Take their one-time codes away: their telephone is lost."`
}

// Run keeps the account. Whoever was logged in with it is no more.
func (c *accountSetCmd) Run(ctx context.Context, out io.Writer) error {
	b, err := os.ReadFile(c.PasswordFile)
	if err != nil {
		return fmt.Errorf("--password-file: %w", err)
	}
	password, _, _ := strings.Cut(strings.TrimRight(string(b), "\r\n"), "\n")
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
	if !ok {
		return fmt.Errorf("account: there is no person %q in the fleet: see endshake fleet print", c.Person)
	}
	if why := login.Weakness(password, p.Name, p.Email, p.Slug); why != "" {
		return fmt.Errorf("--password-file: %s", why)
	}
	now := time.Now()
	hash, err := login.New().Hash(ctx, password)
	if err != nil {
		return err
	}
	err = store.ChangeAccount(ctx, "command", now, p.Slug, "password set", func(a *schedule.Account) error {
		a.Reopen()
		a.Hash, a.Changed, a.Conservator = hash, now, a.Conservator || c.Conservator
		if c.NoCodes {
			a.Secret = ""
		}
		return nil
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "%s can log in as %s.\n", p.Name, p.Slug)
	return nil
}

type accountListCmd struct{ database }

// Run lists the accounts.
func (c *accountListCmd) Run(ctx context.Context, out io.Writer) error {
	store, err := c.open(ctx, db.OpenExisting)
	if err != nil {
		return err
	}
	defer store.Close()
	all, err := store.Accounts(ctx)
	if err != nil {
		return err
	}
	for _, a := range all {
		words := []string{"can log in"}
		switch {
		case !a.Ended.IsZero():
			words[0] = "closed"
		case a.Hash == "":
			words[0] = "invited"
		}
		if a.Conservator {
			words = append(words, "runs the fleet")
		}
		if a.Secret != "" {
			words = append(words, "with one-time codes")
		}
		fmt.Fprintf(out, "%s: %s\n", a.Person, strings.Join(words, ", "))
	}
	return nil
}

type accountErasedCmd struct {
	database
	File string `help:"Erase again whom this list names and a backup has brought back." type:"existingfile" placeholder:"FILE"`
}

// Run prints the list of who was erased, or erases again by one.
func (c *accountErasedCmd) Run(ctx context.Context, out io.Writer) error {
	store, err := c.open(ctx, db.OpenExisting)
	if err != nil {
		return err
	}
	defer store.Close()
	if c.File == "" {
		list, err := store.Erasures(ctx)
		if err == nil {
			_, err = out.Write(daemon.FormatErasures(list))
		}
		return err
	}
	data, err := os.ReadFile(c.File)
	if err != nil {
		return fmt.Errorf("--file: %w", err)
	}
	list, err := daemon.ReadErasures(data)
	if err != nil {
		return fmt.Errorf("--file: %w", err)
	}
	done, err := store.EraseAgain(ctx, "command", time.Now(), list)
	if err != nil {
		return fmt.Errorf("account: %w", err)
	}
	fmt.Fprintf(out, "Of %s on the list, %d had to be erased again.\n", schedule.Count(len(list), "person", "people"), len(done))
	return nil
}
