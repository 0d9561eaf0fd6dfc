package mail

import (
	"fmt"
	"net/mail"
	"strings"

	"golang.org/x/net/idna"
)

// maxAddress is the longest address that fits a path (RFC 5321 4.5.3.1.3: 256
// octets with the angle brackets).
const maxAddress = 254

// parseAddress reads "Name <addr>" or a bare address. The address comes back
// as it stands in an envelope: quoted where it must be, its domain in ASCII
// letters (RFC 5891).
func parseAddress(s string) (*mail.Address, error) {
	a, err := mail.ParseAddress(s)
	if err != nil {
		return nil, fmt.Errorf("mail address %q cannot be read: write it like name@example.org", clip(clean(s), maxName))
	}
	at := strings.LastIndexByte(a.Address, '@')
	local, domain := a.Address[:at], a.Address[at+1:]
	if !strings.HasPrefix(domain, "[") {
		if domain, err = idna.Lookup.ToASCII(domain); err != nil {
			return nil, fmt.Errorf("mail address %q has a domain that no mail can reach: check what stands after the @", clip(clean(s), maxName))
		}
	}
	a.Address = local + "@" + domain
	if !plainASCII(a.Address) {
		return nil, fmt.Errorf("mail address %q has letters before the @ that not every server takes: ask for one in plain letters", clip(clean(s), maxName))
	}
	if len(envelope(a)) > maxAddress {
		return nil, fmt.Errorf("mail address %q is longer than %d characters: check it", clip(clean(s), maxName), maxAddress)
	}
	return a, nil
}

// envelope is the address as MAIL and RCPT want it, without angle brackets.
func envelope(a *mail.Address) string {
	bare := mail.Address{Address: a.Address}
	return strings.TrimSuffix(strings.TrimPrefix(bare.String(), "<"), ">")
}

// domainOf is what stands after the last @.
func domainOf(addr string) string { return addr[strings.LastIndexByte(addr, '@')+1:] }

// plainASCII reports whether s holds printable ASCII and spaces only.
func plainASCII(s string) bool {
	for i := 0; i < len(s); i++ {
		if s[i] < ' ' || s[i] > '~' {
			return false
		}
	}
	return true
}
