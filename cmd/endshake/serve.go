package main

import (
	"context"
	"log/slog"
	"time"

	"endshake/daemon"
)

type serveCmd struct {
	database
	Listen        string `help:"Address of pages and metrics." default:"127.0.0.1:8080" env:"ENDSHAKE_LISTEN"`
	OpenToNetwork bool   `help:"Allow an address that others can reach. There are no accounts yet: whoever reaches a page can log." env:"ENDSHAKE_OPEN_TO_NETWORK"`
	outwardMail
	Inward    string        `help:"Where a mail server on this machine hands in what comes for --answers: lmtp://127.0.0.1:2424, smtp://127.0.0.1:2525 or lmtp+unix:/path." env:"ENDSHAKE_INWARD" placeholder:"URL"`
	BaseURL   string        `help:"Where readers of mail find the pages." env:"ENDSHAKE_BASE_URL" placeholder:"URL"`
	Zone      string        `help:"Zone in which jobs fall due." default:"Europe/London" env:"ENDSHAKE_ZONE"`
	MailLease time.Duration `help:"How long a claimed mail is left alone after its sender died." default:"30m" env:"ENDSHAKE_MAIL_LEASE"`
}

// Run serves until it is told to stop.
func (c *serveCmd) Run(ctx context.Context, log *slog.Logger) error {
	config, err := c.config()
	if err != nil {
		return err
	}
	config.Database, config.Listen, config.OpenToNetwork, config.Inward = c.Database, c.Listen, c.OpenToNetwork, c.Inward
	config.BaseURL, config.Zone, config.MailLease = c.BaseURL, c.Zone, c.MailLease
	d, err := daemon.New(ctx, daemon.Options{Config: config, Version: version, Now: time.Now, Log: log})
	if err != nil {
		return err
	}
	return d.Run(ctx)
}
