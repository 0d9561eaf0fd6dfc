package main

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"os"
	"path/filepath"
	"strings"
	"testing"

	sink "endshake/daemon/mail"
)

// The trial letter goes out at once, with no database, and one sentence at the
// end says so; a failure is one sentence too, and a status of 1.
func TestMailTest(t *testing.T) {
	t.Chdir(t.TempDir())
	post := sink.NewSink(10)
	addr, err := post.Start("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer post.Stop(context.Background())
	status, out, stderr := program(t, "mail", "test", "ada@example.org", "--smtp=smtp://"+addr, "--mail-from=Clock desk <desk@example.org>")
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if status != 0 || stderr != "" || !strings.HasPrefix(lines[len(lines)-1], "The mail server has taken the letter to ada@example.org") || !strings.Contains(out, "C: RCPT TO:<ada@example.org>") {
		t.Errorf("status %d, %q\n%s", status, stderr, out)
	}
	if got := post.Arrivals(); len(got) != 1 || got[0].To[0] != "ada@example.org" {
		t.Errorf("arrived: %+v", got)
	}
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	pemFile := filepath.Join(t.TempDir(), "dkim.pem")
	if err := os.WriteFile(pemFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
	// As the daemon would: signed, and with the ways back of every letter.
	status, out, stderr = program(t, "mail", "test", "ada@example.org", "--smtp=smtp://"+addr, "--mail-from=desk@example.org", "--answers=answers@clocks.example.org",
		"--dkim-domain=example.org", "--dkim-selector=clocks2026", "--dkim-key="+pemFile)
	if got := post.Arrivals(); status != 0 || stderr != "" || len(got) != 2 || !strings.HasPrefix(got[1].From, "answers+bounce-") ||
		!strings.Contains(string(got[1].Raw), "\r\nReply-To: <answers+trial@clocks.example.org>\r\n") || !strings.Contains(string(got[1].Raw), "DKIM-Signature: v=1; a=ed25519-sha256; c=relaxed/relaxed; d=example.org; s=clocks2026;") {
		t.Errorf("signed: status %d, %q\n%s\n%+v", status, stderr, out, got)
	}
	if left, err := os.ReadDir("."); err != nil || len(left) != 0 {
		t.Errorf("it left %v behind, %v", left, err)
	}
	secret := filepath.Join(t.TempDir(), "password")
	if err := os.WriteFile(secret, []byte("h1dden word\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for what, args := range map[string][]string{
		"no such server":     {"--smtp=smtp://127.0.0.1:1", "--mail-from=desk@example.org"},
		"no login is taken":  {"--smtp=smtp://desk@" + addr, "--smtp-password-file=" + secret, "--mail-from=desk@example.org"},
		"no such reader":     {"--smtp=smtp://" + addr, "--mail-from=desk"},
		"an address of what": {"--smtp=http://" + addr, "--mail-from=desk@example.org"},
		"no server":          {"--mail-from=desk@example.org"},
		"half a signature":   {"--smtp=smtp://" + addr, "--mail-from=desk@example.org", "--dkim-domain=example.org"},
		"no key":             {"--smtp=smtp://" + addr, "--mail-from=desk@example.org", "--dkim-domain=example.org", "--dkim-selector=a", "--dkim-key=none"},
		"no answers":         {"--smtp=smtp://" + addr, "--mail-from=desk@example.org", "--answers=nowhere"},
		"no password file":   {"--smtp=smtp://" + addr, "--smtp-password-file=none", "--mail-from=desk@example.org"},
	} {
		status, out, stderr := program(t, append([]string{"mail", "test", "ada@example.org"}, args...)...)
		if status != 1 || strings.Count(stderr, "\n") != 1 || strings.Contains(out+stderr, "h1dden") {
			t.Errorf("%s: status %d, %q\n%s", what, status, stderr, out)
		}
	}
}
