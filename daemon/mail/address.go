package mail

import (
	"net/mail"
	"strings"
)

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
