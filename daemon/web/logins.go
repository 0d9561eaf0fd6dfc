package web

import (
	"context"
	"net/netip"
	"time"

	"endshake/daemon/login"
	"endshake/schedule"
)

// Logins is what it takes to have people log in. All but Proxies and Letter must
// be given.
type Logins struct {
	Accounts  Accounts
	Entrances Entrances
	Sessions  Sessions
	Passwords *login.Passwords
	NewToken  func() string
	// Proxies are the peers whose word on where a request comes from is believed
	// (X-Forwarded-For); of all others it is not.
	Proxies []netip.Prefix
	// Letter has a letter with a link owed to somebody; ok is false where no mail
	// goes out, or not to them. Nil: no mail goes out.
	Letter func(ctx context.Context, l LinkLetter) (ok bool, err error)
}

// LinkLetter is a letter that lets its reader choose a password.
type LinkLetter struct {
	Person schedule.Person
	Kind   schedule.NoticeKind // schedule.Invitation or schedule.NewPassword
	By     string              // who invites, in words; empty: nobody
	Pass   schedule.Pass       // with its token
	Now    time.Time
}

// Accounts are who can log in.
type Accounts interface {
	// Account finds one; a *schedule.Error with NotFound where there is none.
	Account(ctx context.Context, person string) (schedule.Account, error)
	// Accounts lists all, closed ones too.
	Accounts(ctx context.Context) ([]schedule.Account, error)
	// ChangeAccount keeps one as change makes it of how it stands, or of a new one,
	// and audits what was done. An error of change is given back; it may be called
	// again. The last conservator is never taken away: Conflict.
	ChangeAccount(ctx context.Context, actor string, now time.Time, person, what string, change func(*schedule.Account) error) error
	// TakeCode marks a one-time code as used; false: it was already.
	TakeCode(ctx context.Context, person string, step int64) (bool, error)
}

// Entrances are the passes by which somebody chooses a password.
type Entrances interface {
	GivePass(ctx context.Context, actor string, now time.Time, p schedule.Pass) error
	EndPasses(ctx context.Context, actor string, now time.Time, person string, deed schedule.Deed) (int, error)
	// Join ends such a pass and changes the account, both or neither; a Conflict
	// where the pass is over.
	Join(ctx context.Context, now time.Time, token string, deed schedule.Deed, person, what string, change func(*schedule.Account) error) error
}

// Sessions are what is remembered of logins, by the hash of a cookie.
type Sessions interface {
	FindCtx(ctx context.Context, key string) (data []byte, found bool, err error)
	CommitCtx(ctx context.Context, key string, data []byte, ends time.Time) error
	DeleteCtx(ctx context.Context, key string) error
	AllCtx(ctx context.Context) (map[string][]byte, error)
}
