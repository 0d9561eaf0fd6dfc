package main

import (
	"context"
	"log/slog"
	"time"

	"endshake/daemon"
	"endshake/db/failpoint"
)

type serveCmd struct {
	database
	Listen string `help:"Address of pages and metrics." default:"127.0.0.1:8080" env:"ENDSHAKE_LISTEN"`
	outwardMail
	Inward       string   `help:"Where a mail server on this machine hands in what comes for --answers: lmtp://127.0.0.1:2424, smtp://127.0.0.1:2525 or lmtp+unix:/path." env:"ENDSHAKE_INWARD" placeholder:"URL"`
	BaseURL      string   `help:"Where people find the pages; with https, cookies go by that alone. Needed where others can reach --listen." env:"ENDSHAKE_BASE_URL" placeholder:"URL"`
	TrustedProxy []string `help:"Network of a proxy that is believed where a request comes from (X-Forwarded-For)." env:"ENDSHAKE_TRUSTED_PROXY" placeholder:"CIDR"`
	Erasures     string   `help:"File that keeps who was erased, apart from the database, so that a restored backup brings nobody back; beside the file of the database where it has one." env:"ENDSHAKE_ERASURES" placeholder:"FILE"`
	Mark         string   `help:"File that keeps how far the database has come, apart from it, so that a start on an older copy is noticed; beside the file of the database where it has one." env:"ENDSHAKE_MARK" placeholder:"FILE"`
	FromBackup   bool     `help:"The database is the one to go on from, though it is an older copy: send what it owes, perhaps again."`
	ClockIsRight bool     `help:"The clock of this machine is right, though the database holds a later change."`
	backups
	sumFlags
	travelFlags
	Zone      string        `help:"Zone in which jobs fall due." default:"Europe/London" env:"ENDSHAKE_ZONE"`
	MailLease time.Duration `help:"How long a claimed mail is left alone after its sender died." default:"30m" env:"ENDSHAKE_MAIL_LEASE"`
}

// Run serves until it is told to stop.
func (c *serveCmd) Run(ctx context.Context, log *slog.Logger) error {
	config, err := c.config()
	if err != nil {
		return err
	}
	if config.Backups, err = c.settings(); err != nil {
		return err
	}
	if config.Travel, err = c.ways(); err != nil {
		return err
	}
	config.Mark, config.FromBackup, config.ClockIsRight = c.Mark, c.FromBackup, c.ClockIsRight
	config.Database, config.Listen, config.TrustedProxies, config.Inward = c.Database, c.Listen, c.TrustedProxy, c.Inward
	config.Sums = c.sums()
	config.BaseURL, config.Zone, config.MailLease, config.Erasures = c.BaseURL, c.Zone, c.MailLease, c.Erasures
	began := time.Now()
	d, err := daemon.New(ctx, daemon.Options{Config: config, Version: version, Now: failpoint.Now, Log: log,
		Running: func() time.Duration { return time.Since(began) }})
	if err != nil {
		return err
	}
	return d.Run(ctx)
}
