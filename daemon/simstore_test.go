package daemon

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"endshake/daemon/mail"
	"endshake/db"
	"endshake/schedule"
)

// simStore is what the simulation of faults keeps everything in: a real store, or memory.
type simStore interface {
	Ledger
	runBook
	auditor
	outbox
	mailFacts
	mail.Outbox
	SaveFleet(ctx context.Context, actor string, now time.Time, f schedule.Fleet,
		check func(stored schedule.Fleet, log map[string][]schedule.Entry) error) error
	AppendTo(ctx context.Context, actor string, now time.Time, e schedule.Entry, known []schedule.Entry,
		check func(log []schedule.Entry) error, owed ...schedule.Notice) (schedule.Entry, bool, error)
	Notices(ctx context.Context, limit int) ([]schedule.Notice, error)
	Runs(ctx context.Context, limit int) ([]db.Run, error)
	Close() error
}

// memory is a store for simulations alone: what they use of a real one, as it would
// answer, each call whole or not at all. TestMemoryIsLikeAStore holds it to that.
type memory struct {
	RoundBook // nil: the simulations decide of no rounds
	mu        sync.Mutex
	revision  int64
	changes   []db.News // one a revision
	fleet     schedule.Fleet
	log       map[string][]schedule.Entry
	lessons   []schedule.Learned
	check     schedule.AuditCheck
	runs      map[string]map[schedule.Date]*memoryRun // by job
	notices   map[string]*memoryNotice                // by ID
	keys      map[string]*memoryNotice
	open      map[string]*memoryNotice // those owed or being sent, by ID
	covered   map[string]string        // IDs by the keys that they make needless
}

type memoryRun struct {
	db.Run
	lease time.Time
}

type memoryNotice struct {
	schedule.Notice
	owner         string
	lease, handed time.Time
	settled       time.Time
}

func newMemory() *memory {
	return &memory{log: map[string][]schedule.Entry{}, runs: map[string]map[schedule.Date]*memoryRun{},
		notices: map[string]*memoryNotice{}, keys: map[string]*memoryNotice{}, open: map[string]*memoryNotice{}, covered: map[string]string{}}
}

func (m *memory) Close() error { return nil }

func (m *memory) SaveFleet(_ context.Context, _ string, _ time.Time, f schedule.Fleet, _ func(schedule.Fleet, map[string][]schedule.Entry) error) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.fleet = f
	m.raise(db.News{Fleet: true})
	return nil
}

func (m *memory) ReadableFleet(context.Context) (schedule.Fleet, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	f := m.fleet
	f.Clocks = slices.Clone(f.Clocks) // whoever reads it marks them
	return f, nil
}

func (m *memory) ReadableLog(context.Context) (map[string][]schedule.Entry, map[string][]string, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return maps.Clone(m.log), map[string][]string{}, nil
}

func (m *memory) ReadableEntries(_ context.Context, clock string) ([]schedule.Entry, []string, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.log[clock], nil, nil
}

func (m *memory) Head(context.Context) (db.Head, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return db.Head{Revision: m.revision}, nil
}

func (m *memory) NewsSince(_ context.Context, h db.Head) (db.News, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	n := db.News{Head: db.Head{Revision: m.revision}, Logged: map[string][]schedule.Entry{}}
	for _, c := range m.changes[h.Revision:] {
		n.Fleet, n.Lesson = n.Fleet || c.Fleet, n.Lesson || c.Lesson
		for clock, es := range c.Logged {
			n.Logged[clock] = append(n.Logged[clock], es...)
		}
	}
	return n, nil
}

// raise counts a change.
func (m *memory) raise(n db.News) {
	m.revision++
	m.changes = append(m.changes, n)
}

var errNoDesk = errors.New("nobody logs at a desk in this simulation")

func (m *memory) AppendShown(context.Context, string, time.Time, schedule.Entry, []schedule.Picture, []schedule.Entry,
	func([]schedule.Entry) error, ...schedule.Notice) (e schedule.Entry, already bool, err error) {
	return e, false, errNoDesk
}

func (m *memory) AppendTogether(context.Context, string, time.Time, []schedule.Entry, map[string][]schedule.Entry,
	func(map[string][]schedule.Entry, []schedule.Entry) error) ([]schedule.Entry, error) {
	return nil, errNoDesk
}

// AppendTo adds to the end of a log: nothing is logged for earlier.
func (m *memory) AppendTo(_ context.Context, _ string, now time.Time, e schedule.Entry, _ []schedule.Entry,
	check func([]schedule.Entry) error, _ ...schedule.Notice) (schedule.Entry, bool, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	log := m.log[e.Clock]
	if err := check(log); err != nil {
		return e, false, err
	}
	e.ID, e.RecordedAt = uuid.Must(uuid.NewV7()).String(), now
	m.log[e.Clock] = append(slices.Clip(log), e)
	m.raise(db.News{Logged: map[string][]schedule.Entry{e.Clock: {e}}})
	return e, false, nil
}

func (m *memory) Learned(context.Context) (l schedule.Learned, ok bool, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if n := len(m.lessons); n > 0 {
		return m.lessons[n-1], true, nil
	}
	return l, false, nil
}

func (m *memory) LearnedVersion(_ context.Context, version int) (l schedule.Learned, ok bool, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if version < 1 || version > len(m.lessons) {
		return l, false, nil
	}
	return m.lessons[version-1], true, nil
}

func (m *memory) SaveLearned(_ context.Context, l schedule.Learned) (schedule.Learned, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	l.Version = len(m.lessons) + 1
	m.lessons = append(m.lessons, l)
	m.raise(db.News{Lesson: true})
	return l, nil
}

func (m *memory) CheckAudit(_ context.Context, now time.Time) (schedule.AuditCheck, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return schedule.AuditCheck{At: now, Rows: m.revision}, nil
}

func (m *memory) KeepAuditCheck(_ context.Context, c schedule.AuditCheck) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.check = c
	return nil
}

func (m *memory) Begin(_ context.Context, job, owner string, now time.Time) (at time.Time, first bool, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	firstDay := schedule.Date{Year: 1970, Month: time.January, Day: 1}
	if r := m.runs[job][firstDay]; r != nil {
		return r.DoneAt, false, nil
	}
	m.runOf(job, firstDay).Run = db.Run{Job: job, Occurrence: firstDay, State: db.RunDone, Attempt: 1, Owner: owner, DoneAt: now, Note: "first begun"}
	return now, true, nil
}

// runOf is a run, which is new where there was none.
func (m *memory) runOf(job string, occ schedule.Date) *memoryRun {
	if m.runs[job] == nil {
		m.runs[job] = map[schedule.Date]*memoryRun{}
	}
	r := m.runs[job][occ]
	if r == nil {
		r = &memoryRun{Run: db.Run{Job: job, Occurrence: occ}}
		m.runs[job][occ] = r
	}
	return r
}

func (m *memory) LastRun(_ context.Context, job string, now time.Time) (last schedule.Date, known bool, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for d, r := range m.runs[job] {
		if r.State != db.RunRunning && !r.DoneAt.After(now.Add(time.Hour)) && (!known || d.After(last)) {
			last, known = d, true
		}
	}
	return last, known, nil
}

func (m *memory) ClaimRun(_ context.Context, job string, occ schedule.Date, owner string, now time.Time, lease time.Duration) (int, bool, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	r := m.runOf(job, occ)
	if r.State != "" && (r.State != db.RunRunning || !r.lease.Before(now)) {
		return 0, false, nil
	}
	r.State, r.Owner, r.lease = db.RunRunning, owner, now.Add(lease)
	r.Attempt++
	return r.Attempt, true, nil
}

func (m *memory) FinishRun(_ context.Context, job string, occ schedule.Date, owner string, now time.Time, note string, _ []schedule.Notice, merged []schedule.Date) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	r := m.runs[job][occ]
	if r == nil || r.State != db.RunRunning || r.Owner != owner {
		return &schedule.Error{Code: schedule.Conflict, Message: "the run is not held any more"}
	}
	r.State, r.DoneAt, r.Note = db.RunDone, now, note
	for _, d := range merged {
		o := m.runOf(job, d)
		if o.State != "" && (o.State != db.RunRunning || !o.lease.Before(now) && o.Owner != owner) {
			continue
		}
		o.State, o.Owner, o.DoneAt, o.Note = db.RunMerged, owner, now, "made good by "+occ.String()
	}
	return nil
}

func (m *memory) Runs(context.Context, int) (all []db.Run, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, of := range m.runs {
		for _, r := range of {
			all = append(all, r.Run)
		}
	}
	slices.SortFunc(all, func(a, b db.Run) int {
		return cmp.Or(strings.Compare(b.Occurrence.String(), a.Occurrence.String()), strings.Compare(a.Job, b.Job))
	})
	return all, nil
}

func (m *memory) Declined(context.Context) ([]schedule.Decline, error) { return nil, nil }

func (m *memory) Mailboxes(context.Context, int) ([]schedule.Mailbox, error) { return nil, nil }

// stands reports whether a notice has its letter.
func (n *memoryNotice) stands() bool { return n.Attempts > 0 || len(n.Raw) > 0 }

func (m *memory) KnownKeys(_ context.Context, keys []string) (map[string]bool, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	known := map[string]bool{}
	for _, k := range keys {
		if n := m.keys[k]; n != nil && n.stands() {
			known[k] = true
		}
		if n := m.notices[m.covered[k]]; n != nil && n.stands() {
			known[k] = true
		}
	}
	return known, nil
}

func (m *memory) Owe(_ context.Context, now time.Time, notices []schedule.Notice) (added int, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, n := range notices {
		if by := m.notices[m.covered[n.Key]]; by != nil && by.stands() {
			continue
		}
		if old := m.keys[n.Key]; old != nil {
			if old.stands() {
				continue
			}
			delete(m.notices, old.ID)
			delete(m.open, old.ID)
		}
		n.State = cmp.Or(n.State, schedule.Owed)
		if n.Created.IsZero() {
			n.Created = now
		}
		if n.NextTry.IsZero() {
			n.NextTry = now
		}
		covers := n.Covers
		n.Covers, n.Passes = nil, nil // which are never read back
		kept := &memoryNotice{Notice: n, settled: n.Created}
		m.notices[n.ID], m.keys[n.Key] = kept, kept
		if n.State == schedule.Owed {
			m.open[n.ID] = kept
		}
		for _, k := range covers {
			if m.covered[k] == "" {
				m.covered[k] = n.ID
			}
		}
		added++
	}
	return added, nil
}

func byNextTry(a, b *memoryNotice) int {
	return cmp.Or(a.NextTry.Compare(b.NextTry), strings.Compare(a.ID, b.ID))
}

// close ends the claim of a notice.
func (m *memory) close(n *memoryNotice, state schedule.NoticeState, at time.Time, reply string) {
	n.State, n.Reply, n.settled = state, reply, at
	n.owner, n.lease, n.handed = "", time.Time{}, time.Time{}
	if state != schedule.Owed {
		delete(m.open, n.ID)
	}
}

func (m *memory) ClaimNotices(_ context.Context, owner string, now time.Time, lease time.Duration, most int) (claimed []schedule.Notice, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var left, owed []*memoryNotice
	for _, n := range m.open {
		over := n.State == schedule.Sending && n.lease.Before(now)
		switch {
		case over && !n.handed.IsZero() && n.Uncertain > 0:
			n.Uncertain++
			m.close(n, schedule.Parked, now, "perhaps handed over twice, and never answered: ask the reader whether it came")
		case over:
			left = append(left, n)
		case n.State == schedule.Owed && !n.NextTry.After(now):
			owed = append(owed, n)
		}
	}
	slices.SortFunc(left, byNextTry)
	slices.SortFunc(owed, byNextTry)
	all := append(left, owed...)
	all = all[:min(most, len(all))]
	slices.SortFunc(all, byNextTry)
	for _, n := range all {
		if !n.handed.IsZero() {
			n.Uncertain++
		}
		if n.FirstTry.IsZero() {
			n.FirstTry = now
		}
		n.Attempts++
		n.State, n.owner, n.lease, n.handed = schedule.Sending, owner, now.Add(lease), time.Time{}
		claimed = append(claimed, n.Notice)
	}
	return claimed, nil
}

func (m *memory) Record(_ context.Context, owner string, marks []schedule.Mark) []error {
	m.mu.Lock()
	defer m.mu.Unlock()
	errs := make([]error, len(marks))
	var latest time.Time // hand-overs count as made at the latest of their instants
	for _, mark := range marks {
		if mark.Outcome == nil && mark.At.After(latest) {
			latest = mark.At
		}
	}
	for _, outcomes := range []bool{false, true} { // hand-overs come first
		for i, mark := range marks {
			if (mark.Outcome != nil) != outcomes {
				continue
			}
			n := m.notices[mark.Notice]
			switch {
			case n == nil || n.owner != owner || n.State != schedule.Sending:
				errs[i] = &schedule.Error{Code: schedule.Conflict, Message: "the notice is not held any more"}
			case !outcomes && (!n.handed.IsZero() || n.lease.Before(latest)):
				errs[i] = &schedule.Error{Code: schedule.Conflict, Message: "the notice is not held any more: do not hand it over"}
			case !outcomes:
				n.handed = latest
			default:
				m.outcome(n, *mark.Outcome)
			}
		}
	}
	return errs
}

func (m *memory) outcome(n *memoryNotice, o schedule.Outcome) {
	state := o.State
	if o.Uncertain {
		if n.Uncertain++; n.Uncertain >= 2 {
			state = schedule.Parked
		}
	}
	if n.NextTry = o.NextTry; n.NextTry.IsZero() || state == schedule.Sent {
		n.NextTry = o.At
	}
	if n.SentAt = (time.Time{}); state == schedule.Sent {
		n.SentAt = o.At
	}
	m.close(n, state, o.At, o.Reply)
}

func (m *memory) Notices(context.Context, int) (all []schedule.Notice, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, n := range m.notices {
		c := n.Notice
		c.Raw = nil
		all = append(all, c)
	}
	slices.SortFunc(all, newestFirst)
	return all, nil
}

func newestFirst(a, b schedule.Notice) int {
	return cmp.Or(b.Created.Compare(a.Created), strings.Compare(b.ID, a.ID))
}

func (m *memory) Trouble(_ context.Context, since, now time.Time) (t schedule.Trouble, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, n := range m.notices {
		c := n.Notice
		c.Raw = nil
		waits := cmp.Or(n.FirstTry, n.NextTry)
		switch {
		case (n.State == schedule.Refused || n.State == schedule.Parked) && !n.settled.Before(since):
			c.Settled = n.settled
			t.Notices = append(t.Notices, c)
		case (n.State == schedule.Owed || n.State == schedule.Sending) && waits.Before(now.Add(-24*time.Hour)):
			t.Notices = append(t.Notices, c)
		}
	}
	slices.SortFunc(t.Notices, newestFirst)
	return t, nil
}
