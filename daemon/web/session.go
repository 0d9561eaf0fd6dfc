package web

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/alexedwards/scs/v2"

	"endshake/schedule"
)

const (
	// idleFor ends a session that is not used, and sessionLife one that is: the
	// telephone of whoever winds once a week asks again (judgement, no source).
	idleFor     = 12 * time.Hour
	sessionLife = 14 * 24 * time.Hour
	// sureFor is how long a password that was given counts as given just now, for
	// what lets others in or takes much away (judgement, no source).
	sureFor = 15 * time.Minute
	// seenEvery is how exactly the last use of a session is known.
	seenEvery = 5 * time.Minute
	// halfFor is how long the code may take after the password.
	halfFor = 10 * time.Minute
)

// What a session remembers. Instants are microseconds of Unix.
const (
	keyPerson  = "person"
	keyMade    = "made"    // when the password and the code were right
	keySeen    = "seen"    // when it was last used, by seenEvery
	keySure    = "sure"    // when the password was last given
	keyBrowser = "browser" // from where, in words
	keyHalf    = "half"    // who gave the right password, and owes the code
	keyHalfAt  = "halfAt"
	keyAsked   = "asked" // the mark of a new password that this browser asked for
)

// sessionStore lets the session manager use Sessions.
type sessionStore struct{ Sessions }

func (s sessionStore) Find(key string) ([]byte, bool, error) {
	return s.FindCtx(context.Background(), key)
}

func (s sessionStore) Commit(key string, data []byte, ends time.Time) error {
	return s.CommitCtx(context.Background(), key, data, ends)
}

func (s sessionStore) Delete(key string) error { return s.DeleteCtx(context.Background(), key) }

// newSessions makes the session manager. A cookie with the prefix __Host- goes to
// this host alone, and only by https.
func (s *server) newSessions() *scs.SessionManager {
	m := scs.New()
	m.Store = sessionStore{s.Logins.Sessions}
	m.HashTokenInStore = true
	m.Lifetime = sessionLife
	m.Cookie.Name, m.Cookie.Path, m.Cookie.HttpOnly, m.Cookie.SameSite, m.Cookie.Persist = "endshake", "/", true, http.SameSiteLaxMode, false
	if strings.HasPrefix(s.Base, "https:") {
		m.Cookie.Name, m.Cookie.Secure = "__Host-endshake", true
	}
	m.ErrorFunc = func(w http.ResponseWriter, r *http.Request, err error) {
		if s.Database != nil {
			if passing, open := s.Database.Passing(err); passing {
				s.away(w, r, open)
				return
			}
		}
		s.Log.LogAttrs(r.Context(), levelOf(r), "session failed", slog.Any("error", err))
		http.Error(w, "Something went wrong here. Try again in a minute.", http.StatusInternalServerError)
	}
	return m
}

// accountKey is the key of the reader's account in a request's context.
type accountKey struct{}

// account is that of whoever asks; the zero Account where nobody logs in.
func account(r *http.Request) schedule.Account {
	a, _ := r.Context().Value(accountKey{}).(schedule.Account)
	return a
}

func (s *server) instantOf(ctx context.Context, key string) time.Time {
	return time.UnixMicro(s.sessions.GetInt64(ctx, key)).UTC()
}

func (s *server) mark(ctx context.Context, key string, at time.Time) {
	s.sessions.Put(ctx, key, at.UnixMicro())
}

// loggedIn finds whose session a request is of, and takes note that it is used.
// ok is false where it is nobody's, or over.
func (s *server) loggedIn(r *http.Request) (a schedule.Account, ok bool, err error) {
	ctx, now := r.Context(), s.Now()
	person := s.sessions.GetString(ctx, keyPerson)
	if person == "" {
		return a, false, nil
	}
	a, err = s.Logins.Accounts.Account(ctx, person)
	if err != nil && schedule.CodeOf(err) != schedule.NotFound {
		return a, false, err
	}
	made, seen := s.instantOf(ctx, keyMade), s.instantOf(ctx, keySeen)
	if err != nil || !a.Open() || made.Before(a.Changed) || now.Sub(seen) > idleFor || now.Sub(made) > sessionLife {
		return a, false, s.sessions.Destroy(ctx)
	}
	if now.Sub(seen) >= seenEvery && s.takes() {
		s.mark(ctx, keySeen, now)
	}
	return a, true, nil
}

// admit opens a session with a new cookie: one that somebody planted before is
// worth nothing.
func (s *server) admit(r *http.Request, person string) error {
	ctx, now := r.Context(), s.Now()
	if err := s.sessions.RenewToken(ctx); err != nil {
		return err
	}
	if err := s.sessions.Clear(ctx); err != nil {
		return err
	}
	s.sessions.SetDeadline(ctx, now.Add(sessionLife))
	s.sessions.Put(ctx, keyPerson, person)
	s.sessions.Put(ctx, keyBrowser, browserWords(r.UserAgent()))
	for _, key := range []string{keyMade, keySeen, keySure} {
		s.mark(ctx, key, now)
	}
	return nil
}

// sure reports whether the password was given so lately that what lets others in
// may go ahead.
func (s *server) sure(r *http.Request) bool {
	return s.Logins == nil || s.Now().Sub(s.instantOf(r.Context(), keySure)) <= sureFor
}

// opened is one session of a person.
type opened struct {
	key, Browser string
	Made, Seen   time.Time
}

// sessionsOf lists the sessions of a person, the last used first.
func (s *server) sessionsOf(ctx context.Context, person string) ([]opened, error) {
	all, err := s.Logins.Sessions.AllCtx(ctx)
	if err != nil {
		return nil, fmt.Errorf("list sessions: %w", err)
	}
	var out []opened
	for key, data := range all {
		_, values, err := s.sessions.Codec.Decode(data)
		if err != nil || values[keyPerson] != person && values[keyHalf] != person {
			continue
		}
		made, _ := values[keyMade].(int64)
		seen, _ := values[keySeen].(int64)
		browser, _ := values[keyBrowser].(string)
		out = append(out, opened{key, browser, time.UnixMicro(made), time.UnixMicro(seen)})
	}
	slices.SortFunc(out, func(a, b opened) int {
		return cmp.Or(b.Seen.Compare(a.Seen), strings.Compare(a.key, b.key))
	})
	return out, nil
}

// endSessions ends all sessions of a person but that of a request, and counts
// them; a nil request: all of them.
func (s *server) endSessions(ctx context.Context, person string, but *http.Request) (n int, err error) {
	list, err := s.sessionsOf(ctx, person)
	if err != nil {
		return 0, err
	}
	for _, o := range list {
		if but != nil && o.key == s.ownKey(but) {
			continue
		}
		if err := s.Logins.Sessions.DeleteCtx(ctx, o.key); err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}

// browsers and systems are told by the first of these words that a user agent
// has: each also names those that it wants to be taken for.
var (
	browsers = []option{{"Edg", "Edge"}, {"OPR/", "Opera"}, {"SamsungBrowser", "Samsung Internet"}, {"Firefox", "Firefox"}, {"FxiOS", "Firefox"},
		{"CriOS", "Chrome"}, {"Chrom", "Chrome"}, {"Safari", "Safari"}, {"curl", "curl"}}
	systems = []option{{"Android", "Android"}, {"iPhone", "iPhone"}, {"iPad", "iPad"}, {"Windows", "Windows"}, {"Mac OS", "macOS"}, {"CrOS", "ChromeOS"}, {"Linux", "Linux"}}
)

// browserWords says in a few words what a request comes from: "Firefox on
// Android". No more of it is kept.
func browserWords(agent string) string {
	find := func(list []option, other string) string {
		for _, o := range list {
			if strings.Contains(agent, o.Value) {
				return o.Label
			}
		}
		return other
	}
	b, on := find(browsers, "another program"), find(systems, "")
	if on == "" {
		return b
	}
	return b + " on " + on
}

// ownKey is the key of the session of a request, as the session manager keeps it.
func (s *server) ownKey(r *http.Request) string {
	sum := sha256.Sum256([]byte(s.sessions.Token(r.Context())))
	return base64.RawURLEncoding.EncodeToString(sum[:])
}
