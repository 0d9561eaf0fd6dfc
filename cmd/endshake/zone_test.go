package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The zone of the machine is nothing that is gone by, and zones are known where the
// machine knows none.
func TestZonesOfTheMachine(t *testing.T) {
	program := buildWithFailpoints(t)
	ask := func(env ...string) string {
		t.Helper()
		c := exec.Command(program, "reckon", "timechange", "--zone", "Australia/Lord_Howe", "--from", "2026-09-30")
		c.Env = append(os.Environ(), env...)
		out, err := c.CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %v: %s", env, err, out)
		}
		return string(out)
	}
	want := ask()
	if !strings.Contains(want, "Sunday 4 Oct 2026") { // by the tz database
		t.Fatalf("it says %s", want)
	}
	empty := t.TempDir()
	for _, env := range [][]string{{"TZ=Nonsense"}, {"TZ=:/nowhere"}, {"TZ="}, {"ZONEINFO=" + empty}, {"ZONEINFO=" + filepath.Join(empty, "away")}, {"TZ=Nonsense", "ZONEINFO=" + empty}} {
		if got := ask(env...); got != want {
			t.Errorf("%v: it says %s, want %s", env, got, want)
		}
	}
	c := exec.Command(program, "serve", "--database="+t.TempDir(), "--listen=127.0.0.1:0", "--zone=Nonsense/Town")
	c.Env = append(os.Environ(), "TZ=Nonsense")
	out, err := c.CombinedOutput()
	if err == nil || !strings.Contains(string(out), "is not a known zone: use an IANA name") {
		t.Errorf("a zone that nobody knows: %v, %s", err, out)
	}
}

// A changed rule of a zone (ZONEINFO names a folder made by zic) is gone by.
func TestNewRulesAreGoneBy(t *testing.T) {
	zic := "/usr/sbin/zic"
	if at, err := exec.LookPath("zic"); err == nil {
		zic = at
	} else if _, err := os.Stat(zic); err != nil && os.Getenv("ENDSHAKE_CI") == "" {
		t.Skip("zic of the tz database is not here (Debian: libc-bin)")
	}
	dir := t.TempDir()
	rules := filepath.Join(dir, "rules")
	if err := os.WriteFile(rules, []byte("Rule L 2020 max - Mar lastSun 1:00u 1:00 S\nRule L 2020 max - Nov lastSun 1:00u 0 -\nZone Europe/London 0:00 L GMT/BST\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(zic, "-d", dir, rules).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	for env, want := range map[string]string{"": "25 Oct 2026", "ZONEINFO=" + dir: "29 Nov 2026"} {
		c := exec.Command(buildWithFailpoints(t), "reckon", "timechange", "--zone", "Europe/London", "--from", "2026-09-30")
		c.Env = append(os.Environ(), env)
		if out, err := c.CombinedOutput(); err != nil || !strings.Contains(string(out), want) {
			t.Errorf("%s: %v, it says %s; want %s", env, err, out, want)
		}
	}
}
