package metrics

import (
	"context"
	"runtime"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"endshake/schedule"
)

// Source gives the newest snapshot of the fleet, or nil before the first.
type Source interface {
	Snapshot() *schedule.Snapshot
}

// Outbox is where notices wait.
type Outbox interface {
	// NoticeCounts counts the notices in each state.
	NoticeCounts(ctx context.Context) (map[schedule.NoticeState]int, error)
	// MailStuck gives how many mailboxes are stopped, and since when the notice
	// that has waited longest waits; zero: none does.
	MailStuck(ctx context.Context) (stopped int, oldest time.Time, err error)
}

// Audit is where it is kept what the last look at the audit found.
type Audit interface {
	// LastAuditCheck gives it; false where nobody has looked yet.
	LastAuditCheck(ctx context.Context) (c schedule.AuditCheck, ok bool, err error)
}

// Backups knows when backups were made.
type Backups interface {
	// LastBackup gives when the newest backup was begun, zero where there is none,
	// and whether the last one that was tried failed.
	LastBackup() (at time.Time, failed bool, err error)
}

// Database is how the database stands.
type Database interface {
	// Standing tells whether it answers, whether it takes changes, and when what is
	// shown was last known to be the newest.
	Standing() (answers, takes bool, seen time.Time)
}

// Time is that of the machine.
type Time interface {
	// Believed reports whether its wall clock is.
	Believed() bool
}

// Options are what a [Metrics] is made of.
type Options struct {
	Source   Source           // required
	Outbox   Outbox           // nil: no series about notices
	Audit    Audit            // nil: no series about the audit
	Backups  Backups          // nil: no series about backups
	Database Database         // nil: no series about how it stands
	Time     Time             // nil: no series about whether it is believed
	Waited   func() int64     // counts how often something waited for a connection; nil: not told
	Now      func() time.Time // required: the time of a scrape
	Version  string           // of the program, for endshake_build_info
}

// Metrics collects all series that begin with endshake_. Its methods may be
// called side by side.
type Metrics struct {
	opt    Options
	series series

	lastDone  *prometheus.GaugeVec
	runs      *prometheus.CounterVec
	durations *prometheus.HistogramVec
	mail      *prometheus.CounterVec
	entries   *prometheus.CounterVec
	build     prometheus.Gauge
	own       []prometheus.Collector
}

// New makes the collector. It registers nothing: see [Metrics.Register].
func New(o Options) *Metrics {
	m := &Metrics{
		opt:    o,
		series: newSeries(),
		lastDone: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "endshake_job_last_done_timestamp_seconds",
			Help: "When the job was last done without an error, in Unix time; absent until it has been since the daemon started.",
		}, []string{"name"}),
		runs: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "endshake_job_runs_total",
			Help: "Runs of the job since the daemon started, by result: done or failed.",
		}, []string{"name", "result"}),
		durations: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name:    "endshake_job_duration_seconds",
			Help:    "How long runs of the job took, failed ones too.",
			Buckets: []float64{0.01, 0.1, 1, 10, 60, 600},
		}, []string{"name"}),
		mail: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "endshake_mail_results_total",
			Help: "Tries to send a notice since the daemon started, by result: sent, retried, refused, or uncertain (handed over, no answer).",
		}, []string{"result"}),
		entries: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "endshake_entries_logged_total",
			Help: "Log entries taken since the daemon started, by kind; corrections count too.",
		}, []string{"kind"}),
		build: prometheus.NewGauge(prometheus.GaugeOpts{
			Name:        "endshake_build_info",
			Help:        "Always 1; the labels say which build runs.",
			ConstLabels: prometheus.Labels{"version": label(o.Version), "goversion": runtime.Version()},
		}),
	}
	m.own = []prometheus.Collector{m.lastDone, m.runs, m.durations, m.mail, m.entries, m.build}
	m.build.Set(1)
	m.MailTally(0, 0, 0, 0)
	for _, k := range schedule.EntryKinds {
		m.entries.WithLabelValues(string(k))
	}
	return m
}

// Register hands the collector to a registry, with those for the Go runtime and
// the process. It fails where one of them is registered already.
func (m *Metrics) Register(reg prometheus.Registerer) error {
	process := collectors.NewProcessCollector(collectors.ProcessCollectorOpts{})
	for _, c := range []prometheus.Collector{m, collectors.NewGoCollector(), process} {
		if err := reg.Register(c); err != nil {
			return err
		}
	}
	return nil
}

// Describe sends every description, as prometheus.Collector asks.
func (m *Metrics) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range m.series.all() {
		ch <- d
	}
	for _, c := range m.own {
		c.Describe(ch)
	}
}

// Collect sends every series as it stands now, as prometheus.Collector asks.
func (m *Metrics) Collect(ch chan<- prometheus.Metric) {
	for _, c := range m.own {
		c.Collect(ch)
	}
	s := scrape{m.series, m.opt.Now(), ch}
	if snap := m.opt.Source.Snapshot(); snap != nil {
		s.fleet(snap)
	}
	if m.opt.Backups != nil {
		s.backups(m.opt.Backups)
	}
	if m.opt.Time != nil {
		s.time(m.opt.Time)
	}
	if d := m.opt.Database; d != nil && !s.database(d) {
		return // the rest is asked of it
	}
	if m.opt.Waited != nil {
		s.send(s.waited, prometheus.CounterValue, float64(m.opt.Waited()))
	}
	if m.opt.Outbox != nil {
		s.mails(m.opt.Outbox)
	}
	if m.opt.Audit != nil {
		s.audits(m.opt.Audit)
	}
}

// JobDone records a run of a job that ended at now and took so long. With an
// error it counts as failed and does not move the time of the last good run.
func (m *Metrics) JobDone(job string, took time.Duration, now time.Time, err error) {
	name, result := label(job), "done"
	if err != nil {
		result = "failed"
	} else {
		m.lastDone.WithLabelValues(name).Set(unixSeconds(now))
	}
	m.runs.WithLabelValues(name, result).Inc()
	m.durations.WithLabelValues(name).Observe(max(took, 0).Seconds())
}

// MailTally adds what one drain of the outbox did. Counts below nothing are
// taken as nothing.
func (m *Metrics) MailTally(sent, retried, refused, uncertain int) {
	add := func(result string, n int) { m.mail.WithLabelValues(result).Add(float64(max(n, 0))) }
	add("sent", sent)
	add("retried", retried)
	add("refused", refused)
	add("uncertain", uncertain)
}

// EntryLogged counts one entry taken into the log. A kind that is not one of
// schedule.EntryKinds counts as other.
func (m *Metrics) EntryLogged(kind schedule.EntryKind) {
	for _, k := range schedule.EntryKinds {
		if k == kind {
			m.entries.WithLabelValues(string(k)).Inc()
			return
		}
	}
	m.entries.WithLabelValues("other").Inc()
}

// unixSeconds is t in seconds since 1970, to the microsecond.
func unixSeconds(t time.Time) float64 { return float64(t.UnixMicro()) / 1e6 }
