package web

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
)

// Tokens are what conservators give to programs.
type Tokens interface {
	// Machines lists the programs whose tokens hold, or are over and were not
	// taken back.
	Machines(ctx context.Context) ([]schedule.Machine, error)
	// GiveMachine keeps a program and its token; a Conflict where another has its
	// name.
	GiveMachine(ctx context.Context, actor string, now time.Time, m schedule.Machine) error
	EndMachine(ctx context.Context, actor string, now time.Time, name string) error
}

// programsPage lists the programs with a token.
type programsPage struct {
	Lede, Token, TokenOf, Again string
	Done                        bool
	Programs                    []programLine
	Fields                      []field
	Faults                      []fault
}

// programLine is one program.
type programLine struct{ Name, Scopes, Clocks, Ends, Used string }

// scopeWords say what each scope is good for.
var scopeWords = map[schedule.Scope]string{
	schedule.ScopeRead: "read clocks, logs and wear", schedule.ScopeLog: "log entries", schedule.ScopeMetrics: "read the metrics of the whole fleet",
}

// mostTokenDays is how long a token holds at most.
const mostTokenDays = 365

func (s *server) programs(w http.ResponseWriter, r *http.Request) {
	s.showPrograms(w, r, http.StatusOK, programsPage{Done: r.URL.Query().Has("done")})
}

func (s *server) showPrograms(w http.ResponseWriter, r *http.Request, status int, page programsPage) {
	if s.Tokens == nil {
		s.nowhere(w, r)
		return
	}
	list, err := s.Tokens.Machines(r.Context())
	if err != nil {
		s.fault(w, r, err)
		return
	}
	for _, m := range list {
		l := programLine{Name: m.Name, Clocks: orWords(strings.Join(m.Clocks, ", "), "the whole fleet"), Ends: day(m.Ends.Add(-time.Microsecond), time.UTC), Used: "never"}
		if !m.Used.IsZero() {
			l.Used = schedule.Instant(m.Used, time.UTC) + " UTC"
		}
		if !s.Now().Before(m.Ends) {
			l.Ends += ", over"
		}
		for _, sc := range m.Scopes {
			l.Scopes = strings.TrimPrefix(l.Scopes+", "+string(sc), ", ")
		}
		page.Programs = append(page.Programs, l)
	}
	page.Lede = "No program has a token: nothing but people and links gets in."
	if n := len(list); n > 0 {
		page.Lede = schedule.Capital(schedule.Count(n, "program has", "programs have")) + " a token."
	}
	scopes := field{Name: "scopes", Label: "What it may do", Input: "ticks"}
	for _, sc := range schedule.Scopes {
		scopes.Ticks = append(scopes.Ticks, tick{string(sc), scopeWords[sc], false})
	}
	page.Fields = []field{
		{Name: "name", Label: "Name of the program", Input: "text", Required: true, Hint: "It stands in the audit: scraper, tower-gauge."}, scopes,
		{Name: "clocks", Label: "Clocks", Input: "text", Hint: "Short names with commas between. Empty: the whole fleet; the metrics are of the whole fleet only."},
		{Name: "ends", Label: "Last day", Input: "date", Required: true, Hint: "A year from now at the latest.", Value: s.Now().AddDate(0, 6, 0).Format("2006-01-02")}}
	if len(page.Faults) > 0 {
		retyped(page.Fields, r.PostForm)
	}
	typed(page.Fields, nil, page.Faults)
	if !s.sure(r) {
		page.Again = againAt("/people/programs")
	}
	s.show(w, r, status, "programs", view{Title: "Programs", Here: "/people", Body: page})
}

// giveToken gives a program a token, which is shown this once.
func (s *server) giveToken(w http.ResponseWriter, r *http.Request) {
	if s.Tokens == nil || s.Logins == nil {
		s.nowhere(w, r)
		return
	}
	snap, ok := s.snapshot(w, r)
	if !ok || !s.surely(w, r, "/people/programs") {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	if name := r.PostForm.Get("end"); name != "" {
		if err := s.Tokens.EndMachine(r.Context(), by(r).Name(), s.Now(), name); err != nil {
			s.failed(w, r, err)
			return
		}
		http.Redirect(w, r, "/people/programs?done=1", http.StatusSeeOther)
		return
	}
	m, faults := machineOf(r.PostForm, snap.Fleet, s.Now())
	if len(faults) == 0 {
		m.Token = s.Logins.NewToken()
		err := s.Tokens.GiveMachine(r.Context(), by(r).Name(), s.Now(), m)
		if schedule.CodeOf(err) == schedule.Conflict {
			faults, err = []fault{{"name", sentence(err.Error())}}, nil
		}
		if err != nil {
			s.failed(w, r, err)
			return
		}
	}
	if len(faults) > 0 {
		s.showPrograms(w, r, http.StatusUnprocessableEntity, programsPage{Faults: faults})
		return
	}
	s.showPrograms(w, r, http.StatusOK, programsPage{Token: m.Token, TokenOf: m.Name})
}

// machineOf reads what a program is to be good for.
func machineOf(v url.Values, f schedule.Fleet, now time.Time) (m schedule.Machine, faults []fault) {
	m.Name = schedule.Visible(v.Get("name"))
	if m.Name == "" || len(m.Name) > 60 {
		faults = append(faults, fault{"name", "Give a name of 60 characters at most."})
	}
	for _, sc := range schedule.Scopes {
		if slices.Contains(v["scopes"], string(sc)) {
			m.Scopes = append(m.Scopes, sc)
		}
	}
	for slug := range strings.FieldsFuncSeq(v.Get("clocks"), func(r rune) bool { return r == ',' || r == ' ' }) {
		if _, ok := f.Clock(slug); !ok {
			faults = append(faults, fault{"clocks", "There is no clock " + slug + "."})
		} else if !slices.Contains(m.Clocks, slug) {
			m.Clocks = append(m.Clocks, slug)
		}
	}
	switch metrics := slices.Contains(m.Scopes, schedule.ScopeMetrics); {
	case len(m.Scopes) == 0:
		faults = append(faults, fault{"scopes", "Tick what it may do."})
	case metrics && len(m.Clocks) > 0:
		faults = append(faults, fault{"clocks", "The metrics are of the whole fleet: leave the clocks empty, or leave the metrics out."})
	}
	d, err := schedule.ParseDate(v.Get("ends"))
	m.Ends = d.Add(1).Start(time.UTC)
	if err != nil || !m.Ends.After(now) || m.Ends.After(now.AddDate(0, 0, mostTokenDays+1)) {
		faults = append(faults, fault{"ends", "Give a day from today to a year from now."})
	} else {
		m.Ends = m.Ends.Truncate(time.Microsecond)
		if last := now.AddDate(0, 0, mostTokenDays); m.Ends.After(last) {
			m.Ends = last
		}
	}
	return m, faults
}
