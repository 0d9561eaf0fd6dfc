package web

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"time"

	"endshake/schedule"
)

// Desk is where pages read the fleet from and where entries are logged.
type Desk interface {
	// Snapshot is the fleet as last assessed; nil while starting.
	Snapshot() *schedule.Snapshot
	// Log validates and stores an entry, and assesses its clock again before
	// it returns the entry as stored. An error that a person can mend is a
	// *schedule.Error.
	Log(ctx context.Context, e schedule.Entry) (schedule.Entry, error)
	// LogAnswer is Log of what the holder of a pass answers: a Conflict where
	// somebody has done its task meanwhile.
	LogAnswer(ctx context.Context, p schedule.Pass, e schedule.Entry) (schedule.Entry, error)
	// Facts are all that is known of one clock; a *schedule.Error with NotFound
	// where there is none.
	Facts(ctx context.Context, clock string) (schedule.Facts, error)
	// Lesson is what the fleet has taught; ok is false where it has taught
	// nothing yet.
	Lesson() (l schedule.Learned, ok bool)
}

// Mailroom is where notices are kept.
type Mailroom interface {
	// Notices are the latest ones, newest first.
	Notices(ctx context.Context, limit int) ([]schedule.Notice, error)
	// Notice finds one; a *schedule.Error with NotFound where there is none.
	Notice(ctx context.Context, id string) (schedule.Notice, error)
	// Resend owes a notice once more, on somebody's word.
	Resend(ctx context.Context, actor, id string, now time.Time) error
	// Steps are what became of a notice, oldest first.
	Steps(ctx context.Context, id string) ([]schedule.Step, error)
	// Mailboxes are the addresses that nothing is sent to, the last stopped first.
	Mailboxes(ctx context.Context, limit int) ([]schedule.Mailbox, error)
	// StartMailbox sets such an address going again, on somebody's word.
	StartMailbox(ctx context.Context, actor, address string, now time.Time) error
}

// Options is what the pages need. Desk, Mailroom and Now must be given.
type Options struct {
	Desk     Desk
	Mailroom Mailroom
	// Passes are what the links of letters open; nil: they open nothing.
	Passes Passes
	// Base is where readers of mail and of calendars find the pages; empty: not
	// known.
	Base string
	// Arrivals are the messages that a receiving server took, oldest first;
	// nil outside the demo.
	Arrivals func() []schedule.Arrival
	// Inward are the messages that came in; nil: none come in. ReadInward gives
	// what the writer of one wrote, without what they quoted.
	Inward     InwardRoom
	ReadInward func(schedule.Inward) string
	// History is the whole log of a clock, corrected entries included; nil:
	// only the entries that count are shown.
	History func(ctx context.Context, clock string) ([]schedule.Entry, error)
	Now     func() time.Time
	// NewKey makes a key that guards a form against being logged twice; nil:
	// not guarded.
	NewKey func() string
	Log    *slog.Logger // nil: slog.Default
	Banner string       // a line above every page: in the demo, what this is
}

// mostBody is the largest form that is read.
const mostBody = 64 << 10

// server holds what the handlers share; it does not change once made.
type server struct {
	Options
	views *views
	wrong *gate
}

// New makes the handler of all pages. It panics where a template is broken,
// which a test of any page shows.
func New(o Options) http.Handler {
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.NewKey == nil {
		o.NewKey = func() string { return "" }
	}
	s := &server{Options: o, views: newViews(), wrong: &gate{}}
	mux := http.NewServeMux()
	s.routes(mux)
	guard := http.NewCrossOriginProtection()
	guard.SetDenyHandler(http.HandlerFunc(s.denied))
	// No cookie speaks for whoever has a token: that alone lets them in. A mail
	// program has no origin, and the page of a link tells none.
	guard.AddInsecureBypassPattern("/answer/")
	guard.AddInsecureBypassPattern("/decline/")
	return s.headers(s.recovered(guard.Handler(mux)))
}

func (s *server) routes(mux *http.ServeMux) {
	on := func(path string, get, post http.HandlerFunc) {
		mux.HandleFunc(path, func(w http.ResponseWriter, r *http.Request) { s.byMethod(w, r, get, post) })
	}
	on("/{$}", s.fleet, nil)
	on("/due", s.due, nil)
	on("/outlook", s.outlook, nil)
	on("/timechange", s.timeChange, nil)
	on("/help", s.help, nil)
	on("/reckoner", s.reckoner, nil)
	on("/reckoner/{sheet}", s.bench, nil)
	on("/clock/{clock}", s.clock, nil)
	on("/clock/{clock}/bearing/{bearing}", s.bearing, nil)
	on("/clock/{clock}/log", s.logForm, s.logEntry)
	on("/mail", s.mail, nil)
	on("/mail/{id}", s.notice, nil)
	on("/mail/{id}/html", s.noticeHTML, nil)
	on("/mail/{id}/resend", nil, s.resend)
	on("/mailbox", nil, s.startMailbox)
	on("/inward", s.inward, nil)
	on("/inward/{id}", s.inwardMessage, s.closeInward)
	on("/arrived/{n}", s.arrival, nil)
	on("/arrived/{n}/html", s.arrivalHTML, nil)
	on("/answer/{token...}", s.answerForm, s.answer)
	on("/decline/{token...}", s.declineForm, s.decline)
	on("/calendar/{file...}", s.calendar, nil)
	on("/static/{hash}/{name}", s.static, nil)
	mux.HandleFunc("/", s.nowhere)
}

// byMethod sends a request to its handler, and answers 405 where there is none.
func (s *server) byMethod(w http.ResponseWriter, r *http.Request, get, post http.HandlerFunc) {
	switch {
	case get != nil && (r.Method == http.MethodGet || r.Method == http.MethodHead):
		get(w, r)
	case post != nil && r.Method == http.MethodPost:
		r.Body = http.MaxBytesReader(w, r.Body, mostBody)
		post(w, r)
	default:
		s.wrongMethod(w, r, get != nil, post != nil)
	}
}

// headers sets what every answer carries. A handler may set a stricter policy.
func (s *server) headers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; img-src 'self' data:; "+
			"form-action 'self'; frame-ancestors 'none'; base-uri 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if ofLink(r.URL.Path) != "" {
			secretly(h)
		}
		next.ServeHTTP(w, r)
	})
}

// recovered turns a panic into an error page and a line in the log.
func (s *server) recovered(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			switch v := recover(); v {
			case nil:
			case http.ErrAbortHandler:
				panic(v)
			default:
				s.fault(w, r, errors.New("a page panicked"), slog.Any("panic", v))
			}
		}()
		next.ServeHTTP(w, r)
	})
}

// snapshot gives the fleet as last assessed, or answers that there is none yet.
func (s *server) snapshot(w http.ResponseWriter, r *http.Request) (*schedule.Snapshot, bool) {
	snap := s.Desk.Snapshot()
	if snap == nil {
		s.starting(w, r)
	}
	return snap, snap != nil
}
