package web

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// mePage is what somebody settles for themselves.
type mePage struct {
	Name, Lede, Done, Calendar string
	Whose                      string // their short name
	Fields                     []field
	Faults                     []fault
	Version                    string
	Codes, Runs, Logins        bool
	Export                     bool // they may take a clock's description and log away
	Sessions                   []mySession
	Password                   []field
}

// mySession is one browser in which somebody is logged in.
type mySession struct {
	Key, Words string
	Here       bool
}

// meDone says what was done.
var meDone = map[string]string{
	"kept": "That is kept.", "password": "Your password is changed, and all other logins are ended.", "session": "That login is ended.",
	"codes": "From now on you log in with a code as well.", "nocodes": "You log in with the password alone.", "calendar-end": "The calendar's address leads nowhere any more.",
}

// myself is whoever asks, as the fleet knows them.
func (s *server) myself(w http.ResponseWriter, r *http.Request) (*schedule.Snapshot, schedule.Person, bool) {
	snap, ok := s.whole(w, r)
	if !ok {
		return nil, schedule.Person{}, false
	}
	p, ok := snap.Fleet.Person(by(r).Person)
	if !ok {
		s.nowhere(w, r)
	}
	return snap, p, ok
}

func (s *server) me(w http.ResponseWriter, r *http.Request) {
	done := meDone[r.URL.Query().Get("done")]
	switch r.URL.Query().Get("codes") {
	case "1":
		done = meDone["codes"]
	case "0":
		done = meDone["nocodes"]
	}
	s.showMe(w, r, http.StatusOK, mePage{Done: done})
}

func (s *server) showMe(w http.ResponseWriter, r *http.Request, status int, page mePage) {
	snap, p, ok := s.myself(w, r)
	if !ok {
		return
	}
	a := account(r)
	page.Export = s.exports(r, snap.Fleet)
	page.Name, page.Whose, page.Version, page.Logins, page.Codes, page.Runs = p.Name, p.Slug, version(p), s.Logins != nil, a.Secret != "", a.Conservator
	page.Lede = "You are " + doesWords(dutiesBy(snap.Fleet)[p.Slug]) + "."
	if len(dutiesBy(snap.Fleet)[p.Slug]) == 0 {
		page.Lede = "You have no role on a clock."
	}
	if page.Runs {
		page.Lede = "You run the fleet. " + page.Lede
	}
	page.Fields = myFields(p, lettersFor(dutiesBy(snap.Fleet)[p.Slug], page.Runs))
	if r.PostForm.Has("version") {
		retyped(page.Fields, r.PostForm)
	}
	page.Password = append([]field{{Name: "old", Label: "Your password of now", Input: "password", Required: true, Auto: "current-password"}}, passwordFields()...)
	for _, list := range [][]field{page.Fields, page.Password} {
		typed(list, nil, page.Faults)
	}
	list, err := s.sessionsOf(r.Context(), p.Slug)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	for _, o := range list {
		page.Sessions = append(page.Sessions, mySession{Key: o.key, Here: o.key == s.ownKey(r),
			Words: fmt.Sprintf("%s, since %s UTC, last used %s UTC", orWords(o.Browser, "waiting for its code"), schedule.Instant(o.Made, time.UTC), schedule.Instant(o.Seen, time.UTC))})
	}
	title := "Your settings"
	if len(page.Faults) > 0 {
		title = "Not kept yet: your settings"
	}
	s.show(w, r, status, "me", view{Title: title, Here: "/me", Body: page})
}

// retyped puts back into fields what was typed.
func retyped(fields []field, values url.Values) {
	for i := range fields {
		fields[i].Value = values.Get(fields[i].Name)
		for j := range fields[i].Ticks {
			fields[i].Ticks[j].On = slices.Contains(values[fields[i].Name], fields[i].Ticks[j].Value)
		}
	}
}

// lettersFor are the kinds of letters that somebody of some duties may get.
func lettersFor(duties []dutyAt, runs bool) []schedule.NoticeKind {
	has := func(roles ...schedule.Role) bool {
		return slices.ContainsFunc(duties, func(d dutyAt) bool { return slices.Contains(roles, d.Role) })
	}
	return slices.DeleteFunc(slices.Clone(schedule.NoticeKinds), func(k schedule.NoticeKind) bool {
		switch k {
		case schedule.OwnersMonth:
			return !has(schedule.Owner)
		case schedule.MailTrouble:
			return !runs && !has(schedule.Conservator)
		case schedule.WindReminder:
			return !runs && !has(schedule.Winder, schedule.Deputy, schedule.Keeper, schedule.Conservator)
		}
		return false
	})
}

// myFields ask what somebody wishes.
func myFields(p schedule.Person, letters []schedule.NoticeKind) []field {
	units := p.Units
	if units == "" {
		units = wear.MM
	}
	kinds := field{Name: "kinds", Label: "Letters that you want", Input: "ticks"}
	for _, k := range letters {
		kinds.Ticks = append(kinds.Ticks, tick{string(k), mailWords[k], !slices.Contains(p.Mail.Not, k)})
	}
	hour := p.Mail.Hour
	if hour == 0 {
		hour = 7
	}
	return []field{
		{Name: "units", Label: "The unit that comes first", Input: "select", Value: string(units), Options: []option{{string(wear.MM), "millimetres"}, {string(wear.Thou), "thousandths of an inch"}}},
		{Name: "zone", Label: "Your zone", Input: "text", Value: p.Zone, Hint: "Like Europe/London. Empty: that of each clock."},
		kinds,
		{Name: "day", Label: "Day of the month for monthly letters", Input: "number", Value: strconv.Itoa(max(1, p.Mail.Day)), Hint: "1 to 28."},
		{Name: "hour", Label: "Hour of the day from which letters come", Input: "number", Value: strconv.Itoa(hour), Hint: "1 to 23."},
	}
}

// keepMe keeps what somebody wishes, where it was not changed meanwhile.
func (s *server) keepMe(w http.ResponseWriter, r *http.Request) {
	snap, p, ok := s.myself(w, r)
	if !ok {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	if r.PostForm.Get("version") != version(p) {
		s.failed(w, r, stale("your settings"))
		return
	}
	p.Units, p.Zone = wear.Unit(r.PostForm.Get("units")), strings.TrimSpace(r.PostForm.Get("zone"))
	offered := lettersFor(dutiesBy(snap.Fleet)[p.Slug], account(r).Conservator)
	p.Mail.Not = slices.DeleteFunc(slices.Clone(p.Mail.Not), func(k schedule.NoticeKind) bool { return slices.Contains(offered, k) })
	for _, k := range offered {
		if !slices.Contains(r.PostForm["kinds"], string(k)) {
			p.Mail.Not = append(p.Mail.Not, k)
		}
	}
	var faults []fault
	number := func(name string, least, most int) int {
		n, err := strconv.Atoi(strings.TrimSpace(r.PostForm.Get(name)))
		if err != nil || n < least || n > most {
			faults = append(faults, fault{name, fmt.Sprintf("Give a number from %d to %d.", least, most)})
		}
		return n
	}
	p.Mail.Day, p.Mail.Hour = number("day", 1, 28), number("hour", 1, 23)
	if p.Mail.Day == 1 {
		p.Mail.Day = 0
	}
	if len(faults) == 0 {
		if wrong := personFault(snap.Fleet, p); wrong != nil {
			faults = append(faults, *wrong)
		}
	}
	if len(faults) > 0 {
		s.showMe(w, r, http.StatusUnprocessableEntity, mePage{Faults: faults})
		return
	}
	if err := s.describe(r.Context(), by(r).Name(), snap.Fleet, schedule.Fleet{People: []schedule.Person{p}}); err != nil {
		s.failed(w, r, err)
		return
	}
	http.Redirect(w, r, "/me?done=kept", http.StatusSeeOther)
}

// changePassword takes a new password from whoever knows the one of now. All
// other logins end.
func (s *server) changePassword(w http.ResponseWriter, r *http.Request) {
	_, p, ok := s.myself(w, r)
	if !ok {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	a := account(r)
	t, ok := s.mayTry(w, r, personKey(a), a)
	if !ok {
		return
	}
	ok, err := s.Logins.Passwords.Match(r.Context(), a.Hash, r.PostForm.Get("old"))
	if err != nil {
		if !errors.Is(err, context.Canceled) {
			s.fault(w, r, err)
		}
		return
	}
	if !ok {
		s.showMe(w, r, http.StatusUnprocessableEntity, mePage{Faults: []fault{{"old", "That is not your password of now."}}})
		return
	}
	s.right(t)
	password, faults := s.chosen(r, p)
	if len(faults) > 0 {
		s.showMe(w, r, http.StatusUnprocessableEntity, mePage{Faults: faults})
		return
	}
	hash, err := s.Logins.Passwords.Hash(r.Context(), password)
	if err == nil {
		err = s.keepOwn(r, "password changed", func(a *schedule.Account) { a.Hash, a.Changed = hash, s.Now() })
	}
	if err != nil {
		s.failed(w, r, err)
		return
	}
	a.Hash = hash
	s.know(w, r, a)
	http.Redirect(w, r, "/me?done=password", http.StatusSeeOther)
}

// endMySession ends one login of one's own.
func (s *server) endMySession(w http.ResponseWriter, r *http.Request) {
	list, err := s.sessionsOf(r.Context(), by(r).Person)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	key := r.PostFormValue("session")
	if !slices.ContainsFunc(list, func(o opened) bool { return o.key == key }) {
		s.failed(w, r, &schedule.Error{Code: schedule.NotFound, Message: "there is no such login of yours: it may be over already"})
		return
	}
	if key == s.ownKey(r) {
		s.logOut(w, r)
		return
	}
	if err := s.Logins.Sessions.DeleteCtx(r.Context(), key); err != nil {
		s.fault(w, r, err)
		return
	}
	http.Redirect(w, r, "/me?done=session", http.StatusSeeOther)
}

// myCalendar gives a new address for one's calendar, which is shown once, or takes
// all of them back.
func (s *server) myCalendar(w http.ResponseWriter, r *http.Request) {
	_, p, ok := s.myself(w, r)
	if !ok {
		return
	}
	ctx, now := r.Context(), s.Now()
	if _, err := s.Logins.Entrances.EndPasses(ctx, p.Slug, now, p.Slug, schedule.Following); err != nil {
		s.fault(w, r, err)
		return
	}
	if r.PostFormValue("end") != "" {
		http.Redirect(w, r, "/me?done=calendar-end", http.StatusSeeOther)
		return
	}
	token := s.Logins.NewToken()
	if err := s.Logins.Entrances.GivePass(ctx, p.Slug, now, schedule.Pass{Token: token, Deed: schedule.Following, Person: p.Slug}); err != nil {
		s.fault(w, r, err)
		return
	}
	s.showMe(w, r, http.StatusOK, mePage{Calendar: strings.TrimRight(cmp.Or(s.Base, "http://"+r.Host), "/") + "/calendar/" + token + ".ics"})
}

// myData is all that is kept of somebody.
type myData struct {
	Person   schedule.Person   `json:"person"`
	Account  myAccount         `json:"account"`
	Roles    []dutyAt          `json:"roles"`
	Logins   []mySession       `json:"logins"`
	Declined []string          `json:"declined"`
	Entries  []schedule.Entry  `json:"entries"`
	Letters  []schedule.Notice `json:"letters"`
	Rounds   []myMark          `json:"rounds"` // what was decided by hand of their days, or by them
	AsOf     time.Time         `json:"asOf"`
}

// myMark is what was decided by hand of a round.
type myMark struct {
	Kind   schedule.MarkKind  `json:"kind"`
	Site   string             `json:"site"`
	Person string             `json:"person"`
	Day    schedule.Date      `json:"day"`
	Tasks  []schedule.TaskRef `json:"tasks,omitempty"`
	Why    string             `json:"why"`
	By     string             `json:"by"`
	At     time.Time          `json:"at"`
}

// myAccount is an account without what is secret of it.
type myAccount struct {
	Conservator bool      `json:"conservator"`
	Codes       bool      `json:"oneTimeCodes"`
	Made        time.Time `json:"made"`
	Changed     time.Time `json:"passwordChanged"`
}

// mostMine bounds how many letters are looked through for one's own.
const mostMine = 10000

// mine gives somebody all that is kept of them, as JSON.
func (s *server) mine(w http.ResponseWriter, r *http.Request) {
	snap, p, ok := s.myself(w, r)
	if !ok {
		return
	}
	a, ctx := account(r), r.Context()
	out := myData{Person: p, Account: myAccount{a.Conservator, a.Secret != "", a.Made, a.Changed}, Roles: dutiesBy(snap.Fleet)[p.Slug], AsOf: s.Now().UTC()}
	list, err := s.sessionsOf(ctx, p.Slug)
	for _, o := range list {
		out.Logins = append(out.Logins, mySession{Words: o.Browser + ", since " + schedule.Instant(o.Made, time.UTC) + " UTC"})
	}
	declined, other := s.Passes.Declined(ctx)
	err = errors.Join(err, other)
	for _, d := range declined {
		if d.Person == p.Slug {
			out.Declined = append(out.Declined, string(d.Kind))
		}
	}
	notices, other := s.Mailroom.Notices(ctx, mostMine)
	err = errors.Join(err, other)
	for _, n := range notices {
		if n.Person == p.Slug {
			n.Raw, n.Passes = nil, nil
			out.Letters = append(out.Letters, n)
		}
	}
	marks, other := s.Desk.RoundMarks(ctx, schedule.Date{Year: 1, Month: 1, Day: 1})
	err = errors.Join(err, other)
	for _, m := range marks {
		if m.Person == p.Slug || m.By == p.Slug {
			out.Rounds = append(out.Rounds, myMark(m))
		}
	}
	for _, c := range snap.Clocks {
		for _, e := range c.Entries {
			if e.By == p.Slug {
				out.Entries = append(out.Entries, e)
			}
		}
	}
	b, other := json.MarshalIndent(out, "", "  ")
	if err = errors.Join(err, other); err != nil {
		s.fault(w, r, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "application/json; charset=utf-8")
	h.Set("Content-Disposition", `attachment; filename="endshake-`+p.Slug+`.json"`)
	if r.Method != http.MethodHead {
		_, _ = w.Write(b) // the reader has gone: nobody is left to tell
	}
}
