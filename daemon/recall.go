package daemon

import (
	"context"
	"crypto/sha256"
	"maps"
	"slices"
	"sync"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// Who was let in lately is let in again while the database does not answer: by
// what was read of them no longer ago than recallFor, of the most that asked. Who
// has their rights taken meanwhile, at another service, keeps them as long
// (judgement, no source).
const (
	recallFor  = 15 * time.Minute
	mostRecall = 1000
	// askWait is how long somebody at the door waits for the database.
	askWait = 3 * time.Second
)

// recall is what was read lately, by its key.
type recall[T any] struct {
	mu sync.Mutex
	of map[string]recalled[T]
}

type recalled[T any] struct {
	v  T
	at time.Time
}

func (m *recall[T]) keep(key string, v T, now time.Time) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.of == nil {
		m.of = map[string]recalled[T]{}
	}
	if _, there := m.of[key]; !there && len(m.of) >= mostRecall {
		maps.DeleteFunc(m.of, func(_ string, r recalled[T]) bool { return now.Sub(r.at).Abs() > recallFor })
		if len(m.of) >= mostRecall { // the longest ago gives way
			delete(m.of, slices.MinFunc(slices.Collect(maps.Keys(m.of)), func(a, b string) int { return m.of[a].at.Compare(m.of[b].at) }))
		}
	}
	m.of[key] = recalled[T]{v, now}
}

func (m *recall[T]) drop(key string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.of, key)
}

func (m *recall[T]) find(key string, now time.Time) (v T, ok bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	r, ok := m.of[key]
	if !ok || now.Sub(r.at).Abs() > recallFor {
		return v, false
	}
	return r.v, true
}

// asked gives what get reads under a key; where the database does not answer, what
// was read there lately.
func asked[T any](ctx context.Context, p *pulse, m *recall[T], key string, get func(context.Context) (T, error)) (T, error) {
	err := errAway
	if p.answers() {
		var v T
		short, cancel := context.WithTimeout(ctx, askWait)
		defer cancel()
		if v, err = get(short); err == nil {
			m.keep(key, v, p.now())
			return v, nil
		}
		if schedule.CodeOf(err) != "" { // the database has answered that there is none
			m.drop(key)
		}
		if !db.Passing(err) || ctx.Err() != nil {
			return v, err
		}
	}
	if v, ok := m.find(key, p.now()); ok {
		return v, nil
	}
	var none T
	return none, err
}

// doorkeeper is the store as it tells who somebody is.
type doorkeeper struct {
	*db.Store
	pulse    *pulse
	accounts recall[schedule.Account]
	machines recall[schedule.Machine]
}

// Account finds an account.
func (k *doorkeeper) Account(ctx context.Context, person string) (schedule.Account, error) {
	return asked(ctx, k.pulse, &k.accounts, person, func(ctx context.Context) (schedule.Account, error) { return k.Store.Account(ctx, person) })
}

// ChangeAccount changes an account, which is then read anew.
func (k *doorkeeper) ChangeAccount(ctx context.Context, actor string, now time.Time, person, what string, change func(*schedule.Account) error) error {
	defer k.accounts.drop(person)
	return k.Store.ChangeAccount(ctx, actor, now, person, what, change)
}

// Join lets somebody choose a password; their account is then read anew.
func (k *doorkeeper) Join(ctx context.Context, now time.Time, token string, deed schedule.Deed, person, what string, change func(*schedule.Account) error) error {
	defer k.accounts.drop(person)
	return k.Store.Join(ctx, now, token, deed, person, what, change)
}

// Machine finds the program of a token. No token is kept, only its hash.
func (k *doorkeeper) Machine(ctx context.Context, now time.Time, token string) (schedule.Machine, error) {
	sum := sha256.Sum256([]byte(token))
	m, err := asked(ctx, k.pulse, &k.machines, string(sum[:]), func(ctx context.Context) (schedule.Machine, error) { return k.Store.Machine(ctx, now, token) })
	if err == nil && !now.Before(m.Ends) {
		return schedule.Machine{}, &schedule.Error{Code: schedule.NotFound, Field: "token", Message: "no program has this token, or its time is over"}
	}
	return m, err
}

// EndMachine takes a token back. Under which hash it was read is not known here,
// so all are read anew.
func (k *doorkeeper) EndMachine(ctx context.Context, actor string, now time.Time, name string) error {
	k.machines.mu.Lock()
	k.machines.of = nil
	k.machines.mu.Unlock()
	return k.Store.EndMachine(ctx, actor, now, name)
}

// sessions are the logins as they are kept, and as they were read lately.
type sessions struct {
	db.Sessions
	pulse *pulse
	last  recall[[]byte]
}

// errNoSession is that of a key under which nothing is kept.
var errNoSession = &schedule.Error{Code: schedule.NotFound, Message: "there is no such session"}

// FindCtx gives what is remembered under a key. When it ends it says itself.
func (s *sessions) FindCtx(ctx context.Context, key string) (data []byte, found bool, err error) {
	data, err = asked(ctx, s.pulse, &s.last, key, func(ctx context.Context) ([]byte, error) {
		data, found, err := s.Sessions.FindCtx(ctx, key)
		if err == nil && !found {
			err = errNoSession
		}
		return data, err
	})
	if err == errNoSession {
		return nil, false, nil
	}
	return data, err == nil, err
}

// CommitCtx remembers data under a key until an instant.
func (s *sessions) CommitCtx(ctx context.Context, key string, data []byte, ends time.Time) error {
	err := s.Sessions.CommitCtx(ctx, key, data, ends)
	if err == nil {
		s.last.drop(key)
	}
	return err
}

// DeleteCtx ends a key, here at once.
func (s *sessions) DeleteCtx(ctx context.Context, key string) error {
	s.last.drop(key)
	return s.Sessions.DeleteCtx(ctx, key)
}
