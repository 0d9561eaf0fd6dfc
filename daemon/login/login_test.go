package login

import (
	"context"
	"encoding/base32"
	"errors"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/trustelem/zxcvbn/frequency"
)

func TestWeakness(t *testing.T) {
	around := []string{"Ada Merewold", "ada@clocks.example.org", "Corn Hall"}
	for _, c := range []struct {
		password, want string // empty: it may be taken
	}{
		{"", "has 0 characters"},
		{"elevenchars", "has 11 characters"},
		{"larch mortar 61 plinth", ""},
		{"Treppenhäuser im Nebel", ""},
		{"Kä7 " + strings.Repeat("larch mortar 61 plinth ", 5) + "Öl 9 x", ""},
		{strings.Repeat("ö1x- ", 25), "tried first"}, // the same again and again
		{strings.Repeat("a1x- b", 22), "no more than 128"},
		{"aaaaaaaaaaaaaaaa", "over and over"},
		{"121212121212121", "over and over"},
		{"passwordpassword", "tried first"},
		{"Password123456!", "tried first"},
		{"qwertyuiop1234", "tried first"},
		{"Welcome2026!!!", "tried first"},
		{"1234567890123", "tried first"},
		{"abcdefghijklmnop", "tried first"},
		{"EndshakeClock1", "tried first"},
		{"adamerewold1987", "tried first"},
		{"cornhall-clocks-2026", "tried first"},
		{"corn hall clock tower", "tried first"},
		{"M3rew0ld-Merewold", "tried first"},
		{"correct horse battery staple", "tried first"}, // XKCD 936, known to everybody
		{"p4ssw0rd p4ssw0rd", "tried first"},
		{"1qaz2wsx3edc4rfv", "tried first"},
		{"larch mortar plinth gable", ""},
		{"unfrequented oblong vinegar", ""},
		{"83920174652918", ""}, // no rule of what it is made of
		{"83920x17465y2918q", ""},
	} {
		got := Weakness(c.password, around...)
		if (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
			t.Errorf("Weakness(%q) = %q, want %q", c.password, got, c.want)
		}
	}
}

// The three thousand passwords most often taken, of the list that zxcvbn carries
// (M. Burnett, ten million passwords, 2015), are all refused (OWASP ASVS 5.0.0,
// 6.2.4), and what people make of them to reach the length; so are those that head
// every published list (UK NCSC, top 100,000, 2019, from memory).
func TestCommonPasswords(t *testing.T) {
	list := frequency.FrequencyLists["passwords"]
	if len(list) < 10000 {
		t.Fatalf("the list has %d passwords", len(list))
	}
	for _, known := range []string{"123456", "123456789", "qwerty", "password", "111111", "abc123", "iloveyou", "1q2w3e4r5t", "dragon", "monkey"} {
		if !slices.Contains(list, known) {
			t.Errorf("%q is not on the list", known)
		}
	}
	for i, w := range list[:3000] {
		if Weakness(w) == "" {
			t.Errorf("%q, no. %d of all, may be taken", w, i+1)
		}
		if i%10 > 0 { // each tenth: it takes its time
			continue
		}
		for _, made := range []string{w + w + w + w, w + " " + w + " " + w + " " + w, strings.ToUpper(w) + "123456789012"} {
			if len([]rune(made)) >= Least && Weakness(made) == "" {
				t.Errorf("%q, made of no. %d, may be taken", made, i+1)
			}
		}
	}
}

func FuzzWeakness(f *testing.F) {
	f.Add("larch mortar 61 plinth", "Ada Merewold")
	f.Add("4@8({[<36#&!1|0$5+7%2z@@@@@@@@@@", "")
	f.Add("\xff\xfe\x00 broken utf-8", "\xff")
	f.Fuzz(func(t *testing.T, password, around string) {
		why := Weakness(password, around)
		if strings.ContainsAny(why, "\n\r") {
			t.Errorf("not one line: %q", why)
		}
		if n := len([]rune(password)); (n < Least || n > Most) && why == "" {
			t.Errorf("%d characters may be taken", n)
		}
	})
}

func TestPasswords(t *testing.T) {
	p, ctx := Weak(), context.Background()
	hash, err := p.Hash(ctx, "larch mortar 61 plinth")
	if err != nil || !strings.HasPrefix(hash, "$argon2id$v=19$m=16,t=1,p=1$") {
		t.Fatal(hash, err)
	}
	for _, c := range []struct {
		hash, password string
		want           bool
	}{
		{hash, "larch mortar 61 plinth", true}, {hash, "larch mortar 61 plinth ", false}, {hash, "", false},
		{"", "larch mortar 61 plinth", false}, {"", "", false},
		{hash, strings.Repeat("x", 1<<20), false},
	} {
		if ok, err := p.Match(ctx, c.hash, c.password); ok != c.want || err != nil {
			t.Errorf("Match(%.20q, %.20q) = %v, %v", c.hash, c.password, ok, err)
		}
	}
	if _, err := p.Match(ctx, "no hash", "x"); err == nil {
		t.Error("a broken hash is no error")
	}
	// The usual strength: RFC 9106's second choice.
	if !strings.HasPrefix(New().none, "$argon2id$v=19$m=65536,t=3,p=4$") {
		t.Error(New().none)
	}
}

// No more than two are at work, and who waits can leave.
func TestPasswordsTakeTurns(t *testing.T) {
	p := Weak()
	for range atOnce {
		if _, err := p.sit(context.Background()); err != nil {
			t.Fatal(err)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := p.Match(ctx, "", "x"); !errors.Is(err, context.Canceled) {
		t.Errorf("a third is let in: %v", err)
	}
	for range atOnce {
		<-p.seats
	}
	var all sync.WaitGroup
	for range 20 {
		all.Go(func() {
			if _, err := p.Match(context.Background(), "", "x"); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if p.Work() != 22 {
		t.Errorf("%d were worked on", p.Work())
	}
}

// RFC 6238, appendix B, gives codes of eight digits for SHA-1; a code of six is
// the end of it.
func TestCodesOfRFC6238(t *testing.T) {
	secret := base32.StdEncoding.EncodeToString([]byte("12345678901234567890"))
	for _, c := range []struct {
		unix int64
		code string
	}{{59, "94287082"}, {1111111109, "07081804"}, {1111111111, "14050471"}, {1234567890, "89005924"}, {2000000000, "69279037"}, {20000000000, "65353130"}} {
		at, six := time.Unix(c.unix, 0), c.code[2:]
		if got, err := CodeAt(secret, at); err != nil || got != six {
			t.Errorf("the code at %d is %s, %v; want %s", c.unix, got, err, six)
		}
		for d, want := range map[time.Duration]bool{0: true, 30 * time.Second: true, -30 * time.Second: true, 61 * time.Second: false, -61 * time.Second: false} {
			n, ok := Step(secret, six[:3]+" "+six[3:], at.Add(d))
			if ok != want || ok && n != c.unix/30 {
				t.Errorf("%s read %v after: step %d, %v", six, d, n, ok)
			}
		}
	}
	for _, code := range []string{"", "00000", "1234567", "abcdef", "０００００0", strings.Repeat("1", 1000)} {
		if _, ok := Step(secret, code, time.Unix(59, 0)); ok {
			t.Errorf("%q is taken", code)
		}
	}
	if _, ok := Step("", "755224", time.Unix(59, 0)); ok {
		t.Error("a code without a secret is taken")
	}
	if s := NewSecret(); len(s) != 32 || s == NewSecret() {
		t.Errorf("a secret is %q", s)
	}
	if got := Address("ABC", "ada", "Town clocks"); got != "otpauth://totp/Town%20clocks:ada?algorithm=SHA1&digits=6&issuer=Town%20clocks&period=30&secret=ABC" {
		t.Error(got)
	}
}
