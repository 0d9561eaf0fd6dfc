package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strings"

	"endshake/daemon/login"
	"endshake/schedule"
)

// loginPage asks who somebody is.
type loginPage struct {
	Name   string // as typed; of whoever gives the password again, the short name
	To     string // where to go on
	Fault  string
	Again  bool // the password once more, of whoever is logged in
	Ended  bool // they have just logged out
	Chosen bool // they have just chosen a password
}

// codePage asks for the one-time code that comes after the password.
type codePage struct{ Fault string }

// local is a path of these pages to go on to; the fleet where it is none. What a
// browser could take for another site is none.
func local(to string) string {
	u, err := url.Parse(to)
	odd := func(r rune) bool { return r <= ' ' || r == '\\' || r == 0x7f }
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil || u.Opaque != "" || !strings.HasPrefix(to, "/") ||
		strings.HasPrefix(to, "//") || strings.HasPrefix(u.Path, "//") || strings.ContainsFunc(to, odd) || strings.ContainsFunc(u.Path, odd) {
		return "/"
	}
	for _, not := range []string{"/login", "/logout", "/forgot"} {
		if u.Path == not || strings.HasPrefix(u.Path, not+"/") {
			return "/"
		}
	}
	return to
}

func (s *server) loginForm(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	if known(by(r)) {
		http.Redirect(w, r, local(q.Get("to")), http.StatusSeeOther)
		return
	}
	s.showLogin(w, r, http.StatusOK, loginPage{To: local(q.Get("to")), Ended: q.Has("ended"), Chosen: q.Has("chosen")})
}

func (s *server) showLogin(w http.ResponseWriter, r *http.Request, status int, p loginPage) {
	title := "Log in"
	if p.Again {
		title = "Your password once more"
	}
	if p.Fault != "" {
		title = "Not yet: " + title
	}
	s.show(w, r, status, "login", view{Title: title, Body: p})
}

// wrongLogin is the same for every reason: it tells nobody who has an account.
const wrongLogin = "That is not a name and a password that belong together. Capitals count in the password."

// logIn lets somebody in who gives a name and its password; where there is a code
// to give as well, it asks for that.
func (s *server) logIn(w http.ResponseWriter, r *http.Request) {
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	if _, ok := s.whole(w, r); !ok {
		return
	}
	p := loginPage{Name: strings.TrimSpace(r.PostForm.Get("name")), To: local(r.PostForm.Get("to"))}
	a, err := s.accountNamed(r.Context(), p.Name)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	t, ok := s.mayTry(w, r, typedKey(p.Name), a)
	if !ok {
		return
	}
	hash := a.Hash
	if !a.Open() {
		hash = "" // as much work as for any
	}
	ok, err = s.Logins.Passwords.Match(r.Context(), hash, r.PostForm.Get("password"))
	switch {
	case errors.Is(err, context.Canceled):
	case err != nil:
		s.fault(w, r, err)
	case !ok:
		s.Log.WarnContext(r.Context(), "log-in refused", "person", orNobody(a.Person), "why", "name or password")
		p.Fault = wrongLogin
		s.showLogin(w, r, http.StatusUnprocessableEntity, p)
	default:
		s.passed(w, r, a, p.To, t)
	}
}

func orNobody(person string) string {
	if person == "" {
		return "not known"
	}
	return person
}

// passed goes on once the password was right.
func (s *server) passed(w http.ResponseWriter, r *http.Request, a schedule.Account, to string, t attempt) {
	if a.Secret == "" {
		s.letThrough(w, r, a, to, t)
		return
	}
	ctx := r.Context()
	if err := errors.Join(s.sessions.RenewToken(ctx), s.sessions.Clear(ctx)); err != nil {
		s.fault(w, r, err)
		return
	}
	s.right(t)
	s.sessions.SetDeadline(ctx, s.Now().Add(halfFor))
	s.sessions.Put(ctx, keyHalf, a.Person)
	s.mark(ctx, keyHalfAt, s.Now())
	http.Redirect(w, r, "/login/code?"+url.Values{"to": {to}}.Encode(), http.StatusSeeOther)
}

// letThrough opens the session and goes on.
func (s *server) letThrough(w http.ResponseWriter, r *http.Request, a schedule.Account, to string, t attempt) {
	s.right(t)
	if err := s.admit(r, a.Person); err != nil {
		s.fault(w, r, err)
		return
	}
	s.know(w, r, a)
	s.Log.InfoContext(r.Context(), "logged in", "person", a.Person)
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// accountNamed finds the account of a short name or of an address that is one
// person's alone; the zero Account where there is none.
func (s *server) accountNamed(ctx context.Context, name string) (schedule.Account, error) {
	snap := s.Desk.Snapshot()
	all, err := s.Logins.Accounts.Accounts(ctx)
	if err != nil || snap == nil || name == "" {
		return schedule.Account{}, err
	}
	var found []schedule.Account
	for _, a := range all {
		p, here := snap.Fleet.Person(a.Person)
		if a.Ended.IsZero() && (strings.EqualFold(a.Person, name) || here && p.Email != "" && strings.EqualFold(p.Email, name)) {
			found = append(found, a)
		}
	}
	if len(found) != 1 {
		return schedule.Account{}, nil
	}
	return found[0], nil
}

// halfIn is who gave the right password in this browser and owes the code.
func (s *server) halfIn(r *http.Request) (a schedule.Account, ok bool, err error) {
	ctx := r.Context()
	person := s.sessions.GetString(ctx, keyHalf)
	if person == "" || s.Now().Sub(s.instantOf(ctx, keyHalfAt)) > halfFor {
		return a, false, nil
	}
	a, err = s.Logins.Accounts.Account(ctx, person)
	if schedule.CodeOf(err) == schedule.NotFound {
		return a, false, nil
	}
	return a, err == nil && a.Open() && !s.instantOf(ctx, keyHalfAt).Before(a.Changed), err
}

func (s *server) codeForm(w http.ResponseWriter, r *http.Request) {
	_, ok, err := s.halfIn(r)
	switch {
	case err != nil:
		s.fault(w, r, err)
	case !ok:
		http.Redirect(w, r, "/login", http.StatusSeeOther)
	default:
		s.show(w, r, http.StatusOK, "code", view{Title: "The code from your telephone", Body: codePage{}})
	}
}

// giveCode takes the one-time code, once.
func (s *server) giveCode(w http.ResponseWriter, r *http.Request) {
	a, ok, err := s.halfIn(r)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	if !ok {
		http.Redirect(w, r, "/login", http.StatusSeeOther)
		return
	}
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	t, ok := s.mayTry(w, r, personKey(a), a)
	if !ok {
		return
	}
	switch good, err := s.takeCode(r, a, r.PostForm.Get("code")); {
	case err != nil:
		s.fault(w, r, err)
	case !good:
		s.Log.WarnContext(r.Context(), "log-in refused", "person", a.Person, "why", "code")
		s.show(w, r, http.StatusUnprocessableEntity, "code", view{Title: "Not yet: the code from your telephone",
			Body: codePage{"That is not the code of now, or it was used already: wait for the next one, and see that the telephone's clock is right."}})
	default:
		s.letThrough(w, r, a, local(r.URL.Query().Get("to")), t)
	}
}

// takeCode uses up a code of an account; false: it is none, or was used.
func (s *server) takeCode(r *http.Request, a schedule.Account, code string) (bool, error) {
	step, ok := login.Step(a.Secret, code, s.Now())
	if !ok || step <= a.LastCode {
		return false, nil
	}
	return s.Logins.Accounts.TakeCode(r.Context(), a.Person, step)
}

// againForm asks somebody who is logged in for their password once more.
func (s *server) againForm(w http.ResponseWriter, r *http.Request) {
	s.showLogin(w, r, http.StatusOK, loginPage{Again: true, Name: by(r).Person, To: local(r.URL.Query().Get("to"))})
}

func (s *server) again(w http.ResponseWriter, r *http.Request) {
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	a, p := account(r), loginPage{Again: true, Name: by(r).Person, To: local(r.PostForm.Get("to"))}
	t, ok := s.mayTry(w, r, personKey(a), a)
	if !ok {
		return
	}
	ok, err := s.Logins.Passwords.Match(r.Context(), a.Hash, r.PostForm.Get("password"))
	switch {
	case errors.Is(err, context.Canceled):
	case err != nil:
		s.fault(w, r, err)
	case !ok:
		s.Log.WarnContext(r.Context(), "password refused", "person", a.Person)
		p.Fault = "That is not your password. Capitals count."
		s.showLogin(w, r, http.StatusUnprocessableEntity, p)
	default:
		s.right(t)
		s.mark(r.Context(), keySure, s.Now())
		http.Redirect(w, r, p.To, http.StatusSeeOther)
	}
}

// surely lets a form act whose sender gave the password lately, and asks the
// others for it.
func (s *server) surely(w http.ResponseWriter, r *http.Request, page string) bool {
	if s.sure(r) {
		return true
	}
	http.Redirect(w, r, againAt(page), http.StatusSeeOther)
	return false
}

// againAt is where the password is asked for once more, on the way to a page.
func againAt(page string) string { return "/login/again?" + url.Values{"to": {page}}.Encode() }

// logOut ends the session.
func (s *server) logOut(w http.ResponseWriter, r *http.Request) {
	if err := s.sessions.Destroy(r.Context()); err != nil {
		s.fault(w, r, err)
		return
	}
	w.Header().Set("Clear-Site-Data", `"cache"`)
	http.Redirect(w, r, "/login?ended=1", http.StatusSeeOther)
}
