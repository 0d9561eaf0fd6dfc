package mail

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"io"
	"regexp"
	"strings"
	"sync"
	"time"

	"endshake/schedule"
)

// dialogue writes an exchange with a mail server down, line by line, with who
// said it and when, and no secret in it.
type dialogue struct {
	out     io.Writer
	began   time.Time
	secrets []string // never written

	mu     sync.Mutex
	ours   bool // who said what is held
	held   []byte
	asking bool // the login is under way
}

// hidden stands for what is not shown.
const hidden = "****"

// leastSecret: what is shorter is hidden in its own place only, for it would
// stand in other words by chance.
const leastSecret = 4

// secretsOf are all the forms in which a login may be sent.
func secretsOf(v Server) []string {
	if v.Password == "" {
		return nil
	}
	all := []string{"\x00" + v.User + "\x00" + v.Password, v.User + "\x00" + v.User + "\x00" + v.Password}
	if len(v.Password) >= leastSecret {
		all = append(all, v.Password)
	}
	for _, s := range all[:len(all):len(all)] {
		all = append(all, base64.StdEncoding.EncodeToString([]byte(s)), base64.RawStdEncoding.EncodeToString([]byte(s)))
	}
	return all
}

// scrub hides secrets wherever they stand.
func scrub(s string, secrets []string) string {
	for _, secret := range secrets {
		s = strings.ReplaceAll(s, secret, hidden)
	}
	return s
}

// said takes bytes that one side sent.
func (d *dialogue) said(ours bool, b []byte) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if ours != d.ours {
		d.flush()
	}
	d.ours = ours
	d.held = append(d.held, b...)
	for {
		i := bytes.IndexByte(d.held, '\n')
		if i < 0 && len(d.held) < maxField {
			return
		}
		if i < 0 {
			i = len(d.held) - 1
		}
		line := strings.TrimRight(string(d.held[:i+1]), "\r\n")
		d.held = d.held[i+1:]
		d.line(line)
	}
}

// flush writes what has no end of line.
func (d *dialogue) flush() {
	if len(d.held) > 0 {
		line := string(d.held)
		d.held = nil
		d.line(line)
	}
}

// authCommand is the part of a login command that may be shown.
var authCommand = regexp.MustCompile(`(?i)^AUTH +[A-Z0-9_-]+`)

func (d *dialogue) line(s string) {
	who := "S:"
	if d.ours {
		who = "C:"
	}
	shown := authCommand.FindString(s)
	switch {
	case d.ours && strings.HasPrefix(strings.ToUpper(s), "AUTH"):
		d.asking = true
		if s != shown {
			s = strings.TrimSpace(shown + " " + hidden)
		}
	case d.ours && d.asking && s != "*":
		s = hidden
	case !d.ours && d.asking && strings.HasPrefix(s, "334"):
		s = "334 " + hidden
	case !d.ours && d.asking && (len(s) < 4 || s[3] != '-'):
		d.asking = false
	}
	d.print(who + " " + s)
}

// note writes a remark of ours.
func (d *dialogue) note(format string, args ...any) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.flush()
	d.print("-- " + fmt.Sprintf(format, args...))
}

// end writes what is still held.
func (d *dialogue) end() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.flush()
}

func (d *dialogue) print(s string) {
	took := time.Since(d.began).Seconds()
	fmt.Fprintf(d.out, "%8.3f s  %s\n", took, clip(schedule.Visible(scrub(s, d.secrets)), maxField))
}
