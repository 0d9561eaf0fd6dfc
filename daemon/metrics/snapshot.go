package metrics

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"endshake/schedule"
)

// outboxWait bounds what a scrape asks of the database, each, well below the 10 s after which
// Prometheus gives up by default.
const outboxWait = 2 * time.Second

// longest is the length in bytes to which a label value is cut.
const longest = 128

// series describes what is made at each scrape.
type series struct {
	nextDue, limitUsed, runSeconds, entryAge, going, locked, runLeft, clockError, clockRate, tasks, snapshotAge, notices, stopped, longestWait, auditSound, dataProblem, backupAt, backupFailed, answers, knownAge, believed, waited *prometheus.Desc
}

func newSeries() series {
	desc := func(name, help string, labels ...string) *prometheus.Desc {
		return prometheus.NewDesc(name, help, labels, nil)
	}
	return series{
		nextDue: desc("endshake_clock_next_due_seconds",
			"Seconds until the day begins on which the clock's next task of this kind is due, below 0 when it has begun; resting tasks left out.", "clock", "kind"),
		limitUsed: desc("endshake_clock_limit_used_ratio",
			"Share of its limit that the clock's worst bearing has used up, 1 at the limit; absent while no bearing has both a level and a limit.", "clock"),
		runSeconds: desc("endshake_clock_run_seconds_total",
			"How long the train has likely run since the clock came into care; a correction in the log may set it back.", "clock", "train"),
		entryAge: desc("endshake_clock_last_entry_age_seconds",
			"Seconds since the newest entry in the clock's log; absent with an empty log.", "clock"),
		going: desc("endshake_clock_going",
			"1 while the clock is going as far as its log tells, otherwise 0; 0 too once its last logged wind is used up, and while nobody knows since a power cut.", "clock"),
		locked: desc("endshake_clock_locked",
			"1 while somebody's lock is in force on the clock: do not run, or do not enter; otherwise 0.", "clock"),
		runLeft: desc("endshake_train_run_left_seconds",
			"Seconds until the train is likely to have used up its wind, below 0 when by the log it has; absent for a train that no hand winds, whose wind is not known, or that stands.", "clock", "train"),
		clockError: desc("endshake_clock_error_seconds",
			"How far the clock is likely wrong when last assessed, above 0 when fast; absent while nothing tells.", "clock"),
		clockRate: desc("endshake_clock_rate_seconds_per_day",
			"How much the clock gains in a day, below 0 when it loses; absent while no rate is known.", "clock"),
		tasks: desc("endshake_clock_tasks",
			"Tasks of the clock by state: late, due, open, ahead or resting.", "clock", "state"),
		snapshotAge: desc("endshake_snapshot_age_seconds",
			"Seconds since the fleet was last assessed; absent until it has been."),
		notices: desc("endshake_notices",
			"Mails by state: owed, sending, sent, refused or parked (may have gone out twice, a person must look).", "state"),
		stopped: desc("endshake_mailboxes_stopped",
			"Addresses that nothing is sent to, because mail servers refused them for good; a person may set them going."),
		longestWait: desc("endshake_notice_longest_wait_seconds",
			"How long the notice that has waited longest has been tried, or was to be; 0 while none waits."),
		auditSound: desc("endshake_audit_sound",
			"1 while every row of the audit fitted those before it when last looked at, otherwise 0; absent until it was looked at."),
		dataProblem: desc("endshake_clock_data_problem",
			"1 while part of what is kept of the clock cannot be read, so that nothing is worked out for it, otherwise 0.", "clock"),
		backupAt: desc("endshake_backup_last_good_timestamp_seconds",
			"When the newest whole backup in the folder was begun, in Unix time; absent while there is none."),
		backupFailed: desc("endshake_backup_failed",
			"1 while the last backup that was tried since the daemon started failed, otherwise 0; absent where no backups are made."),
		answers: desc("endshake_database_answers",
			"1 while the database answers and takes changes, otherwise 0; then the pages show what was read last, and nothing can be logged."),
		knownAge: desc("endshake_known_age_seconds",
			"Seconds since what is shown was last known to be the newest that the database holds."),
		believed: desc("endshake_time_believed",
			"1 while the wall clock of the machine is believed, otherwise 0: it jumped, or stands before what the database holds; then no letter is written or sent."),
		waited: desc("endshake_database_waits_total",
			"How often something had to wait for a free connection to the database since the daemon started."),
	}
}

func (s series) all() []*prometheus.Desc {
	return []*prometheus.Desc{s.nextDue, s.limitUsed, s.runSeconds, s.entryAge, s.going, s.locked, s.runLeft, s.clockError, s.clockRate, s.tasks, s.snapshotAge, s.notices, s.stopped, s.longestWait, s.auditSound, s.dataProblem, s.backupAt, s.backupFailed, s.answers, s.knownAge, s.believed, s.waited}
}

// noticeStates are the states that are always shown, at 0 where there is none.
var noticeStates = []schedule.NoticeState{schedule.Owed, schedule.Sending, schedule.Sent, schedule.Refused, schedule.Parked}

// scrape is one collection: what it is of, when, and where it goes.
type scrape struct {
	series
	now time.Time
	out chan<- prometheus.Metric
}

// fleet sends what a snapshot says.
func (s scrape) fleet(snap *schedule.Snapshot) {
	s.gauge(s.snapshotAge, s.now.Sub(snap.Now).Seconds())
	seen := make(map[string]bool, len(snap.Clocks))
	for i := range snap.Clocks {
		slug := label(snap.Clocks[i].Clock.Slug)
		if !seen[slug] {
			seen[slug] = true
			s.clock(&snap.Clocks[i], slug)
		}
	}
}

// clock sends the series of one clock.
func (s scrape) clock(a *schedule.Assessment, slug string) {
	if len(a.Clock.Damage) > 0 { // nothing else is known
		s.gauge(s.dataProblem, 1, slug)
		return
	}
	s.gauge(s.dataProblem, 0, slug)
	isGoing := 0.0
	if a.Stance() == schedule.Goes {
		isGoing = 1
	}
	s.gauge(s.going, isGoing, slug)
	isLocked := 0.0
	if len(a.Locks) > 0 {
		isLocked = 1
	}
	s.gauge(s.locked, isLocked, slug)
	if a.Time.ErrorKnown {
		s.gauge(s.clockError, a.Time.Error, slug)
	}
	if a.Time.Known {
		s.gauge(s.clockRate, a.Time.Rate, slug)
	}
	if !a.LastEntry.IsZero() {
		s.gauge(s.entryAge, s.now.Sub(a.LastEntry).Seconds(), slug)
	}
	if o, ok := a.Worst(); ok {
		s.gauge(s.limitUsed, o.Used, slug)
	}
	s.work(a, slug)

	seen := make(map[string]bool, len(a.Trains))
	for _, t := range a.Trains {
		code := label(t.Train.Code)
		if seen[code] {
			continue
		}
		seen[code] = true
		if seconds := t.RunHours.Likely * 3600; seconds >= 0 {
			s.send(s.runSeconds, prometheus.CounterValue, seconds, slug, code)
		}
		if w := t.Wind; !w.Stops.IsZero() && !a.Resting && (t.Going || w.Past) {
			s.gauge(s.runLeft, w.Stops.Sub(s.now).Seconds(), slug, code)
		}
	}
}

// work sends the number of tasks in each state and the next due day of each
// kind. Kinds and states that are not ours are left out, so that their number
// stays bounded.
func (s scrape) work(a *schedule.Assessment, slug string) {
	count := make(map[schedule.TaskState]int, len(schedule.TaskStates))
	next := make(map[schedule.TaskKind]schedule.Date, len(schedule.TaskKinds))
	for _, t := range a.Tasks {
		count[t.State]++
		if t.State == schedule.Resting || t.Due.IsZero() {
			continue
		}
		if d, ok := next[t.Kind]; !ok || t.Due.Before(d) {
			next[t.Kind] = t.Due
		}
	}
	for _, state := range schedule.TaskStates {
		s.gauge(s.tasks, float64(count[state]), slug, string(state))
	}
	zone := a.Zone
	if zone == nil {
		zone = time.UTC
	}
	for _, kind := range schedule.TaskKinds {
		if d, ok := next[kind]; ok {
			s.gauge(s.nextDue, d.Start(zone).Sub(s.now).Seconds(), slug, string(kind))
		}
	}
}

// mails asks the outbox. Where it does not answer, the scrape reports the error
// beside all other series.
func (s scrape) mails(outbox Outbox) {
	ctx, cancel := context.WithTimeout(context.Background(), outboxWait)
	defer cancel()
	count, err := outbox.NoticeCounts(ctx)
	if err != nil {
		s.out <- prometheus.NewInvalidMetric(s.notices, fmt.Errorf("counting the notices in the outbox: %w", err))
		return
	}
	for _, state := range noticeStates {
		s.gauge(s.notices, float64(count[state]), string(state))
	}
	stopped, oldest, err := outbox.MailStuck(ctx)
	if err != nil {
		s.out <- prometheus.NewInvalidMetric(s.stopped, fmt.Errorf("looking for mail that is stuck: %w", err))
		return
	}
	s.gauge(s.stopped, float64(stopped))
	wait := 0.0
	if !oldest.IsZero() {
		wait = max(s.now.Sub(oldest).Seconds(), 0)
	}
	s.gauge(s.longestWait, wait)
}

// database sends how the database stands, and reports whether it answers.
func (s scrape) database(d Database) bool {
	answers, takes, seen := d.Standing()
	works := 0.0
	if answers && takes {
		works = 1
	}
	s.gauge(s.answers, works)
	s.gauge(s.knownAge, max(s.now.Sub(seen).Seconds(), 0))
	return answers
}

// time sends whether the wall clock is believed.
func (s scrape) time(t Time) {
	if t.Believed() {
		s.gauge(s.believed, 1)
		return
	}
	s.gauge(s.believed, 0)
}

// audits sends what the last look at the audit found.
func (s scrape) audits(audit Audit) {
	ctx, cancel := context.WithTimeout(context.Background(), outboxWait)
	defer cancel()
	c, ok, err := audit.LastAuditCheck(ctx)
	switch {
	case err != nil:
		s.out <- prometheus.NewInvalidMetric(s.auditSound, fmt.Errorf("asking for the last look at the audit: %w", err))
	case ok && c.Sound():
		s.gauge(s.auditSound, 1)
	case ok:
		s.gauge(s.auditSound, 0)
	}
}

// backups sends when the newest backup was made, and whether the last one failed.
func (s scrape) backups(b Backups) {
	at, failed, err := b.LastBackup()
	if err != nil {
		s.out <- prometheus.NewInvalidMetric(s.backupAt, fmt.Errorf("looking for backups: %w", err))
	}
	if !at.IsZero() {
		s.gauge(s.backupAt, unixSeconds(at))
	}
	if failed {
		s.gauge(s.backupFailed, 1)
		return
	}
	s.gauge(s.backupFailed, 0)
}

func (s scrape) gauge(d *prometheus.Desc, v float64, labels ...string) {
	s.send(d, prometheus.GaugeValue, v, labels...)
}

// send passes a series on unless its value is not a number that can be shown.
func (s scrape) send(d *prometheus.Desc, t prometheus.ValueType, v float64, labels ...string) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return
	}
	s.out <- prometheus.MustNewConstMetric(d, t, v, labels...)
}

// label makes any text fit for a label value: valid UTF-8 and not endless.
// MustNewConstMetric panics on anything else.
func label(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	if len(s) > longest {
		s = strings.ToValidUTF8(s[:longest], "") // the cut may leave part of a letter
	}
	return s
}
