package mail

import (
	"bytes"
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"fmt"
	"strings"
	"testing"

	"github.com/emersion/go-msgauth/dkim"

	"endshake/schedule"
)

// pkcs8 is a key as a keeper would have it in a file.
func pkcs8(t *testing.T, key any) []byte {
	t.Helper()
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der})
}

// record is what the domain publishes for a key (RFC 6376 3.6.1, RFC 8463 4.2).
func record(t *testing.T, key crypto.Signer) string {
	t.Helper()
	if k, ok := key.Public().(ed25519.PublicKey); ok {
		return "v=DKIM1; k=ed25519; p=" + base64.StdEncoding.EncodeToString(k)
	}
	der, err := x509.MarshalPKIXPublicKey(key.Public())
	if err != nil {
		t.Fatal(err)
	}
	return "v=DKIM1; k=rsa; p=" + base64.StdEncoding.EncodeToString(der)
}

// Every kind of letter, signed, is verified by go-msgauth, which had no part in
// the signing; and no longer once a word, a header or a second From is changed.
func TestSignatures(t *testing.T) {
	long, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	_, short, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	for what, key := range map[string]crypto.Signer{"RSA": long, "Ed25519": short} {
		d, err := NewDKIM("example.org", "clocks2026", pkcs8(t, key))
		if err != nil {
			t.Fatal(err)
		}
		published := record(t, key)
		options := &dkim.VerifyOptions{LookupTXT: func(name string) ([]string, error) {
			if name != "clocks2026._domainkey.example.org" {
				return nil, fmt.Errorf("%s was looked up", name)
			}
			return []string{published}, nil
		}}
		valid := func(raw []byte) error {
			all, err := dkim.VerifyWithOptions(bytes.NewReader(raw), options)
			if err == nil && len(all) != 1 {
				err = fmt.Errorf("%d signatures", len(all))
			}
			if err == nil {
				err = all[0].Err
			}
			return err
		}
		c := answeringComposer()
		c.DKIM = d
		for name, l := range samples() {
			n, _ := composeBy(t, c, l)
			if err := valid(n.Raw); err != nil {
				t.Errorf("%s, %s: %v\n%s", what, name, err, n.Raw[:min(len(n.Raw), 1500)])
			}
			if again, err := c.Compose(l, sampleID, sampleNow); err != nil || !bytes.Equal(again.Raw, n.Raw) {
				t.Errorf("%s, %s: signed twice it is not the same (%v)", what, name, err)
			}
			for change, with := range map[string][2]string{
				"a word": {"If a weight", "If no weight"}, "the subject": {"\r\nSubject: ", "\r\nSubject: Not "}, "the list's link": {"/decline/", "/accept/"},
				"a second From": {"\r\nFrom: ", "\r\nFrom: x@example.net\r\nFrom: "}, "the answers": {"\r\nReply-To: ", "\r\nReply-To: x@example.net, "},
			} {
				changed := bytes.Replace(n.Raw, []byte(with[0]), []byte(with[1]), 1)
				if bytes.Equal(changed, n.Raw) {
					continue
				}
				if valid(changed) == nil {
					t.Errorf("%s, %s: still valid with %s changed", what, name, change)
				}
			}
		}
		told, err := c.Held(HeldReply{Person: schedule.Person{Slug: "ned", Name: "Ned Sallowby", Email: "ned@example.org"}, To: "answers@clocks.example.org",
			Key: "k", Why: "it asks a question", When: "25 Nov 2026"}, sampleID, sampleNow)
		if err == nil {
			err = valid(told.Raw)
		}
		if err != nil {
			t.Errorf("%s, that a reply is held: %v\n%s", what, err, told.Raw)
		}
		trial, err := c.Trial("ned@example.org", sampleID, sampleNow)
		if err == nil {
			err = valid(trial.Raw)
		}
		if err != nil {
			t.Errorf("%s, a trial letter: %v\n%s", what, err, trial.Raw)
		}
		n, _ := composeBy(t, c, sampleWinding())
		loose := bytes.ReplaceAll(n.Raw, []byte("\r\nSubject: "), []byte("\r\nSubject:   "))
		if err := valid(append(loose, "\r\n\r\n"...)); err != nil {
			t.Errorf("%s: white space that a relay may change broke it: %v", what, err)
		}
	}
}

func TestNewDKIMRefuses(t *testing.T) {
	good, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	curve, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		domain, selector string
		key              []byte
		want             string
	}{
		{"example.org", "s", pkcs8(t, good), ""},
		{"example", "s", pkcs8(t, good), "domain"},
		{"example.org; x=1", "s", pkcs8(t, good), "domain"},
		{"bücher.example", "s", pkcs8(t, good), "ASCII"},
		{"example.org", "", pkcs8(t, good), "selector"},
		{"example.org", "a b", pkcs8(t, good), "selector"},
		{"example.org", "s", []byte("secret"), "openssl genpkey"},
		{"example.org", "s", pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: []byte("x")}), "cannot be read"},
		{"example.org", "s", pem.EncodeToMemory(&pem.Block{Type: "RSA PRIVATE KEY", Bytes: x509.MarshalPKCS1PrivateKey(good)}), "PKCS #8"},
		{"example.org", "s", pkcs8(t, curve), "RSA or Ed25519"},
	} {
		_, err := NewDKIM(tc.domain, tc.selector, tc.key)
		if tc.want == "" && err != nil || tc.want != "" && (err == nil || !strings.Contains(err.Error(), tc.want) || strings.Contains(err.Error(), "secret")) {
			t.Errorf("%q, %q: %v, want %q", tc.domain, tc.selector, err, tc.want)
		}
	}
	if _, err := (DKIM{Key: good}).sign([]byte("From: x\r\n"), sampleNow); err == nil {
		t.Error("signed what has no body")
	}
}

// The address for answers must leave room for what stands behind its name.
func TestAnswersAddress(t *testing.T) {
	for answers, want := range map[string]string{
		"": "", "answers@clocks.example.org": "", "a_b-c@example.org": "",
		"nobody": "cannot be used", "a@example.org, b@example.org": "cannot be used", strings.Repeat("a", 21) + "@example.org": "at most 20",
		"a+b@example.org": "letters, digits", `"a b"@example.org`: "letters, digits",
	} {
		c := Composer{From: "clocks@example.org", Answers: answers}
		err := c.Check()
		if want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
			t.Errorf("%q: %v, want %q", answers, err, want)
		}
	}
	// Without it, and without a token that can stand in an address, answers go to
	// who writes.
	l := sampleWinding()
	if n, got := compose(t, l); n.From != "clocks@example.org" || got.head.Get("Reply-To") != "" || strings.Contains(got.text, "with one word") || !strings.Contains(squeeze(got.text), "it goes to Clock Care") {
		t.Errorf("from %q, answers to %q", n.From, got.head.Get("Reply-To"))
	}
	for i := range l.Passes {
		l.Passes[i].Token = "x> y"
	}
	n, err := answeringComposer().Compose(l, sampleID, sampleNow)
	if got := read(t, n.Raw); err != nil || got.head.Get("Reply-To") != "" || got.head.Get("List-Unsubscribe") != "" || strings.Contains(got.html, "x> y") {
		t.Errorf("a token that is none is used: %v", got.head)
	}
}
