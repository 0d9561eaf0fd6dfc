package mail

import (
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"
)

func FuzzClean(f *testing.F) {
	for _, s := range []string{"Corn hall clock", "a\r\nBcc: x", "\u202eklat\u202c", "\x00\u0085", "a\u200db", "http:///x", "=?=?", "\xff\xfe", "é\u2028b", strings.Repeat("a ", 5000)} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got := clean(s)
		if !utf8.ValidString(got) || utf8.RuneCountInString(got) > maxField {
			t.Errorf("clean(%q) is not valid or too long", s)
		}
		bad := func(r rune) bool {
			return unicode.IsControl(r) || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 || r == 0x200b || r == 0xfeff || unicode.IsSpace(r) && r != ' '
		}
		if i := strings.IndexFunc(got, bad); i >= 0 || strings.Contains(got, "://") || strings.Contains(got, "=?") {
			t.Errorf("clean(%q) = %q lets something through", s, got)
		}
		if again := clean(got); again != got {
			t.Errorf("clean(%q) = %q, and once more %q", s, got, again)
		}
		for _, line := range strings.Split(wrap(got, textWidth), "\n") {
			if utf8.RuneCountInString(line) > textWidth && strings.Contains(strings.TrimLeft(line, "- "), " ") {
				t.Errorf("wrap leaves %q wider than %d", line, textWidth)
			}
		}
		if squeeze(wrap(got, textWidth)) != squeeze(got) {
			t.Errorf("wrap changes the words of %q", got)
		}
	})
}

func TestWrap(t *testing.T) {
	for _, tc := range []struct{ in, want string }{
		{"", "\n"},
		{"one two three", "one two\nthree\n"},
		{"- one two three", "- one\n  two\n  three\n"},
		{"  one two three", "  one\n  two\n  three\n"},
		{"a\n\nb", "a\n\nb\n"},
		{"averylongword b", "averylongword\nb\n"},
	} {
		if got := wrap(tc.in, 8); got != tc.want {
			t.Errorf("wrap(%q) = %q, want %q", tc.in, got, tc.want)
		}
	}
}

// The addresses come from RFC 5321 4.1.2 (quoted local part, address literal)
// and RFC 3492 (bücher is the usual example: xn--bcher-kva).
func TestParseAddress(t *testing.T) {
	for _, tc := range []struct{ in, want string }{
		{"a@example.org", "a@example.org"},
		{"Ada <a@example.org>", "a@example.org"},
		{`"a b"@example.org`, `"a b"@example.org`},
		{"a@bücher.example", "a@xn--bcher-kva.example"},
		{"a@[192.0.2.1]", "a@[192.0.2.1]"},
		{"", ""},
		{"nobody", ""},
		{"ü@example.org", ""},
		{"a@example.org>\r\nDATA", ""},
		{"a@exa mple.org", ""},
		{strings.Repeat("a", 250) + "@example.org", ""},
	} {
		a, err := parseAddress(tc.in)
		if tc.want == "" {
			if err == nil || strings.ContainsAny(err.Error(), "\r\n") {
				t.Errorf("parseAddress(%.40q) = %v, %v; want one sentence", tc.in, a, err)
			}
			continue
		}
		if err != nil || envelope(a) != tc.want {
			t.Errorf("parseAddress(%q) = %v, %v; want %q", tc.in, a, err, tc.want)
		}
	}
}
