package schedule

import (
	"testing"
	"unicode"
	"unicode/utf8"
)

func TestVisible(t *testing.T) {
	for _, tc := range [][3]string{
		{"plain", "Corn hall clock", "Corn hall clock"},
		{"line breaks", "Hall\r\nBcc: x\u2028y\u0085z", "Hall Bcc: x y z"},
		{"NUL and C1", "a\x00b\u0080c", "a b c"},
		{"override", "Hall\u202ekcolc", "Hallkcolc"},
		{"isolates and marks", "\u2066Hall\u2069\u200e\u061c", "Hall"},
		{"zero width", "H\u200ba\u2060l\ufeffl\u00ad", "Hall"},
		{"tags", "Hall\U000e0041\U000e007f", "Hall"},
		{"joiner in Latin", "Ha\u200dll\u200c", "Hall"},
		{"joiner in Persian", "\u0645\u06cc\u200c\u0631\u0648\u062f", "\u0645\u06cc\u200c\u0631\u0648\u062f"},
		{"joiner in an emoji", "\U0001f468\u200d\U0001f527", "\U0001f468\u200d\U0001f527"},
		{"joiners in a row", "\U0001f468\u200d\u200d\U0001f527", "\U0001f468\U0001f527"},
		{"invalid", "Hall\xff", "Hall\uFFFD"},
		{"spaces", "  a \t\u00a0 b ", "a b"},
		{"nothing", "\u200b", ""},
	} {
		if got := Visible(tc[1]); got != tc[2] {
			t.Errorf("%s: Visible(%q) = %q, want %q", tc[0], tc[1], got, tc[2])
		}
	}
}

func FuzzVisible(f *testing.F) {
	f.Add("Hall\r\nBcc: \u202ex\u200d")
	f.Add("\ufffd\u200d\u2003\ufffd") // a joiner before a wide space
	f.Fuzz(func(t *testing.T, s string) {
		got := Visible(s)
		if !utf8.ValidString(got) {
			t.Fatalf("Visible(%q) = %q, which is no UTF-8", s, got)
		}
		for _, r := range got {
			if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) && r != '\u200c' && r != '\u200d' {
				t.Fatalf("Visible(%q) holds %q", s, r)
			}
		}
		if again := Visible(got); again != got {
			t.Fatalf("Visible(%q) = %q, and of that %q", s, got, again)
		}
	})
}
