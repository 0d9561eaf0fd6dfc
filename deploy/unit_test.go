package deploy_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// The unit is right in systemd's own eyes, and leaves open no more than its head
// says.
func TestUnit(t *testing.T) {
	analyze := tool(t, "systemd-analyze", "systemd")
	unit := read(t, "endshake.service")
	if got := find(unit, `(?m)^ExecStart=(.*)$`); !slices.Equal(got, []string{"/usr/local/bin/endshake serve"}) {
		t.Fatalf("ExecStart = %q", got)
	}
	// The check wants a program that is there.
	file := filepath.Join(t.TempDir(), "endshake.service")
	changed := strings.Replace(unit, "/usr/local/bin/endshake serve", built(t)+" serve", 1)
	if err := os.WriteFile(file, []byte(changed), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := run(t, analyze, "verify", file); err != nil || strings.Contains(out, "endshake.service:") {
		t.Errorf("systemd-analyze verify: %v\n%s", err, out)
	}
	// systemd calls an exposure up to 2.0 "OK"; the threshold is in tenths.
	out, err := run(t, analyze, "security", "--offline=true", "--threshold=20", file)
	if err != nil {
		t.Errorf("systemd-analyze security: %v\n%s", err, out)
	}
	said := find(unit, `(?m)^#   Overall exposure level: ([\d.]+)$`)
	got := find(out, `Overall exposure level for endshake.service: ([\d.]+)`)
	by, err := run(t, analyze, "--version")
	if err != nil || len(said) != 1 || len(got) != 1 {
		t.Fatalf("the figure is %q in the unit, %q by systemd-analyze: %v", said, got, err)
	}
	// Each systemd weighs a little otherwise: the figure is that of one.
	if version := find(unit, `by systemd (\d+) \(`); len(version) == 1 && strings.HasPrefix(by, "systemd "+version[0]+" ") && said[0] != got[0] {
		t.Errorf("the unit says that its exposure is %s, systemd-analyze that it is %s", said[0], got[0])
	}
}

// The user of the unit is the one that is made for it, and owns its folder.
func TestUser(t *testing.T) {
	sysusers := tool(t, "systemd-sysusers", "systemd")
	root := t.TempDir()
	if err := os.Mkdir(filepath.Join(root, "etc"), 0o755); err != nil {
		t.Fatal(err)
	}
	file, err := filepath.Abs("endshake.sysusers")
	if err != nil {
		t.Fatal(err)
	}
	out, err := run(t, sysusers, "--root="+root, file)
	if err != nil {
		t.Fatalf("systemd-sysusers: %v\n%s", err, out)
	}
	passwd := read(t, filepath.Join(root, "etc/passwd"))
	if user := find(read(t, "endshake.service"), `(?m)^User=(.*)$`); len(user) != 1 || !strings.HasPrefix(passwd, user[0]+":") {
		t.Errorf("the unit runs as %q, the user made is %q", user, passwd)
	}
	if !strings.Contains(passwd, ":/var/lib/endshake:/usr/sbin/nologin") {
		t.Errorf("the user can log in, or its folder is another: %q", passwd)
	}
}
