package web

import (
	"cmp"
	"context"
	"crypto/subtle"
	"errors"
	"net/http"
	"slices"
	"strings"
	"time"

	"endshake/daemon/login"
	"endshake/schedule"
)

// joinPage has the holder of a link choose a password.
type joinPage struct {
	First  bool    // and say who they are: they run the fleet from then on
	Name   string  // of whose password it is
	Whose  string  // their short name
	Who    *field  // which of the fleet they are; nil: it describes nobody
	New    []field // asked only of somebody new
	Open   bool    // they are shown
	Fields []field
	Faults []fault
	Action string
}

// joinForm shows what is asked; it changes nothing.
func (s *server) joinForm(w http.ResponseWriter, r *http.Request) {
	if p, ok := s.joinable(w, r, schedule.Joining); ok {
		s.showJoin(w, r, http.StatusOK, p, nil)
	}
}

func (s *server) firstForm(w http.ResponseWriter, r *http.Request) {
	if p, ok := s.joinable(w, r, schedule.First); ok {
		s.showJoin(w, r, http.StatusOK, p, nil)
	}
}

// joinable finds the pass of a request that lets somebody choose a password, or
// answers why it is of no use.
func (s *server) joinable(w http.ResponseWriter, r *http.Request, deed schedule.Deed) (p schedule.Pass, ok bool) {
	if s.Logins == nil {
		s.unknownLink(w, r)
		return p, false
	}
	if p, ok = s.pass(w, r, r.PathValue("token"), deed); !ok {
		return p, false
	}
	snap, ok := s.whole(w, r)
	if !ok {
		return p, false
	}
	if why := taken(p, s.Now()); why != "" {
		s.overJoin(w, r, p, why)
		return p, false
	}
	if _, here := snap.Fleet.Person(p.Person); deed == schedule.Joining && !here {
		s.ended(w, r, "Whoever it was given to is not known here any more: ask your conservator for another")
		return p, false
	}
	// A new password that was asked for is for the browser that asked.
	asked := s.sessions.GetString(r.Context(), keyAsked)
	if p.Subject != "" && subtle.ConstantTimeCompare([]byte(asked), []byte(p.Subject)) != 1 {
		s.sorry(w, r, http.StatusForbidden, "Open it where you asked for it",
			"This link works only in the browser in which a new password was asked for. Open it there, or ask again here.")
		return p, false
	}
	return p, true
}

// overJoin answers for a link to choose a password that holds no more: what is
// the matter with it, and the way on.
func (s *server) overJoin(w http.ResponseWriter, r *http.Request, p schedule.Pass, why string) {
	in, anew := jobLink{"/login", "Log in"}, jobLink{"/forgot", "Choose a new password"}
	say := func(head, text string, ways ...jobLink) {
		s.show(w, r, http.StatusGone, "error", view{Title: head, Body: apology{Head: head, Text: text, Bare: true, Ways: ways}})
	}
	if p.Deed == schedule.First {
		switch has, err := s.hasConservator(r.Context()); {
		case err != nil:
			s.fault(w, r, err)
		case has:
			say("Already used", "Somebody runs the fleet already. Log in if that is you; if not, ask them to let you in.", in)
		default:
			say("This link is over", why+", and nobody runs the fleet yet. The command endshake account first, on the machine of the service, prints another.")
		}
		return
	}
	a, err := s.Logins.Accounts.Account(r.Context(), p.Person)
	switch has := err == nil && a.Hash != "" && a.Open(); {
	case err != nil && schedule.CodeOf(err) != schedule.NotFound:
		s.fault(w, r, err)
	case has && !p.Ended.IsZero() && a.Changed.Sub(p.Ended).Abs() < time.Second:
		say("Already used", "A password was chosen by this link on "+day(p.Ended, time.UTC)+". Log in with it; if it is lost, choose a new one.", in, anew)
	case has:
		say("This link is over", why+". Your password is as it was: log in with it; if it is lost, choose a new one.", in, anew)
	default:
		say("This link is over", why+". A newer one may be in your mail; if not, ask your conservator for another.")
	}
}

func (s *server) showJoin(w http.ResponseWriter, r *http.Request, status int, p schedule.Pass, faults []fault) {
	fleet := s.Desk.Snapshot().Fleet
	page := joinPage{First: p.Deed == schedule.First, Name: personName(fleet, p.Person), Whose: p.Person, Faults: faults, Action: r.URL.Path}
	title := "Choose a password"
	if page.First {
		title = "Who runs this fleet?"
		page.New = []field{
			{Name: "name", Label: "Name", Input: "text", Auto: "name"},
			{Name: "email", Label: "E-mail address", Input: "email", Hint: "Where letters go; may be empty.", Auto: "email"},
			{Name: "zone", Label: "Zone", Input: "text", Hint: "Like Europe/London."}}
		typed(page.New, r.PostForm, faults)
		page.Open = len(fleet.People) == 0 || slices.ContainsFunc(page.New, func(q field) bool { return q.Value != "" || q.Fault != "" })
		if len(fleet.People) > 0 {
			who := []field{{Name: "person", Label: "You are", Input: "select", Options: []option{{"", "not on this list"}}}}
			for _, q := range fleet.People {
				who[0].Options = append(who[0].Options, option{q.Slug, cmp.Or(q.Name, q.Slug)})
			}
			typed(who, r.PostForm, faults)
			page.Who = &who[0]
		}
	}
	page.Fields = append(page.Fields, passwordFields()...)
	typed(page.Fields, r.PostForm, faults)
	if len(faults) > 0 {
		title = "Not yet: " + title
	}
	s.show(w, r, status, "join", view{Title: title, Body: page})
}

// passwordFields ask for a new password, twice.
func passwordFields() []field {
	return []field{
		{Name: "password", Label: "Password", Input: "password", Required: true, Auto: "new-password",
			Hint: "12 characters or more, of any kind; four words with something odd between them do well."},
		{Name: "twice", Label: "The same once more", Input: "password", Required: true, Auto: "new-password"},
	}
}

// typed puts what was typed and what is wrong with it into fields. Passwords are
// not sent back.
func typed(fields []field, values map[string][]string, faults []fault) {
	for i := range fields {
		q := &fields[i]
		if v := values[q.Name]; len(v) > 0 && q.Input != "password" {
			q.Value = v[0]
		}
		for _, f := range faults {
			if f.Field == q.Name {
				q.Fault = f.Message
			}
		}
	}
}

// chosen reads a new password, typed twice; nil faults: it may be taken.
func (s *server) chosen(r *http.Request, p schedule.Person) (string, []fault) {
	password, fleet := r.PostForm.Get("password"), s.Desk.Snapshot().Fleet
	around := []string{p.Name, p.Email, p.Slug, s.Base}
	for _, c := range fleet.Clocks {
		if len(fleet.Clocks) <= 50 || c.Has(p.Slug) {
			around = append(around, c.Name, c.Slug)
		}
	}
	if why := login.Weakness(password, around...); why != "" {
		return "", []fault{{"password", why}}
	}
	if r.PostForm.Get("twice") != password {
		return "", []fault{{"twice", "The two are not the same: type both again."}}
	}
	return password, nil
}

// join keeps the password that was chosen. It logs nobody in.
func (s *server) join(w http.ResponseWriter, r *http.Request) {
	p, ok := s.joinable(w, r, schedule.Joining)
	if !ok {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	person, _ := s.Desk.Snapshot().Fleet.Person(p.Person)
	s.keepChosen(w, r, p, person, "password chosen", func(a *schedule.Account) error {
		if !a.Ended.IsZero() {
			return errClosed
		}
		return nil
	})
}

// first makes the first conservator, of somebody of the fleet or somebody new.
func (s *server) first(w http.ResponseWriter, r *http.Request) {
	p, ok := s.joinable(w, r, schedule.First)
	if !ok {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	if has, err := s.hasConservator(r.Context()); err != nil || has {
		if err != nil {
			s.fault(w, r, err)
			return
		}
		s.ended(w, r, "Somebody runs the fleet already, and can let you in")
		return
	}
	fleet := s.Desk.Snapshot().Fleet
	person, known := fleet.Person(r.PostForm.Get("person"))
	if !known {
		if len(fleet.People) > 0 && r.PostForm.Get("name") == "" {
			s.showJoin(w, r, http.StatusUnprocessableEntity, p, []fault{{"person", "Choose yourself on the list, or say below who you are."}})
			return
		}
		person = newPerson(fleet, r.PostForm.Get("name"), r.PostForm.Get("email"), r.PostForm.Get("zone"))
		if err := personFault(fleet, person); err != nil {
			s.showJoin(w, r, http.StatusUnprocessableEntity, p, []fault{*err})
			return
		}
	}
	if _, faults := s.chosen(r, person); len(faults) > 0 { // before somebody new is described
		s.showJoin(w, r, http.StatusUnprocessableEntity, p, faults)
		return
	}
	if !known {
		if err := s.describeNew(r.Context(), person.Slug, fleet, &person); err != nil {
			s.failed(w, r, err)
			return
		}
	}
	s.keepChosen(w, r, p, person, "first conservator", func(a *schedule.Account) error {
		a.Conservator, a.Ended = true, time.Time{}
		return nil
	})
}

// errClosed answers whoever chooses a password for an account that is closed.
var errClosed = errors.New("the account that it was for is closed: ask your conservator to open it again")

// keepChosen ends the pass, keeps the account with the password and what else
// change makes of it, and ends what was let in by the one before.
func (s *server) keepChosen(w http.ResponseWriter, r *http.Request, p schedule.Pass, person schedule.Person, what string, change func(*schedule.Account) error) {
	password, faults := s.chosen(r, person)
	if len(faults) > 0 {
		s.showJoin(w, r, http.StatusUnprocessableEntity, p, faults)
		return
	}
	hash, err := s.Logins.Passwords.Hash(r.Context(), password)
	if err != nil {
		if !errors.Is(err, context.Canceled) {
			s.fault(w, r, err)
		}
		return
	}
	now := s.Now() // when the pass ends, which tells that it was used
	err = s.Logins.Entrances.Join(r.Context(), now, p.Token, p.Deed, person.Slug, what, func(a *schedule.Account) error {
		a.Hash, a.Changed = hash, now
		return change(a)
	})
	switch {
	case errors.Is(err, errClosed):
		s.ended(w, r, err.Error())
		return
	case err != nil:
		s.failed(w, r, err)
		return
	}
	if _, err := s.endSessions(r.Context(), person.Slug, nil); err != nil {
		s.fault(w, r, err)
		return
	}
	_ = s.sessions.Destroy(r.Context()) // it opened the link, and no more
	s.Log.InfoContext(r.Context(), what, "person", person.Slug)
	http.Redirect(w, r, "/login?chosen=1", http.StatusSeeOther)
}

// hasConservator reports whether anybody who can log in runs the fleet.
func (s *server) hasConservator(ctx context.Context) (bool, error) {
	all, err := s.Logins.Accounts.Accounts(ctx)
	for _, a := range all {
		if a.Conservator && a.Open() {
			return true, nil
		}
	}
	return false, err
}

// newPerson is somebody new, with a short name made of their name.
func newPerson(f schedule.Fleet, name, email, zone string) schedule.Person {
	p := schedule.Person{Name: schedule.Visible(name), Email: strings.TrimSpace(email), Zone: strings.TrimSpace(zone)}
	p.Slug = slugFor(f, p.Name)
	return p
}

// forgotPage asks whose password is to be chosen anew.
type forgotPage struct {
	Asked bool // it was, and the answer is the same for everybody
	Mail  bool // letters go out
}

func (s *server) forgotForm(w http.ResponseWriter, r *http.Request) {
	s.show(w, r, http.StatusOK, "forgot", view{Title: "Choose a new password", Body: forgotPage{Mail: s.Logins.Letter != nil}})
}

const (
	// forgotFor is how long a link for a new password holds: OWASP ASVS 5.0.0,
	// 6.5.5, gives ten minutes at most.
	forgotFor = 10 * time.Minute
	// forgotMost is how many such letters one mailbox gets in forgotWithin.
	forgotMost   = 3
	forgotWithin = time.Hour
)

// forgot has a letter sent to whoever the name or address is of. It answers the
// same for everybody.
func (s *server) forgot(w http.ResponseWriter, r *http.Request) {
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	if wait := s.wrongFrom.take(s.from(r), failFor, s.Now()); wait > 0 {
		w.Header().Set("Retry-After", "900")
		s.sorry(w, r, http.StatusTooManyRequests, "That was tried too often", "Wait a quarter of an hour and try again.")
		return
	}
	mark := s.Logins.NewToken() // also for nobody: the cookie tells nothing either
	s.sessions.Put(r.Context(), keyAsked, mark)
	if !known(by(r)) {
		s.sessions.SetDeadline(r.Context(), s.Now().Add(forgotFor))
	}
	name, ctx := strings.TrimSpace(r.PostForm.Get("name")), context.WithoutCancel(r.Context())
	s.late.Go(func() { // after the answer, which takes as long for everybody
		ctx, cancel := context.WithTimeout(ctx, time.Minute)
		defer cancel()
		if err := s.sendForgotten(ctx, name, mark); err != nil {
			s.Log.ErrorContext(ctx, "a letter for a new password could not be written", "error", err)
		}
	})
	s.show(w, r, http.StatusOK, "forgot", view{Title: "Look into your mail", Body: forgotPage{Asked: true, Mail: s.Logins.Letter != nil}})
}

func (s *server) sendForgotten(ctx context.Context, name, mark string) error {
	a, err := s.accountNamed(ctx, name)
	if err != nil || !a.Open() || s.Logins.Letter == nil {
		return err
	}
	p, ok := s.Desk.Snapshot().Fleet.Person(a.Person)
	if !ok || p.Email == "" || s.forgotten.take(strings.ToLower(p.Email), forgotWithin, s.Now()) > 0 {
		return nil
	}
	if _, err := s.Logins.Entrances.EndPasses(ctx, p.Slug, s.Now(), p.Slug, schedule.Joining); err != nil {
		return err
	}
	_, err = s.Logins.Letter(ctx, LinkLetter{Person: p, Kind: schedule.NewPassword, Now: s.Now(), Pass: schedule.Pass{
		Token: s.Logins.NewToken(), Deed: schedule.Joining, Person: p.Slug, Subject: mark, Made: s.Now(), Ends: s.Now().Add(forgotFor)}})
	return err
}
