package daemon

import (
	"context"
	"fmt"
	"net"
	"strconv"

	"endshake/daemon/mail"
	"endshake/daemon/web"
)

// settings are what is in force, for the page that shows it: nothing secret.
func (d *Daemon) settings(ctx context.Context) (web.Settings, error) {
	c := d.o.Config
	out := web.Settings{
		Version: d.o.Version, Engine: d.store.Engine(), Listen: d.Addr(), Base: c.BaseURL, Zone: c.Zone,
		From: c.MailFrom, Answers: c.Answers, Inward: d.inward, DKIMDomain: c.DKIM.Domain, DKIMSelector: c.DKIM.Selector,
	}
	if c.SMTP != "" {
		server, err := mail.ParseServer(c.SMTP)
		if err != nil {
			return out, err // which validate would have refused
		}
		out.Server = net.JoinHostPort(server.Host, strconv.Itoa(server.Port))
	}
	var err error
	if out.Schema, err = d.store.Version(ctx); err != nil {
		return out, err
	}
	if out.Size, err = d.store.Size(ctx); err != nil {
		return out, err
	}
	runs, err := d.store.Runs(ctx, 100)
	if err != nil {
		return out, err
	}
	for _, j := range Jobs {
		s := web.JobSetting{Name: j.Name, At: fmt.Sprintf("%02d:%02d", j.Hour, j.Minute)}
		for _, r := range runs { // the latest first
			if r.Job == j.Name && r.Occurrence.Year > 1970 { // under that it is kept when it was first begun
				s.For, s.State, s.Done, s.Note = r.Occurrence, r.State, r.DoneAt, r.Note
				break
			}
		}
		out.Jobs = append(out.Jobs, s)
	}
	return out, nil
}
