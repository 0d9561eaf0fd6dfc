package web

import (
	"encoding/base64"
	"fmt"
	"html/template"
	"net/http"
	"strings"

	"rsc.io/qr"

	"endshake/daemon/login"
	"endshake/schedule"
)

// codesPage has somebody set up one-time codes.
type codesPage struct {
	Must    bool   // a conservator does nothing else before
	Secret  string // in groups of four
	Raw     string // as it goes back with the form
	Picture template.URL
	Address template.URL // for a program on this very telephone
	Fault   string
	Now     bool // there are codes already, which the new take the place of
}

// keySecret is the key of a secret in the session that is shown and not yet kept.
const keySecret = "secret"

// codesForm shows a secret to be put into a telephone. It is kept once a code of
// it comes back; until then the same one is shown.
func (s *server) codesForm(w http.ResponseWriter, r *http.Request) {
	if !s.surely(w, r, "/me/codes") {
		return
	}
	if s.sessions.GetString(r.Context(), keySecret) == "" {
		s.sessions.Put(r.Context(), keySecret, login.NewSecret())
	}
	s.showCodes(w, r, http.StatusOK, "")
}

func (s *server) showCodes(w http.ResponseWriter, r *http.Request, status int, fault string) {
	a, secret := account(r), s.sessions.GetString(r.Context(), keySecret)
	at := login.Address(secret, a.Person, "endshake")
	code, err := qr.Encode(at, qr.M)
	if err != nil {
		s.fault(w, r, fmt.Errorf("draw the code: %w", err))
		return
	}
	code.Scale = 5
	page := codesPage{Must: mustSetUp(a), Now: a.Secret != "", Fault: fault, Address: template.URL(at),
		Picture: template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(code.PNG()))}
	for i := 0; i < len(secret); i += 4 {
		page.Secret += secret[i:min(i+4, len(secret))] + " "
	}
	page.Secret = strings.TrimSpace(page.Secret)
	title := "One-time codes"
	if fault != "" {
		title = "Not yet: one-time codes"
	}
	s.show(w, r, status, "codes", view{Title: title, Here: "/me", Body: page})
}

// mustSetUp reports whether an account may do nothing before it has codes: that
// of a conservator, who lets others in.
func mustSetUp(a schedule.Account) bool { return a.Conservator && a.Secret == "" }

// setCodes keeps the secret once a code of it was typed back. All other sessions
// end, for they were opened without it.
func (s *server) setCodes(w http.ResponseWriter, r *http.Request) {
	if !s.surely(w, r, "/me/codes") {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.unread(w, r, err)
		return
	}
	a, secret := account(r), s.sessions.GetString(r.Context(), keySecret)
	if secret == "" { // a form of before
		http.Redirect(w, r, "/me/codes", http.StatusSeeOther)
		return
	}
	t, ok := s.mayTry(w, r, personKey(a), a)
	if !ok {
		return
	}
	step, ok := login.Step(secret, r.PostForm.Get("code"), s.Now())
	if !ok {
		s.showCodes(w, r, http.StatusUnprocessableEntity, "That is not the code of now. See that the telephone's clock is right, and type the code that it shows.")
		return
	}
	s.right(t)
	err := s.keepOwn(r, "one-time codes set up", func(a *schedule.Account) { a.Secret, a.LastCode = secret, step })
	if err != nil {
		s.failed(w, r, err)
		return
	}
	http.Redirect(w, r, "/me?codes=1", http.StatusSeeOther)
}

// keepOwn changes a reader's own account, what is done in words. All their other
// logins end, and this one begins anew.
func (s *server) keepOwn(r *http.Request, what string, change func(*schedule.Account)) error {
	a := account(r)
	if err := s.changeOwn(r, what, change); err != nil {
		return err
	}
	if _, err := s.endSessions(r.Context(), a.Person, r); err != nil {
		return err
	}
	return s.admit(r, a.Person)
}

// changeOwn changes a reader's own account, unless it was closed, or its password
// changed or taken away, while the request was under way.
func (s *server) changeOwn(r *http.Request, what string, change func(*schedule.Account)) error {
	had := account(r)
	return s.Logins.Accounts.ChangeAccount(r.Context(), by(r).Name(), s.Now(), had.Person, what, func(a *schedule.Account) error {
		if !a.Open() || !a.Changed.Equal(had.Changed) {
			return &schedule.Error{Code: schedule.Conflict, Message: "your account was changed meanwhile, so this was not kept: log in anew"}
		}
		change(a)
		return nil
	})
}

// endCodes takes the one-time codes away, where the account may be without.
func (s *server) endCodes(w http.ResponseWriter, r *http.Request) {
	if !s.surely(w, r, "/me") {
		return
	}
	if account(r).Conservator {
		s.failed(w, r, &schedule.Error{Code: schedule.Forbidden, Message: "whoever runs the fleet logs in with a code as well: set up new ones instead"})
		return
	}
	if err := s.changeOwn(r, "one-time codes taken away", func(a *schedule.Account) { a.Secret = "" }); err != nil {
		s.failed(w, r, err)
		return
	}
	http.Redirect(w, r, "/me?codes=0", http.StatusSeeOther)
}
