package mail

import (
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"endshake/schedule"
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
			if utf8.RuneCountInString(line) > textWidth {
				t.Errorf("wrap leaves %q wider than %d", line, textWidth)
			}
		}
		whole := func(s string) string { return strings.Join(strings.Fields(s), "") }
		if whole(wrap(got, textWidth)) != whole(got) {
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
		{"averylongword b", "averylon\ngword b\n"},
		{"- averylongword", "- averyl\n  ongwor\n  d\n"},
		{"http://example.org/ b", "http://example.org/\nb\n"},
	} {
		if got := wrap(tc.in, 8); got != tc.want {
			t.Errorf("wrap(%q) = %q, want %q", tc.in, got, tc.want)
		}
	}
}

// An address in an envelope is quoted where it must be (RFC 5321 4.1.2), and
// its domain is in ASCII letters (RFC 3492: bücher is the usual example).
func TestEnvelope(t *testing.T) {
	for in, want := range map[string]string{
		"a@example.org": "a@example.org", "Ada <a@example.org>": "a@example.org", `"a b"@example.org`: `"a b"@example.org`,
		"a@bücher.example": "a@xn--bcher-kva.example", "a@[192.0.2.1]": "a@[192.0.2.1]",
	} {
		a, err := schedule.ParseMail(in)
		if err != nil || envelope(a) != want {
			t.Errorf("%q: %v, %v; want %q", in, a, err, want)
		}
	}
}
