package login

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base32"
	"net/url"
	"strings"
	"time"

	"github.com/pquerna/otp"
	"github.com/pquerna/otp/totp"
)

const (
	// step is how long a one-time code is shown, and slack how many steps early
	// or late it is taken: the usual of RFC 6238, sections 4.1 and 5.2.
	step  = 30
	slack = 1
	// digits of a code; what every program for them knows.
	digits = otp.DigitsSix
)

// NewSecret makes the secret of somebody's one-time codes: 160 bits in base32, as
// RFC 4226, section 4, recommends.
func NewSecret() string {
	var b [20]byte
	_, _ = rand.Read(b[:]) // ends the program rather than fail
	return base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(b[:])
}

// Step reads a one-time code, with or without spaces, and gives the time step
// that it is of; ok is false where it is of none near now. A step must be taken
// once only: see schedule.Account.
func Step(secret, code string, now time.Time) (n int64, ok bool) {
	code = strings.Join(strings.Fields(code), "")
	if secret == "" || len(code) != digits.Length() {
		return 0, false
	}
	for d := int64(-slack); d <= slack; d++ {
		at := now.Add(time.Duration(d) * step * time.Second)
		want, err := totp.GenerateCodeCustom(secret, at, totp.ValidateOpts{Period: step, Digits: digits, Algorithm: otp.AlgorithmSHA1})
		if err != nil {
			return 0, false
		}
		if subtle.ConstantTimeCompare([]byte(want), []byte(code)) == 1 {
			n, ok = at.Unix()/step, true
		}
	}
	return n, ok
}

// CodeAt is the one-time code of an instant: what a person reads off their
// telephone.
func CodeAt(secret string, at time.Time) (string, error) {
	return totp.GenerateCodeCustom(secret, at, totp.ValidateOpts{Period: step, Digits: digits, Algorithm: otp.AlgorithmSHA1})
}

// Address is what a program for one-time codes reads off a picture (the key URI
// that such programs agree on).
func Address(secret, person, service string) string {
	q := url.Values{"secret": {secret}, "issuer": {service}, "algorithm": {"SHA1"}, "digits": {"6"}, "period": {"30"}}
	return "otpauth://totp/" + url.PathEscape(service+":"+person) + "?" + strings.ReplaceAll(q.Encode(), "+", "%20")
}
