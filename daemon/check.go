package daemon

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"reflect"
	"strings"
	"time"

	"endshake/daemon/backup"
	"endshake/db"
	"endshake/schedule"
)

// Finding is one thing that was looked at.
type Finding struct {
	What  string // database, schema, audit ...
	Wrong bool
	Words string // what is so; where it is wrong, how to mend it
}

// Examination says what is looked at.
type Examination struct {
	Database string
	Mark     string // as in Config
	Backups  string // folder; empty: backups are not looked for
	Now      func() time.Time
}

// The bounds of what is in order. Judgement, no source.
const (
	mostSkew    = time.Minute     // between the clocks of two machines
	mostAhead   = 5 * time.Minute // of what was written down, before this machine's time
	oldBackup   = 26 * time.Hour  // since the last one of each night
	leastFree   = 100 << 20       // bytes
	troubleSpan = 30 * 24 * time.Hour
)

// Check looks whether the database and what belongs to it are in order. It changes
// nothing, and gives what it could look at, in order.
func Check(ctx context.Context, x Examination) []Finding {
	store, err := db.OpenToRead(ctx, x.Database)
	if err != nil {
		return []Finding{{"database", true, err.Error()}}
	}
	defer store.Close()
	c := &checker{x: x, store: store}
	if !c.database(ctx) || !c.schema(ctx) {
		return c.found
	}
	for _, look := range []func(context.Context) error{c.audit, c.fleet, c.outbox, c.clocks, c.mark, c.space, c.backups} {
		if err := look(ctx); err != nil {
			c.wrong("database", "it does not answer as it should: %v", err)
		}
	}
	return c.found
}

// WriteFindings prints findings, one a line, and reports whether all is in order.
func WriteFindings(w io.Writer, found []Finding) (sound bool, err error) {
	sound = true
	for _, f := range found {
		word := "ok"
		if f.Wrong {
			word, sound = "mend", false
		}
		if _, err := fmt.Fprintf(w, "%-5s %-9s %s\n", word, f.What, strings.Join(strings.Fields(f.Words), " ")); err != nil {
			return sound, err
		}
	}
	return sound, nil
}

// checker looks at one thing after the other.
type checker struct {
	x      Examination
	store  *db.Store
	extent db.Extent
	found  []Finding
}

func (c *checker) ok(what, format string, args ...any) {
	c.found = append(c.found, Finding{what, false, fmt.Sprintf(format, args...)})
}

func (c *checker) wrong(what, format string, args ...any) {
	c.found = append(c.found, Finding{what, true, fmt.Sprintf(format, args...)})
}

// database reads all of it, and reports whether that can be done.
func (c *checker) database(ctx context.Context) bool {
	err := c.store.CheckPages(ctx)
	if err == nil {
		c.extent, err = c.store.Extent(ctx)
	}
	size, other := c.store.Size(ctx)
	if err == nil {
		err = other
	}
	if err != nil {
		c.wrong("database", "%v: stop the service, keep these files apart, and restore the newest backup with endshake backup restore", err)
		return false
	}
	c.ok("database", "%s, %.1f MB, read whole: %s", c.store.Engine(), float64(size)/1e6, c.extent.Words())
	return true
}

// schema reports whether the rest can be read.
func (c *checker) schema(ctx context.Context) bool {
	newest, err := c.store.Newest()
	switch {
	case err != nil:
		c.wrong("schema", "%v", err)
	case c.extent.Schema < newest:
		c.wrong("schema", "it is at %d, and this endshake knows %d: start the service, or run endshake migrate; the rest was not looked at", c.extent.Schema, newest)
	default:
		c.ok("schema", "at %d, the newest that this endshake knows", newest)
		return true
	}
	return false
}

// audit follows the chain.
func (c *checker) audit(ctx context.Context) error {
	found, err := c.store.CheckAudit(ctx, c.x.Now())
	if err != nil {
		return err
	}
	if !found.Sound() {
		c.wrong("audit", "%s", found.Sentence(time.UTC))
		return nil
	}
	c.ok("audit", "%s fit together, the last is %s", schedule.Count(int(found.Rows), "row", "rows"), found.Head)
	return nil
}

// fleet works everything out from nothing, and again with the first answer at hand,
// as the service does: both must say the same.
func (c *checker) fleet(ctx context.Context) error {
	now := c.x.Now()
	fleet, log, _, err := readFacts(ctx, c.store)
	if err != nil {
		return err
	}
	var m schedule.Model
	l, ok, err := c.store.Learned(ctx)
	if err != nil {
		return err
	}
	if ok {
		m.Learned = &l
	}
	snap := schedule.Survey(fleet, log, m, now)
	again := snap.Again(log, m, now)
	torn, odd := 0, 0
	for i, a := range snap.Clocks {
		switch {
		case len(a.Clock.Damage) > 0:
			torn++
			c.wrong("clock", "%s: %s: %s", a.Clock.Slug, schedule.DataProblem, strings.Join(a.Clock.Damage, "; "))
		case !reflect.DeepEqual(a, again.Clocks[i]):
			c.wrong("rebuild", "the figures of %s are not the same when worked out again: tell whoever makes endshake, with the clock's export", a.Clock.Slug)
		case len(a.Problems) > 0:
			odd++
		}
	}
	for _, p := range fleet.People {
		if len(p.Damage) > 0 {
			c.wrong("person", "%s: %s, so no letter is written to them: %s", p.Slug, schedule.DataProblem, strings.Join(p.Damage, "; "))
		}
	}
	if len(fleet.Damage) > 0 {
		c.wrong("rows", "%s: some belong to nothing that is there, and are left out: %s", schedule.DataProblem, strings.Join(fleet.Damage, "; "))
	}
	words := fmt.Sprintf("%s worked out twice, with the same figures", schedule.Count(len(snap.Clocks)-torn, "clock", "clocks"))
	if odd > 0 {
		words += fmt.Sprintf("; the pages of %d say what does not fit in their logs", odd)
	}
	c.ok("rebuild", "%s", words)
	return nil
}

// outbox looks for letters that do not go out.
func (c *checker) outbox(ctx context.Context) error {
	now := c.x.Now()
	t, err := c.store.Trouble(ctx, now.Add(-troubleSpan), now)
	if err != nil {
		return err
	}
	counts, err := c.store.NoticeCounts(ctx)
	if err != nil {
		return err
	}
	waiting, refused := 0, 0
	for _, n := range t.Notices {
		switch n.State {
		case schedule.Refused:
			refused++
		case schedule.Owed, schedule.Sending:
			waiting++
		}
	}
	var wrong []string
	for _, w := range []struct {
		n             int
		one, many, do string
	}{
		{waiting, "letter has", "letters have", "waited for more than a day: see whether the service runs with --smtp, and try endshake mail test"},
		{counts[schedule.Parked], "letter is", "letters are", "parked, for nobody knows whether they came: ask their readers, and send again or let be in the mail room"},
		{refused, "letter was", "letters were", "refused in the last 30 days: the mail room says why"},
		{len(t.Mailboxes), "address is", "addresses are", "stopped: mend it on the page of its person, or set it going in the mail room"},
		{len(t.Held), "answer is", "answers are", "held: read it in the mail room"},
	} {
		if w.n > 0 {
			wrong = append(wrong, schedule.Count(w.n, w.one, w.many)+" "+w.do)
		}
	}
	if len(wrong) > 0 {
		c.wrong("mail", "%s", strings.Join(wrong, "; "))
		return nil
	}
	c.ok("mail", "%s sent, %d to go, none stuck", schedule.Count(counts[schedule.Sent], "letter", "letters"), counts[schedule.Owed]+counts[schedule.Sending])
	return nil
}

// clocks compares this machine's time with the database's, and with what was
// written down last.
func (c *checker) clocks(ctx context.Context) error {
	before := c.x.Now()
	at, err := c.store.Clock(ctx)
	if err != nil {
		return err
	}
	after := c.x.Now()
	skew := max(before.Sub(at), at.Sub(after), 0)
	switch {
	case c.store.File() == "" && skew > mostSkew:
		c.wrong("time", "this machine and the database's differ by %v: have both set by the network (NTP)", skew.Round(time.Second))
	case c.extent.Newest.Sub(after) > mostAhead:
		c.wrong("time", "the newest entry was written down on %s, which is still ahead: set this machine's clock right, or see why it was wrong then", db.Instant(c.extent.Newest))
	default:
		c.ok("time", "this machine agrees with the database and with the newest entry")
	}
	return nil
}

// mark sees whether this is the database that it was.
func (c *checker) mark(ctx context.Context) error {
	path := c.x.Mark
	if path == "" && c.store.File() != "" {
		path = c.store.File() + backup.MarkSuffix
	}
	m, ok, err := backup.ReadMark(path)
	if err != nil {
		c.wrong("mark", "%v", err)
		return nil
	}
	if path == "" || !ok {
		c.ok("mark", "none is kept, so an older copy would not be noticed")
		return nil
	}
	why, err := m.Older(ctx, c.store)
	if err != nil {
		return err
	}
	if why != "" {
		c.wrong("mark", "%s: no mail goes out until the service is started once with --from-backup, or the right database is put back", why)
		return nil
	}
	c.ok("mark", "the database has come as far as on %s, or further", db.Instant(m.At))
	return nil
}

// space sees that there is room to go on writing, and for a copy.
func (c *checker) space(ctx context.Context) error {
	size, err := c.store.Size(ctx)
	if err != nil {
		return err
	}
	need := max(uint64(2*size), leastFree)
	places := map[string]string{"disk": "", "backups": c.x.Backups}
	if file := c.store.File(); file != "" {
		places["disk"] = filepath.Dir(file)
	}
	for _, what := range []string{"disk", "backups"} {
		if places[what] == "" {
			continue
		}
		free, ok := freeBytes(places[what])
		switch {
		case !ok:
			c.ok(what, "how much is free at %s is not known here", places[what])
		case free < need:
			c.wrong(what, "%.1f MB are free at %s, and %.1f MB should be: make room", float64(free)/1e6, places[what], float64(need)/1e6)
		default:
			c.ok(what, "%.1f GB are free at %s", float64(free)/1e9, places[what])
		}
	}
	return nil
}

// backups sees that one was made lately.
func (c *checker) backups(context.Context) error {
	if c.x.Backups == "" {
		c.ok("backups", "not looked for, as no folder is named with --backups")
		return nil
	}
	all, err := backup.List(c.x.Backups)
	if err != nil {
		c.wrong("backups", "%v", err)
		return nil
	}
	if len(all) == 0 {
		c.wrong("backups", "there is none in %s: make one with endshake backup", c.x.Backups)
		return nil
	}
	now := c.x.Now()
	newest, ok := backup.Newest(all, now)
	switch {
	case newest != all[0]:
		before := "none is of before now"
		if ok {
			before = "the newest of before now is of " + db.Instant(newest.At)
		}
		c.wrong("backups", "the newest of %d claims to be of %s, which is still ahead, and %s: set this machine's clock right, or see why it was wrong then; endshake backup makes one, and takes away what is ahead", len(all), db.Instant(all[0].At), before)
	case now.Sub(newest.At) > oldBackup:
		c.wrong("backups", "the newest of %d is of %s: the log of the service says why (job backup); make one with endshake backup", len(all), db.Instant(newest.At))
	default:
		c.ok("backups", "%d, the newest of %s: try it with endshake backup drill %s", len(all), db.Instant(newest.At), newest.Path)
	}
	return nil
}
