package web

import (
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"net/url"
)

// What a browser that keeps forms and the service say to each other beside them.
const (
	// headKeeps asks to be told that a form is logged, and not to be led on.
	headKeeps = "Endshake-Keeps"
	// headLogged holds the key of the form that is logged: nothing else says so,
	// and no page of a network that wants a login of its own has it.
	headLogged = "Endshake-Logged"
	// headWhose stands with every page, and says for whom it was made.
	headWhose = "Endshake-Whose"
)

// whose tells the readers of one browser apart, and names nobody: it stands in
// their pages and forms, so that a form that was kept goes under no other login.
// It is empty where nobody is logged in.
func (s *server) whose(r *http.Request) string {
	if s.Logins == nil {
		return "all"
	}
	person := by(r).Person
	if person == "" {
		return ""
	}
	sum := sha256.Sum256([]byte("whose form this is\n" + person))
	return hex.EncodeToString(sum[:8])
}

// theirs reports whether a form is of whoever is logged in, and answers where it
// was filled in under another login.
func (s *server) theirs(w http.ResponseWriter, r *http.Request, values url.Values) bool {
	whose := values.Get("whose")
	if whose == s.whose(r) || whose == "" && r.Header.Get(headKeeps) == "" {
		return true
	}
	s.sorry(w, r, http.StatusConflict, "That form was filled in under another login",
		"Nothing was logged. Whoever filled it in logs in and sends it, or you open the form anew and fill it in yourself.")
	return false
}

// logged answers a form that is in the log: it leads to what came of it, or tells
// whoever keeps forms that the one with this key need not be kept.
func (s *server) logged(w http.ResponseWriter, r *http.Request, key, to string) {
	if r.Header.Get(headKeeps) == "" {
		http.Redirect(w, r, to, http.StatusSeeOther)
		return
	}
	w.Header().Set(headLogged, key)
	w.Header().Set(headWhose, s.whose(r))
	w.Header().Set("Location", to)
	w.WriteHeader(http.StatusCreated)
}

// lookedOver is what is said of a form that is only to be shown again, as a
// browser that kept it asks.
func lookedOver(faults []fault) []fault {
	if len(faults) > 0 {
		return faults
	}
	return []fault{{"", "It is as it was filled in. Look it over, and send it."}}
}
