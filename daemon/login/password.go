// Package login is what lets people in: passwords, and one-time codes beside
// them. It keeps nothing; time is an argument.
package login

import (
	"context"
	"encoding/base64"
	"fmt"
	"slices"
	"strings"
	"sync/atomic"

	"github.com/alexedwards/argon2id"
	"github.com/trustelem/zxcvbn"
)

// Passwords makes hashes of passwords and holds passwords against them. So that
// logins cannot take all memory, two are at work at once and the others wait.
// Make one with New.
type Passwords struct {
	params argon2id.Params
	seats  chan struct{}
	work   atomic.Int64
	none   string // a hash that no password has
}

// atOnce is how many passwords are worked on at once (judgement, no source).
const atOnce = 2

// usual is the second choice of RFC 9106, section 4 (from memory): 64 MiB, three
// passes, four lanes.
var usual = argon2id.Params{Memory: 64 << 10, Iterations: 3, Parallelism: 4, SaltLength: 16, KeyLength: 32}

// New makes a Passwords of the usual strength.
func New() *Passwords { return newWith(usual) }

// Weak makes one whose hashes cost next to nothing, for tests.
func Weak() *Passwords {
	return newWith(argon2id.Params{Memory: 16, Iterations: 1, Parallelism: 1, SaltLength: 16, KeyLength: 32})
}

func newWith(p argon2id.Params) *Passwords {
	blank := func(n uint32) string { return base64.RawStdEncoding.EncodeToString(make([]byte, n)) }
	return &Passwords{params: p, seats: make(chan struct{}, atOnce), none: fmt.Sprintf("$argon2id$v=19$m=%d,t=%d,p=%d$%s$%s",
		p.Memory, p.Iterations, p.Parallelism, blank(p.SaltLength), blank(p.KeyLength))}
}

// Hash makes the hash of a password. Its error is the context's, or of the
// machine's source of chance.
func (p *Passwords) Hash(ctx context.Context, password string) (string, error) {
	done, err := p.sit(ctx)
	if err != nil {
		return "", err
	}
	defer done()
	return argon2id.CreateHash(password, &p.params)
}

// Match reports whether a password has a hash. An empty hash, of nobody, takes
// as much work as any, and no password has it.
func (p *Passwords) Match(ctx context.Context, hash, password string) (bool, error) {
	done, err := p.sit(ctx)
	if err != nil {
		return false, err
	}
	defer done()
	of := hash
	if of == "" {
		of = p.none
	}
	if len(password) > mostBytes {
		password = password[:mostBytes]
		of = p.none
	}
	ok, err := argon2id.ComparePasswordAndHash(password, of)
	if err != nil {
		return false, fmt.Errorf("read the hash of a password: %w", err)
	}
	return ok && of == hash, nil
}

// Work counts the passwords that were worked on: each takes the same.
func (p *Passwords) Work() int64 { return p.work.Load() }

func (p *Passwords) sit(ctx context.Context) (func(), error) {
	select {
	case p.seats <- struct{}{}:
		p.work.Add(1)
		return func() { <-p.seats }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

const (
	// Least and Most are how many characters a password has (OWASP ASVS 5.0.0,
	// 6.2.1 and 6.2.9, ask for 8 at least and for 64 to be taken).
	Least = 12
	Most  = 128
	// mostBytes is the most that Most characters take.
	mostBytes = 4 * Most
	// mostRead is how much of a password is looked at for what is tried first: the
	// time that it takes grows with the square of that, and more (measured: 128
	// characters made for it take over a second, 40 a tenth of one).
	mostRead = 40
	// leastScore is the best that zxcvbn gives: ten thousand million guesses or more
	// (Wheeler, zxcvbn: Low-Budget Password Strength Estimation, USENIX Security
	// 2016, from memory).
	leastScore = 4
)

// Weakness says in a sentence why a password must not be taken, with how to mend
// it; empty: it may. around are words that stand close to its holder or to this
// service: names, places, the address.
func Weakness(password string, around ...string) string {
	n := len([]rune(password))
	switch {
	case n < Least:
		return fmt.Sprintf("The password has %d characters: take %d or more, four words with something odd between them do well.", n, Least)
	case n > Most:
		return fmt.Sprintf("The password has %d characters: take no more than %d.", n, Most)
	}
	low := strings.ToLower(password)
	if distinct(low) < 5 {
		return "The password is a few characters over and over: take another."
	}
	if zxcvbn.PasswordStrength(closed(low, mostRead), guessed(around)).Score < leastScore {
		return "The password is made of words that are tried first: take another, or put something of your own between them."
	}
	return ""
}

// guessed are the words that anybody would try here, and those that stand around,
// each whole and in its parts, in small letters.
func guessed(around []string) []string {
	out := slices.Clone(nearby)
	for _, w := range around {
		w = strings.ToLower(w)
		out = append(out, closed(w, mostRead))
		for part := range strings.FieldsFuncSeq(w, notLetter) {
			if len([]rune(part)) >= 3 {
				out = append(out, part)
			}
		}
	}
	return out
}

// closed is a text without what stands between its words, which makes nothing
// harder to guess, and no longer than a number of characters.
func closed(s string, most int) string {
	var out []rune
	for _, r := range s {
		if len(out) == most {
			break
		}
		if !strings.ContainsRune(" -_.,", r) {
			out = append(out, r)
		}
	}
	return string(out)
}

func distinct(s string) int {
	seen := map[rune]bool{}
	for _, r := range s {
		seen[r] = true
	}
	return len(seen)
}

func notLetter(r rune) bool { return r < 'a' || r > 'z' && r < 0x80 }
