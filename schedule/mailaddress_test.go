package schedule

import (
	"strings"
	"testing"
)

// Limits: 64 octets for the local part are the server's to refuse; the whole
// path is at most 256 with its brackets (RFC 5321 4.5.3.1.3). Domains in other
// letters travel as RFC 5891 writes them.
func TestParseMail(t *testing.T) {
	long := strings.Repeat("a", 60) + "@" + strings.Repeat(strings.Repeat("b", 60)+".", 3)
	for _, tt := range []struct {
		in, address, name string // no address: refused
		sentence          string
	}{
		{in: "ann@example.org", address: "ann@example.org"},
		{in: "Ann Arkwell <ann@example.org>", address: "ann@example.org", name: "Ann Arkwell"},
		{in: "ann+clocks@example.org", address: "ann+clocks@example.org"},
		{in: `"ann a"@example.org`, address: "ann a@example.org"},
		{in: "ann@bücher.example", address: "ann@xn--bcher-kva.example"},
		{in: "ann@EXAMPLE.org", address: "ann@example.org"},
		{in: "ann@[192.0.2.1]", address: "ann@[192.0.2.1]"}, // RFC 5737
		{in: long + strings.Repeat("c", 10), address: long + strings.Repeat("c", 10)},
		{in: long + strings.Repeat("c", 20), sentence: "is longer than 254 characters"},
		{in: "", sentence: "cannot be read"},
		{in: "ann", sentence: "cannot be read"},
		{in: "ann@", sentence: "cannot be read"},
		{in: "ann@example.org, ben@example.org", sentence: "cannot be read"},
		{in: "ann@example.org\r\nBcc: x@example.org", sentence: "cannot be read"},
		{in: "ann@-example.org", sentence: "has a domain that no mail can reach"},
		{in: "ann@exa_mple.org", sentence: "has a domain that no mail can reach"},
		{in: "änn@example.org", sentence: "plain letters"},
	} {
		a, err := ParseMail(tt.in)
		if tt.address == "" {
			if err == nil || !strings.Contains(err.Error(), tt.sentence) || strings.ContainsAny(err.Error(), "\r\n") {
				t.Errorf("%q: got %v, %v; want it refused: %s", tt.in, a, err, tt.sentence)
			}
			continue
		}
		if err != nil || a.Address != tt.address || a.Name != tt.name {
			t.Errorf("%q: got %v, %v; want %s", tt.in, a, err, tt.address)
		}
	}
}

// Whatever is typed, an address that is taken stands on one line and has one @
// with something on both sides.
func FuzzParseMail(f *testing.F) {
	for _, s := range []string{"ann@example.org", "Ann <ann@example.org>", `"a@b"@example.org`, "ann@bücher.example", "@", "a@[1]"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := ParseMail(s)
		if err != nil {
			return
		}
		at := strings.LastIndexByte(a.Address, '@')
		if at < 1 || at == len(a.Address)-1 || strings.ContainsAny(a.Address, "\r\n\x00") {
			t.Errorf("%q is taken as %q", s, a.Address)
		}
	})
}
