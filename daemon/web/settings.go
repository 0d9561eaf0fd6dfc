package web

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"time"

	"endshake/schedule"
)

// Settings is what the service was started with and how it stands. Nothing
// secret is in it.
type Settings struct {
	Version      string
	Engine       string // of the database
	Schema       int64
	Size         int64 // bytes
	Listen, Base string
	Zone         string
	Server       string // host:port that letters go to; empty: none are written
	From         string // of letters
	Answers      string // where they are answered to; empty: to From
	Inward       string // where messages come in; empty: none do
	DKIMDomain   string // empty: letters are not signed
	DKIMSelector string
	Jobs         []JobSetting
}

// JobSetting is a job with when it last ran.
type JobSetting struct {
	Name, At    string        // time of day in the Zone
	For         schedule.Date // the day it was last owed for; zero: it never ran
	State, Note string
	Done        time.Time // zero: it has not come to its end
}

// settingsPage is what is in force and where it comes from.
type settingsPage struct {
	Lede   string
	Groups []settingGroup
	Jobs   []jobLine
}

type settingGroup struct {
	Name  string
	Lines []settingLine
}

// settingLine is one thing in force.
type settingLine struct {
	Name, Words string
	From        string // where it comes from
	Link        string // address of the page that changes it; empty: none does
	Change      string // its words
}

type jobLine struct{ Name, At, Last, Note string }

func (s *server) settings(w http.ResponseWriter, r *http.Request) {
	rd, ok := s.reader(w, r)
	if !ok {
		return
	}
	if s.Settings == nil {
		s.nowhere(w, r)
		return
	}
	in, err := s.Settings(r.Context())
	if err != nil {
		s.fault(w, r, fmt.Errorf("read the settings: %w", err))
		return
	}
	s.show(w, r, http.StatusOK, "settings", view{Title: "Settings", Here: "/settings", Body: s.settingsPage(rd, in)})
}

func (s *server) settingsPage(rd *onlooker, in Settings) settingsPage {
	page := settingsPage{Lede: settingsLede(in)}
	for _, g := range []settingGroup{serviceSettings(in), mailSettings(in), s.fleetSettings(rd)} {
		for i, l := range g.Lines {
			if path := l.Link; path != "" && !s.has(path) {
				g.Lines[i].Link = ""
			}
		}
		page.Groups = append(page.Groups, g)
	}
	zone, err := time.LoadLocation(in.Zone)
	if err != nil {
		zone = time.UTC
	}
	for _, j := range in.Jobs {
		l := jobLine{Name: j.Name, At: j.At + ", " + in.Zone, Last: "not yet", Note: j.Note}
		if !j.For.IsZero() {
			l.Last = fmt.Sprintf("for %s: %s", j.For.Words(), j.State)
			if !j.Done.IsZero() {
				l.Last += " on " + schedule.Instant(j.Done, zone)
			}
		}
		page.Jobs = append(page.Jobs, l)
	}
	return page
}

// has reports whether an address is answered here.
func (s *server) has(path string) bool {
	return slices.ContainsFunc(s.routes(), func(rt route) bool { return rt.path == path && rt.get != nil })
}

func settingsLede(in Settings) string {
	switch {
	case in.Server == "":
		return "No letter is written: no mail server was named with --smtp. Everything else runs."
	case in.Base == "":
		return "Letters are written, but without links: where people find the pages was not said with --base-url."
	}
	return "Letters go out through " + in.Server + ", and their links lead to " + in.Base + "."
}

// flag says that a value was given when the service was started.
func flag(name, env string) string { return "--" + name + " or " + env + ", when it was started" }

func serviceSettings(in Settings) settingGroup {
	return settingGroup{"The service", []settingLine{
		{Name: "Version", Words: in.Version, From: "the program itself"},
		{Name: "Database", Words: fmt.Sprintf("%s, schema %d, %s", cmp.Or(engineWords[in.Engine], in.Engine), in.Schema, bytesWords(in.Size)), From: flag("database", "ENDSHAKE_DATABASE") + "; the schema is that of this version"},
		{Name: "Listens on", Words: in.Listen, From: flag("listen", "ENDSHAKE_LISTEN")},
		{Name: "People find it at", Words: cmp.Or(in.Base, "not said: letters have no links"), From: flag("base-url", "ENDSHAKE_BASE_URL")},
		{Name: "Zone of its jobs", Words: in.Zone, From: flag("zone", "ENDSHAKE_ZONE") + "; each clock has its own zone, by its place"},
	}}
}

var engineWords = map[string]string{"sqlite": "SQLite, in a file of its own", "postgres": "PostgreSQL"}

func mailSettings(in Settings) settingGroup {
	signed := "not signed"
	if in.DKIMDomain != "" {
		signed = fmt.Sprintf("signed for %s, with the key published at %s._domainkey.%s", in.DKIMDomain, in.DKIMSelector, in.DKIMDomain)
	}
	return settingGroup{"Mail", []settingLine{
		{Name: "Goes out through", Words: cmp.Or(in.Server, "nothing: no letter is written"), From: flag("smtp", "ENDSHAKE_SMTP"), Link: "/mail", Change: "The mail room"},
		{Name: "Comes from", Words: cmp.Or(in.From, "not said"), From: flag("mail-from", "ENDSHAKE_MAIL_FROM")},
		{Name: "Is answered to", Words: cmp.Or(in.Answers, "the address it comes from"), From: flag("answers", "ENDSHAKE_ANSWERS")},
		{Name: "Comes in at", Words: cmp.Or(in.Inward, "nothing: answers are not read here"), From: flag("inward", "ENDSHAKE_INWARD")},
		{Name: "Letters are", Words: signed, From: flag("dkim-domain", "ENDSHAKE_DKIM_DOMAIN")},
	}}
}

// fleetSettings are what the fleet is described by and has taught.
func (s *server) fleetSettings(rd *onlooker) settingGroup {
	entries, bearings := 0, 0
	for i := range rd.snap.Clocks {
		entries += len(rd.snap.Clocks[i].Entries)
		bearings += len(rd.snap.Clocks[i].Outlooks)
	}
	f := &rd.snap.Fleet
	lesson := "none yet: it learns at night, once six bearings were found at two sizes"
	if l, ok := s.Desk.Lesson(); ok {
		lesson = fmt.Sprintf("that of %s, from %s", day(l.FittedAt, time.UTC), schedule.Count(l.Model.Bearings, "bearing", "bearings"))
	}
	return settingGroup{"The fleet", []settingLine{
		{Name: "Described", Words: fmt.Sprintf("%s at %s, %s bearings", schedule.Count(len(f.Clocks), "clock", "clocks"), schedule.Count(len(f.Sites), "place", "places"), thousands(bearings)),
			From: "the fleet file, by endshake fleet load; intervals and limits stand in it with their sources", Link: s.exportPath(), Change: "Take it away with its log"},
		{Name: "People", Words: schedule.Count(len(f.People), "person", "people"), From: "the fleet file, and what was changed here", Link: "/people", Change: "People and their roles"},
		{Name: "Log", Words: thousands(entries) + " entries that count", From: "what people logged; entries are never changed, only corrected by others", Link: s.auditPath(), Change: "Who did what"},
		{Name: "Lesson", Words: lesson, From: "the readings of the fleet", Link: "/reckoner", Change: "How good its forecasts are"},
	}}
}

// bytesWords says a size: "12 MB".
func bytesWords(n int64) string {
	switch v := float64(n); {
	case n <= 0:
		return "size not known"
	case v < 1e6:
		return fmt.Sprintf("%.0f kB", v/1e3)
	case v < 1e9:
		return fmt.Sprintf("%.0f MB", v/1e6)
	default:
		return fmt.Sprintf("%.1f GB", v/1e9)
	}
}

// exportPath is the address where the fleet is taken away; empty where it is not.
func (s *server) exportPath() string {
	if s.Exported == nil {
		return ""
	}
	return "/export"
}

// auditPath is the address of who did what; empty where that is not shown.
func (s *server) auditPath() string {
	if s.Audit == nil {
		return ""
	}
	return "/audit"
}
