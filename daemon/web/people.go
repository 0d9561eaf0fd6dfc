package web

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
)

// peoplePage lists who there is, what each does, and who can log in.
type peoplePage struct {
	Lede   string
	People []personLine
	Logins bool // people log in here
	// There are tokens of programs, and a record of who changed what.
	Tokens, Audit bool
	Erased        bool // somebody was, just now
	Export        bool
}

// personLine is one person.
type personLine struct {
	Name, At, Does, In string
	Runs               bool
	Torn               bool // some of what is kept of them cannot be read
}

// inviteFor is how long an invitation holds.
const inviteFor = 7 * 24 * time.Hour

// letInWords says how far somebody is let in.
func letInWords(a schedule.Account, known bool) string {
	switch {
	case !known:
		return "no account"
	case !a.Ended.IsZero():
		return "closed"
	case a.Hash == "":
		return "invited"
	case a.Conservator:
		return "logs in, runs the fleet"
	}
	return "logs in"
}

// accountsBy are all accounts by person; none where nobody logs in.
func (s *server) accountsBy(ctx context.Context) (map[string]schedule.Account, error) {
	by := map[string]schedule.Account{}
	if s.Logins == nil {
		return by, nil
	}
	all, err := s.Logins.Accounts.Accounts(ctx)
	for _, a := range all {
		by[a.Person] = a
	}
	return by, err
}

func (s *server) people(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	accounts, err := s.accountsBy(r.Context())
	if err != nil {
		s.fault(w, r, err)
		return
	}
	page, in := peoplePage{Logins: s.Logins != nil, Tokens: s.Tokens != nil, Audit: s.Audit != nil, Export: s.Exported != nil,
		Erased: r.URL.Query().Get("done") == "erased"}, 0
	does := dutiesBy(snap.Fleet)
	for _, p := range snap.Fleet.People {
		a, known := accounts[p.Slug]
		if a.Open() {
			in++
		}
		page.People = append(page.People, personLine{Name: p.Name, At: "/people/" + url.PathEscape(p.Slug), Does: doesWords(does[p.Slug]),
			In: letInWords(a, known), Runs: a.Conservator, Torn: len(p.Damage) > 0})
	}
	page.Lede = schedule.Capital(schedule.Count(len(page.People), "person looks", "people look")) + " after " + schedule.Count(len(snap.Fleet.Clocks), "clock", "clocks") + "."
	if page.Logins {
		page.Lede = strings.TrimSuffix(page.Lede, ".") + fmt.Sprintf("; %d of them can log in.", in)
	}
	s.show(w, r, http.StatusOK, "people", view{Title: "People", Here: "/people", Body: page})
}

// dutyAt is what somebody does on one clock.
type dutyAt struct {
	Role             schedule.Role
	Clock, ClockName string
}

// dutiesBy are what each person does, clock by clock.
func dutiesBy(f schedule.Fleet) map[string][]dutyAt {
	out := map[string][]dutyAt{}
	for _, c := range f.Clocks {
		for _, d := range c.Duties {
			out[d.Person] = append(out[d.Person], dutyAt{d.Role, c.Slug, c.Name})
		}
	}
	return out
}

// doesWords says what somebody does, of many clocks only the first.
func doesWords(list []dutyAt) string {
	if len(list) == 0 {
		return "nothing yet"
	}
	var parts []string
	for _, role := range schedule.Roles {
		var names []string
		for _, d := range list {
			if d.Role == role {
				names = append(names, d.ClockName)
			}
		}
		switch n := len(names); {
		case n == 0:
		case n > 3:
			parts = append(parts, fmt.Sprintf("%s of %s, %s and %d more clocks", role, names[0], names[1], n-2))
		default:
			parts = append(parts, string(role)+" of "+strings.Join(names, ", "))
		}
	}
	return strings.Join(parts, "; ")
}

// invitePage asks who is to be let in.
type invitePage struct {
	Fields []field
	Faults []fault
	Mail   bool
	Again  string // where the password is asked for first; empty: it was given lately
}

func (s *server) inviteForm(w http.ResponseWriter, r *http.Request) { s.showInvite(w, r, 200, nil) }

func (s *server) showInvite(w http.ResponseWriter, r *http.Request, status int, faults []fault) {
	page := invitePage{Faults: faults, Mail: s.Logins != nil && s.Logins.Letter != nil, Fields: []field{
		{Name: "name", Label: "Name", Input: "text", Required: true},
		{Name: "email", Label: "E-mail address", Input: "email", Hint: "Where their letters go, this first. Empty: you give them the link yourself."},
		{Name: "zone", Label: "Zone", Input: "text", Hint: "Like Europe/London. Empty: that of each clock."}}}
	typed(page.Fields, r.PostForm, faults)
	if !s.sure(r) {
		page.Again = againAt("/people/invite")
	}
	title := "Invite somebody"
	if len(faults) > 0 {
		title = "Not yet: " + title
	}
	s.show(w, r, status, "invite", view{Title: title, Here: "/people", Body: page})
}

// inviteNew describes somebody new and invites them.
func (s *server) inviteNew(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok || !s.surely(w, r, "/people/invite") {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	p := newPerson(snap.Fleet, r.PostForm.Get("name"), r.PostForm.Get("email"), r.PostForm.Get("zone"))
	if f := personFault(snap.Fleet, p); f != nil {
		s.showInvite(w, r, http.StatusUnprocessableEntity, []fault{*f})
		return
	}
	if err := s.describeNew(r.Context(), by(r).Name(), snap.Fleet, &p); err != nil {
		s.failed(w, r, err)
		return
	}
	if s.Logins == nil {
		http.Redirect(w, r, "/people/"+url.PathEscape(p.Slug), http.StatusSeeOther)
		return
	}
	s.invite(w, r, p)
}

// invite gives somebody a link by which they choose a password: by a letter, or
// where none goes to them on the page, this once. What they had before ends.
func (s *server) invite(w http.ResponseWriter, r *http.Request, p schedule.Person) {
	ctx, now, who := r.Context(), s.Now(), by(r).Name()
	err := s.Logins.Accounts.ChangeAccount(ctx, who, now, p.Slug, "invited", func(a *schedule.Account) error {
		a.Reopen()
		a.Hash, a.Changed = "", now
		return nil
	})
	if err != nil {
		s.failed(w, r, err)
		return
	}
	if _, err := s.endSessions(ctx, p.Slug, nil); err != nil {
		s.fault(w, r, err)
		return
	}
	if _, err := s.Logins.Entrances.EndPasses(ctx, who, now, p.Slug, schedule.Joining); err != nil {
		s.fault(w, r, err)
		return
	}
	pass := schedule.Pass{Token: s.Logins.NewToken(), Deed: schedule.Joining, Person: p.Slug, Made: now, Ends: now.Add(inviteFor)}
	if s.Logins.Letter != nil && p.Email != "" {
		sent, err := s.Logins.Letter(ctx, LinkLetter{Person: p, Kind: schedule.Invitation, By: personName(s.Desk.Snapshot().Fleet, by(r).Person), Pass: pass, Now: now})
		if err != nil {
			s.fault(w, r, fmt.Errorf("write an invitation: %w", err))
			return
		}
		if sent {
			http.Redirect(w, r, "/people/"+url.PathEscape(p.Slug)+"?done=invited", http.StatusSeeOther)
			return
		}
	}
	if err := s.Logins.Entrances.GivePass(ctx, who, now, pass); err != nil {
		s.fault(w, r, err)
		return
	}
	s.showPerson(w, r, http.StatusOK, p.Slug, personShown{Link: strings.TrimRight(cmp.Or(s.Base, s.Near), "/") + "/join/" + pass.Token})
}

// personShown is what a page of one person shows beside them.
type personShown struct {
	Link   string // shown this once
	Faults []fault
}

// personPage is one person: what they do, and how far they are let in.
type personPage struct {
	personShown
	Name, Lede, Action, Done, Again string
	Facts                           []headed
	Roles                           []dutyAt
	RoleFields, Details, Going      []field
	Mends                           string // the form that a fault is in
	Version                         string
	Logins, Open, Has, Runs, Codes  bool
	Invite                          string // what the button says
	Sessions                        int
	Erase                           string // address of the page that erases them; empty: none does
	Torn                            []string
}

// headed is a fact with its head.
type headed struct{ Head, Words string }

// doneWords say what an act has done.
var doneWords = map[string]string{
	"invited": "A letter with a link is on its way. The link works once, for seven days.", "ended": "They can log in no more, and their links and calendar are over.",
	"sessions": "They are logged out everywhere.", "conservator": "They run the fleet from now on, and log in anew with a one-time code.",
	"conservator-end": "They run the fleet no more, and log in anew.", "codes-end": "Their one-time codes are taken away; they log in with the password alone, and set up new ones.",
	"give": "The role is given.", "take": "The role is taken back.", "details": "That is kept.", "going": "That is kept: the next plan of rounds goes by it.",
}

func (s *server) person(w http.ResponseWriter, r *http.Request) {
	s.showPerson(w, r, http.StatusOK, r.PathValue("person"), personShown{})
}

func (s *server) showPerson(w http.ResponseWriter, r *http.Request, status int, slug string, shown personShown) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	p, ok := snap.Fleet.Person(slug)
	if !ok {
		s.nowhere(w, r)
		return
	}
	page := personPage{personShown: shown, Name: p.Name, Action: "/people/" + url.PathEscape(slug), Done: doneWords[r.URL.Query().Get("done")],
		Roles: dutiesBy(snap.Fleet)[slug], Version: version(p), Logins: s.Logins != nil, Invite: "Invite them"}
	page.Torn = p.Damage
	page.Lede = p.Name + " is " + doesWords(page.Roles) + "."
	if len(page.Roles) == 0 {
		page.Lede = p.Name + " looks after no clock yet."
	}
	page.Facts = []headed{{"E-mail", orWords(p.Email, "none: no letter reaches them")}, {"Zone", orWords(p.Zone, "that of each clock")}, {"Short name", p.Slug}, {"Rounds", goingWords(p.Going)}}
	page.Details = []field{{Name: "name", Label: "Name", Input: "text", Required: true, Value: p.Name},
		{Name: "email", Label: "E-mail address", Input: "email", Value: p.Email}, {Name: "zone", Label: "Zone", Input: "text", Value: p.Zone, Hint: "Like Europe/London."}}
	page.RoleFields = roleFields(snap.Fleet)
	if s.Erase != nil {
		page.Erase = page.Action + "/erase"
	}
	page.Going = goingFields(p.Going)
	if page.Mends = r.PostForm.Get("act"); page.Mends == "going" {
		retyped(page.Going, r.PostForm)
		typed(page.Going, nil, shown.Faults)
	} else {
		typed(page.Details, r.PostForm, shown.Faults)
	}
	if err := s.accountOn(r, slug, &page); err != nil {
		s.fault(w, r, err)
		return
	}
	if !s.sure(r) {
		page.Again = againAt(page.Action)
	}
	s.show(w, r, status, "person", view{Title: p.Name, Here: "/people", Body: page})
}

func orWords(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// accountOn puts how far somebody is let in on their page.
func (s *server) accountOn(r *http.Request, slug string, page *personPage) error {
	if s.Logins == nil {
		return nil
	}
	a, err := s.Logins.Accounts.Account(r.Context(), slug)
	if err != nil && schedule.CodeOf(err) != schedule.NotFound {
		return err
	}
	page.Has, page.Open, page.Runs, page.Codes = err == nil && a.Ended.IsZero(), a.Open(), a.Conservator, a.Secret != ""
	words := letInWords(a, err == nil)
	if page.Codes {
		words += ", with one-time codes"
	}
	page.Facts = append(page.Facts, headed{"Account", words})
	if page.Has {
		page.Invite = "Send the link anew"
	}
	list, err := s.sessionsOf(r.Context(), slug)
	page.Sessions = len(list)
	if len(list) > 0 {
		page.Facts = append(page.Facts, headed{"Last seen", schedule.Instant(list[0].Seen, time.UTC) + " UTC, " + orWords(list[0].Browser, "at the code")})
	}
	return err
}

// roleFields ask for a role on a clock. Of many clocks the short name is typed.
func roleFields(f schedule.Fleet) []field {
	clock := field{Name: "clock", Label: "Clock", Input: "select", Required: true, Options: []option{{"", "Choose one"}}}
	for _, c := range f.Clocks {
		clock.Options = append(clock.Options, option{c.Slug, c.Name})
	}
	if len(f.Clocks) > 300 {
		clock = field{Name: "clock", Label: "Short name of the clock", Input: "text", Required: true, Hint: "As in the address of its page."}
	}
	role := field{Name: "role", Label: "Role", Input: "select", Required: true}
	for _, x := range schedule.Roles {
		role.Options = append(role.Options, option{string(x), string(x)})
	}
	role.Value = string(schedule.Winder)
	return []field{clock, role}
}

// act does one thing to a person: each form of the page says which.
func (s *server) act(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	p, ok := snap.Fleet.Person(r.PathValue("person"))
	if !ok {
		s.nowhere(w, r)
		return
	}
	at := "/people/" + url.PathEscape(p.Slug)
	if !s.surely(w, r, at) {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	do := r.PostForm.Get("act")
	var err error
	switch {
	case do == "give" || do == "take":
		err = s.giveRole(r, snap.Fleet, p, do == "give")
	case do == "details" || do == "going":
		keep := s.keepDetails
		if do == "going" {
			keep = s.keepGoing
		}
		var wrong []fault
		if wrong, err = keep(r, snap.Fleet, p); len(wrong) > 0 {
			s.showPerson(w, r, http.StatusUnprocessableEntity, p.Slug, personShown{Faults: wrong})
			return
		}
	case s.Logins == nil || doneWords[do] == "" && do != "invite":
		s.nowhere(w, r)
		return
	case do == "invite":
		s.invite(w, r, p)
		return
	default:
		err = s.changeAccount(r, p, do)
	}
	if err != nil {
		s.failed(w, r, err)
		return
	}
	http.Redirect(w, r, at+"?done="+do, http.StatusSeeOther)
}

// giveRole gives somebody a role on a clock, or takes it back.
func (s *server) giveRole(r *http.Request, f schedule.Fleet, p schedule.Person, give bool) error {
	c, ok := f.Clock(strings.TrimSpace(r.PostForm.Get("clock")))
	if !ok {
		return &schedule.Error{Code: schedule.NotFound, Message: "there is no clock of that short name"}
	}
	d := schedule.Duty{Person: p.Slug, Role: schedule.Role(r.PostForm.Get("role"))}
	if !slices.Contains(schedule.Roles, d.Role) {
		return &schedule.Error{Code: schedule.Invalid, Message: "choose a role"}
	}
	has := slices.Contains(c.Duties, d)
	if has == give {
		return nil
	}
	c.Duties = slices.Clone(c.Duties)
	if give {
		c.Duties = append(c.Duties, d)
	} else {
		c.Duties = slices.DeleteFunc(c.Duties, func(x schedule.Duty) bool { return x == d })
	}
	return s.describe(r.Context(), by(r).Name(), f, schedule.Fleet{Clocks: []schedule.Clock{c}})
}

// keepDetails keeps somebody's name, address and zone, where nobody has changed
// them since the form was filled in.
func (s *server) keepDetails(r *http.Request, f schedule.Fleet, p schedule.Person) ([]fault, error) {
	if r.PostForm.Get("version") != version(p) {
		return nil, stale(p.Name)
	}
	p.Name, p.Email, p.Zone = schedule.Visible(r.PostForm.Get("name")), strings.TrimSpace(r.PostForm.Get("email")), strings.TrimSpace(r.PostForm.Get("zone"))
	if wrong := personFault(f, p); wrong != nil {
		return []fault{*wrong}, nil
	}
	return nil, s.describe(r.Context(), by(r).Name(), f, schedule.Fleet{People: []schedule.Person{p}})
}

// changeAccount changes how far somebody is let in, and ends what they opened
// before: their rights are not what they were.
func (s *server) changeAccount(r *http.Request, p schedule.Person, do string) error {
	ctx, now, who := r.Context(), s.Now(), by(r).Name()
	if _, err := s.Logins.Accounts.Account(ctx, p.Slug); err != nil {
		return err // what nobody has is not made by changing it
	}
	what := map[string]string{"ended": "access ended", "conservator": "made conservator", "conservator-end": "no longer conservator",
		"codes-end": "one-time codes taken away"}[do]
	if what != "" {
		err := s.Logins.Accounts.ChangeAccount(ctx, who, now, p.Slug, what, func(a *schedule.Account) error {
			switch do {
			case "ended":
				a.Ended, a.Conservator = now, false
			case "conservator":
				a.Conservator = true
			case "conservator-end":
				a.Conservator = false
			case "codes-end":
				a.Secret = ""
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	if do == "ended" {
		for _, deed := range []schedule.Deed{schedule.Joining, schedule.Following, schedule.Answering} {
			if _, err := s.Logins.Entrances.EndPasses(ctx, who, now, p.Slug, deed); err != nil {
				return err
			}
		}
	}
	own := r
	if p.Slug != account(r).Person {
		own = nil
	}
	if _, err := s.endSessions(ctx, p.Slug, own); err != nil || own == nil {
		return err
	}
	if do == "ended" {
		return s.sessions.Destroy(ctx)
	}
	return s.sessions.RenewToken(ctx)
}
