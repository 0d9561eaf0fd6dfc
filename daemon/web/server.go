package web

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/alexedwards/scs/v2"

	"endshake/daemon/export"
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
	// LogShown is Log of an entry with its pictures: all of it, or nothing.
	LogShown(ctx context.Context, e schedule.Entry, pictures []schedule.Picture) (schedule.Entry, error)
	// LogTogether is Log of entries of any clocks, all or none; it gives those that
	// were new. What is wrong with one is a *schedule.OneOfMany.
	LogTogether(ctx context.Context, es []schedule.Entry) ([]schedule.Entry, error)
	// Logs are the logs by clock, and the model by which what is logged is judged.
	Logs(ctx context.Context) (map[string][]schedule.Entry, schedule.Model, error)
	// LogAnswer is Log of what the holder of a pass answers: a Conflict where
	// somebody has done its task meanwhile.
	LogAnswer(ctx context.Context, p schedule.Pass, e schedule.Entry) (schedule.Entry, error)
	// Facts are all that is known of one clock; a *schedule.Error with NotFound
	// where there is none.
	Facts(ctx context.Context, clock string) (schedule.Facts, error)
	// Lesson is what the fleet has taught; ok is false where it has taught
	// nothing yet.
	Lesson() (l schedule.Learned, ok bool)
	// Former is what it had taught before that; ok is false where that is nothing.
	Former() (l schedule.Learned, ok bool)
	// RoundMarks are what was decided by hand of the rounds from a day on.
	RoundMarks(ctx context.Context, from schedule.Date) ([]schedule.RoundMark, error)
	// MarkRound keeps such a decision; UnmarkRound lifts it, on somebody's word.
	MarkRound(ctx context.Context, m schedule.RoundMark) error
	UnmarkRound(ctx context.Context, actor string, m schedule.RoundMark, now time.Time) error
	// MoveRound takes a visit from one day and sets it on another, both or neither.
	MoveRound(ctx context.Context, from, to schedule.RoundMark) error
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
	// Database tells how the database stands; nil: it always answers.
	Database Database
	// Logins are how people log in; nil: nobody does.
	Logins *Logins
	// Everyone is who every reader is, where nobody logs in: in the demo. Its
	// zero value lets nobody in.
	Everyone schedule.Actor
	// Programs are those that have a token; nil: no token opens anything.
	Programs Programs
	// SaveFleet keeps what part describes of the fleet, on somebody's word, and
	// has it assessed; check is asked with the fleet as it is stored. Nil: the
	// pages describe nothing.
	SaveFleet func(ctx context.Context, actor string, part schedule.Fleet, check func(stored schedule.Fleet) error) error
	// Album is where pictures are kept; nil: none are.
	Album Album
	// Tokens are what programs are given; nil: none.
	Tokens Tokens
	// Audit lists the changes of an actor, or of everybody where none is named,
	// before one of them (0: the latest), newest first; nil: not shown.
	Audit func(ctx context.Context, actor string, before int64, limit int) ([]Change, error)
	// AuditCheck is what the last look at the whole audit found; false: nobody has
	// looked yet. Nil: it is not said.
	AuditCheck func(ctx context.Context) (schedule.AuditCheck, bool, error)
	// Erase takes a person away for good, on somebody's word, and has the fleet
	// assessed; nil: nobody is erased here.
	Erase func(ctx context.Context, actor, person string) (schedule.Erasure, error)
	// Exported audits that somebody took descriptions and logs away, and must be done
	// before they get them; nil: nobody does.
	Exported func(ctx context.Context, actor string, clocks []string) error
	// Beside is what an export of the whole fleet holds beside its clocks and their
	// logs; nil: every export is a part. Program stands in it, with its version.
	Beside  func(ctx context.Context) (export.Kept, error)
	Program string
	// Passes are what the links of letters open; nil: they open nothing.
	Passes Passes
	// Base is where readers of mail and of calendars find the pages; empty: not
	// known.
	Base string
	// Near is where this machine finds the pages, for what is shown and not mailed
	// where Base is empty.
	Near string
	// Arrivals are the messages that a receiving server took, oldest first;
	// nil outside the demo.
	Arrivals func() []schedule.Arrival
	// Inward are the messages that came in; nil: none come in. ReadInward gives
	// what the writer of one wrote, without what they quoted.
	Inward     InwardRoom
	ReadInward func(schedule.Inward) string
	// Settings is what is in force; nil: it is not shown.
	Settings func(ctx context.Context) (Settings, error)
	// History is the whole log of a clock, corrected entries included; nil:
	// only the entries that count are shown.
	History func(ctx context.Context, clock string) ([]schedule.Entry, error)
	Now     func() time.Time
	// Sums are the rates that planning sums of reports go by; zero: no money is said.
	Sums schedule.Sums
	// NewKey makes a key that guards a form against being logged twice; nil:
	// not guarded.
	NewKey func() string
	// Travel tells how long the ways between sites are, for whoever plans rounds.
	Travel schedule.Travel
	// Doubt is why the time of this machine is not believed, in a sentence or two;
	// nil or empty: it is.
	Doubt  func() string
	Log    *slog.Logger // nil: slog.Default
	Banner string       // a line above every page: in the demo, what this is
}

// mostBody is the largest form that is read.
const mostBody = 64 << 10

// server holds what the handlers share; it does not change once made.
type server struct {
	Options
	views    *views
	wrong    *failures // tokens that open nothing, by where they come from
	shelf    *shelf
	rounds   func(*schedule.Snapshot, schedule.RoundAsk, time.Time) schedule.Rounds // how they are planned
	kit      func(schedule.Rounds, *schedule.Snapshot, int) schedule.Kit            // what a day takes along
	sessions *scs.SessionManager                                                    // nil: nobody logs in
	// Wrong tries to log in: of accounts, of names that nobody has, of either from
	// one place, and by where they come from.
	wrongAccount, wrongName, wrongPair, wrongFrom *failures
	forgotten                                     *failures      // letters for a new password, by mailbox
	late                                          sync.WaitGroup // what goes on after an answer
	shrinking                                     *turns         // to make pictures small
	reading                                       *turns         // to read old books
	printing                                      *turns         // to print reports
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
	return newServer(o).handler()
}

func newServer(o Options) *server {
	s := &server{Options: o, views: allViews(), wrong: &failures{wait: most(wrongMost, wrongFor)}, shrinking: newTurns(), reading: newTurns(), printing: newTurns(), shelf: &shelf{}, rounds: (*schedule.Snapshot).Rounds, kit: schedule.Rounds.Kit,
		wrongAccount: &failures{wait: growing}, wrongName: &failures{wait: growing}, wrongPair: &failures{wait: growing},
		wrongFrom: &failures{wait: most(failMost, failFor)}, forgotten: &failures{wait: most(forgotMost, forgotWithin)}}
	if o.Logins != nil {
		s.sessions = s.newSessions()
	}
	return s
}

func (s *server) handler() http.Handler {
	mux := http.NewServeMux()
	for _, rt := range s.routes() {
		if ofAPI(rt.path) {
			mux.Handle(rt.path, s.remembering(s.apiIn(rt)))
		} else {
			mux.Handle(rt.path, s.letIn(rt))
		}
	}
	mux.HandleFunc("/", s.nowhere)
	guard := http.NewCrossOriginProtection()
	guard.SetDenyHandler(http.HandlerFunc(s.denied))
	// No cookie speaks for whoever has a token: that alone lets them in. A mail
	// program has no origin, and the page of a link tells none.
	guard.AddInsecureBypassPattern("/answer/")
	guard.AddInsecureBypassPattern("/decline/")
	guard.AddInsecureBypassPattern("/join/")
	guard.AddInsecureBypassPattern("/first/")
	guarded := guard.Handler(mux)
	return s.headers(s.recovered(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if storable(r.URL.Path) != r.URL.Path { // nothing is called so
			s.nowhere(w, r)
			return
		}
		if ofAPI(r.URL.Path) && bearing(r) { // it speaks for its token, and for no cookie
			mux.ServeHTTP(w, r)
			return
		}
		guarded.ServeHTTP(w, r)
	})))
}

// storable is a text as every store can look for it: what is no text in UTF-8, or
// a NUL, is a mark that nothing there holds.
func storable(text string) string {
	return strings.ReplaceAll(strings.ToValidUTF8(text, "\ufffd"), "\x00", "\ufffd")
}

// routes are all addresses of the pages, with what each needs.
func (s *server) routes() []route {
	const member = schedule.SeeClock
	return append(slices.Concat(s.apiRoutes(), s.loginRoutes()), []route{
		{"/{$}", member, s.fleet, nil},
		{"/due", member, s.due, nil},
		{"/rounds", member, s.allRounds, s.liftMark},
		{"/rounds/{person}/{day}", member, s.round, s.markRound},
		{"/compare", member, s.compare, nil},
		{"/outlook", member, s.outlook, nil},
		{"/timechange", member, s.timeChange, nil},
		{"/help", member, s.help, nil},
		{"/help/api", member, s.helpAPI, nil},
		{"/settings", schedule.RunPeople, s.settings, nil},
		{"/reckoner", member, s.reckoner, nil},
		{"/reckoner/{sheet}", member, s.bench, nil},
		{"/clock/{clock}", member, s.clock, nil},
		{"/clock/{clock}/bearing/{bearing}", member, s.bearing, nil},
		{"/clock/{clock}/bearing/{bearing}/limits", schedule.RunPeople, s.limitsForm, s.setLimits},
		{"/clock/{clock}/do/{work}", member, s.doForm, s.do},
		{"/clock/{clock}/done/{entry}", member, s.done, nil},
		{"/clock/{clock}/label", member, s.label, nil},
		{"/labels", member, s.labels, nil},
		{"/clock/{clock}/history", member, s.pastForm, s.pastFile},
		{"/clock/{clock}/report", member, s.clockReport, nil},
		{"/report", member, s.report, nil},
		{"/clock/{clock}/card", member, s.card, nil},
		{"/clock/{clock}/card/entry", member, s.cardForm, s.cardEntry},
		{"/picture/{id}", member, s.picture, nil},
		{"/picture/{id}/small", member, s.smallPicture, nil},
		{"/clock/{clock}/log", member, s.logForm, s.logEntry},
		{"/people", schedule.RunPeople, s.people, nil},
		{"/people/invite", schedule.RunPeople, s.inviteForm, s.inviteNew},
		{"/people/programs", schedule.RunPeople, s.programs, s.giveToken},
		{"/people/{person}", schedule.RunPeople, s.person, s.act},
		{"/people/{person}/erase", schedule.RunPeople, s.eraseForm, s.erase},
		{"/export", member, s.exportForm, s.export},
		{"/old-book", schedule.RunPeople, s.oldBookForm, s.oldBook},
		{"/audit", schedule.ReadAudit, s.audit, nil},
		{"/mail", schedule.RunMail, s.mail, nil},
		{"/mail/{id}", schedule.RunMail, s.notice, nil},
		{"/mail/{id}/html", schedule.RunMail, s.noticeHTML, nil},
		{"/mail/{id}/resend", schedule.RunMail, nil, s.resend},
		{"/mailbox", schedule.RunMail, nil, s.startMailbox},
		{"/inward", schedule.RunMail, s.inward, nil},
		{"/inward/{id}", schedule.RunMail, s.inwardMessage, s.closeInward},
		{"/arrived/{n}", schedule.RunMail, s.arrival, nil},
		{"/arrived/{n}/html", schedule.RunMail, s.arrivalHTML, nil},
		{"/answer/{token...}", public, s.answerForm, s.answer},
		{"/decline/{token...}", public, s.declineForm, s.decline},
		{"/calendar/{file...}", public, s.calendar, nil},
		{"/static/{hash}/{name}", public, s.static, nil},
	}...)
}

// loginRoutes are those of logging in; none where nobody does.
func (s *server) loginRoutes() []route {
	const member = schedule.SeeClock
	if s.Logins == nil {
		return nil
	}
	return []route{
		{"/login", visitor, s.loginForm, s.logIn},
		{"/login/code", visitor, s.codeForm, s.giveCode},
		{"/login/again", member, s.againForm, s.again},
		{"/logout", member, nil, s.logOut},
		{"/forgot", visitor, s.forgotForm, s.forgot},
		{"/join/{token...}", visitor, s.joinForm, s.join},
		{"/first/{token...}", visitor, s.firstForm, s.first},
		{"/me/codes", member, s.codesForm, s.setCodes},
		{"/me/codes/end", member, nil, s.endCodes},
		{"/me", member, s.me, s.keepMe},
		{"/me/password", member, nil, s.changePassword},
		{"/me/sessions", member, nil, s.endMySession},
		{"/me/calendar", member, nil, s.myCalendar},
		{"/me/data", member, s.mine, nil},
		{"/me/rounds", member, s.myRounds, nil},
	}
}

// byMethod sends a request to its handler, and answers 405 where there is none.
func (s *server) byMethod(w http.ResponseWriter, r *http.Request, get, post http.HandlerFunc) {
	switch {
	case get != nil && (r.Method == http.MethodGet || r.Method == http.MethodHead):
		get(w, r)
	case post != nil && r.Method == http.MethodPost:
		r.Body = bodyOf(w, r)
		if s.turnedAway(w, r) {
			return
		}
		post(w, r)
	default:
		s.wrongMethod(w, r, get != nil, post != nil)
	}
}

// policy is what a page may load, and scripts what one may that is not of a
// letter's link.
const (
	policy = "default-src 'none'; style-src 'self'; img-src 'self' data:; " +
		"form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
	scripts = "; script-src 'self'; connect-src 'self'; worker-src 'self'; manifest-src 'self'"
)

// headers sets what every answer carries. A handler may set a stricter policy.
func (s *server) headers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if strings.HasPrefix(s.Base, "https:") { // of this host alone: others of its domain are not ours
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		if ofLink(r.URL.Path) == "" {
			h.Set("Content-Security-Policy", policy+scripts)
		} else {
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
