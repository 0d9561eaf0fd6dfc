package schedule

import (
	"fmt"
	"net/mail"
	"strings"

	"golang.org/x/net/idna"
)

// maxAddress is the longest address that fits a path (RFC 5321 4.5.3.1.3: 256
// octets with the angle brackets).
const maxAddress = 254

// ParseMail reads "Name <address>" or a bare address, and refuses one that mail
// cannot be sent to. The address comes back as it stands in an envelope, its
// domain in ASCII letters (RFC 5891).
func ParseMail(s string) (*mail.Address, error) {
	a, err := mail.ParseAddress(s)
	if err != nil {
		return nil, fmt.Errorf("mail address %.80q cannot be read: write it like name@example.org", s)
	}
	at := strings.LastIndexByte(a.Address, '@')
	local, domain := a.Address[:at], a.Address[at+1:]
	if !strings.HasPrefix(domain, "[") {
		if domain, err = idna.Lookup.ToASCII(domain); err != nil {
			return nil, fmt.Errorf("mail address %.80q has a domain that no mail can reach: check what stands after the @", s)
		}
	}
	if strings.ContainsFunc(local, func(r rune) bool { return r < ' ' || r > '~' }) {
		return nil, fmt.Errorf("mail address %.80q has letters before the @ that not every server takes: ask for one in plain letters", s)
	}
	a.Address = local + "@" + domain
	if len((&mail.Address{Address: a.Address}).String()) > maxAddress+2 {
		return nil, fmt.Errorf("mail address %.80q is longer than %d characters: check it", s, maxAddress)
	}
	return a, nil
}
