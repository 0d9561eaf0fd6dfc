package mail

import (
	"mime"
	"net/mail"
	"strings"
)

// envelope is the address as MAIL and RCPT want it, without angle brackets.
func envelope(a *mail.Address) string {
	bare := mail.Address{Address: a.Address}
	return strings.TrimSuffix(strings.TrimPrefix(bare.String(), "<"), ">")
}

// mailbox is a name and an address as From, To and Reply-To hold them. A name
// beyond ASCII goes in base64: net/mail's own quoted form leaves a backslash as it
// is, which RFC 2047, section 5 (3) forbids beside an address.
func mailbox(name, address string) string {
	a := mail.Address{Address: address}
	if name == "" || plainASCII(name) {
		a.Name = name
		return a.String()
	}
	return mime.BEncoding.Encode("utf-8", name) + " " + a.String()
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
