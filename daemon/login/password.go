// Package login is what lets people in: passwords, and one-time codes beside
// them. It keeps nothing; time is an argument.
package login

import (
	"context"
	"encoding/base64"
	"fmt"
	"strings"
	"sync/atomic"

	"github.com/alexedwards/argon2id"
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
	// leastOwn is how much of a password must be neither a usual word nor one of
	// those that anybody would try here (judgement, no source).
	leastOwn = 4
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
	left, words := low, 0
	for _, w := range around {
		for part := range strings.FieldsFuncSeq(strings.ToLower(w), notLetter) {
			if len([]rune(part)) >= 3 {
				left = strings.ReplaceAll(left, part, " ")
			}
		}
	}
	for _, list := range [][]string{nearby, usualWords} {
		for _, w := range list {
			if strings.Contains(left, w) {
				left = strings.ReplaceAll(left, w, " ")
				words++
			}
		}
	}
	if words <= 2 && own(left) < leastOwn {
		return "The password is made of words that are tried first: take another, or put something of your own between them."
	}
	return ""
}

func distinct(s string) int {
	seen := map[rune]bool{}
	for _, r := range s {
		seen[r] = true
	}
	return len(seen)
}

// own counts the characters that are none of a run like 4567, of a year at the
// end, or of the signs between words.
func own(s string) (n int) {
	isSign := func(r rune) bool { return notLetter(r) && (r < '0' || r > '9') }
	s = strings.TrimRightFunc(s, isSign)
	for range 4 { // a year at the end
		s = strings.TrimRight(s, " ")
		s = strings.TrimSuffix(s, lastDigit(s))
	}
	for _, run := range []string{"01234567890", "09876543210", "abcdefghijklmnopqrstuvwxyz"} {
		for size := min(len(run), len(s)); size >= 3; size-- {
			for i := 0; i+size <= len(run); i++ {
				s = strings.ReplaceAll(s, run[i:i+size], " ")
			}
		}
	}
	for _, r := range s {
		if !notLetter(r) || r >= '0' && r <= '9' {
			n++
		}
	}
	return n
}

// lastDigit is the digit that a text ends in; empty: none.
func lastDigit(s string) string {
	if n := len(s); n > 0 && s[n-1] >= '0' && s[n-1] <= '9' {
		return s[n-1:]
	}
	return ""
}

func notLetter(r rune) bool { return r < 'a' || r > 'z' && r < 0x80 }
