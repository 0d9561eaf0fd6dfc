package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestAccountCommands(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	at := "--database=" + dir
	if status, _, stderr := program(t, "fleet", "load", at, fleetFile); status != 0 {
		t.Fatal(stderr)
	}
	file := func(words string) string {
		path := filepath.Join(t.TempDir(), "password")
		if err := os.WriteFile(path, []byte(words), 0o600); err != nil {
			t.Fatal(err)
		}
		return "--password-file=" + path
	}
	_, first, _ := program(t, "account", "first", at, "--base-url=https://clocks.example.org/")
	_, second, _ := program(t, "account", "first", at)
	if !strings.HasPrefix(first, "https://clocks.example.org/first/") || !strings.HasPrefix(second, "http://127.0.0.1:8080/first/") {
		t.Errorf("first %q, then %q", first, second)
	}
	good := file("larch mortar 61 plinth\r\n")
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"account", "set", "nobody", at, good}, "no person"},
		{[]string{"account", "set", "ada", at, file("short")}, "12 or more"},
		{[]string{"account", "set", "ada", at, file("wintergarth1999")}, "tried first"},
		{[]string{"account", "set", "ada", at, "--password-file=nowhere"}, "nowhere"},
		{[]string{"account", "set", "ada", at}, "--password-file"},
		{[]string{"account", "first", at, "--base-url=clocks"}, "--base-url"},
	} {
		status, stdout, stderr := program(t, c.args...)
		if status == 0 || !strings.Contains(stderr, c.want) || strings.Contains(stdout+stderr, "larch") {
			t.Errorf("%v: status %d, %q", c.args, status, stderr)
		}
	}
	if status, out, stderr := program(t, "account", "set", "ada", at, good, "--conservator"); status != 0 || !strings.Contains(out, "can log in as ada") {
		t.Fatal(stderr)
	}
	if status, _, stderr := program(t, "account", "first", at); status == 0 || !strings.Contains(stderr, "runs the fleet already") {
		t.Errorf("a second first conservator: %d, %q", status, stderr)
	}
	if _, out, _ := program(t, "account", "list", at); out != "ada: can log in, runs the fleet\n" {
		t.Errorf("the list says %q", out)
	}
}

// The list of who was erased is printed, and erases again whom a backup, or the
// fleet file of before, brings back.
func TestAccountErased(t *testing.T) {
	dir := t.TempDir()
	at := "--database=" + filepath.Join(dir, "data")
	if status, _, stderr := program(t, "fleet", "load", at, fleetFile); status != 0 {
		t.Fatal(stderr)
	}
	if status, out, stderr := program(t, "account", "erased", at); status != 0 || out != "" {
		t.Errorf("before: status %d, %q, %s", status, out, stderr)
	}
	list := filepath.Join(dir, "list")
	write := func(words string) {
		if err := os.WriteFile(list, []byte(words), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	const line = "{\"person\":\"ada\",\"number\":7,\"at\":\"2026-11-25T10:00:00Z\"}\n"
	write(line)
	for _, want := range []string{"Of 1 person on the list, 1 had", "Of 1 person on the list, 0 had"} {
		if status, out, stderr := program(t, "account", "erased", at, "--file="+list); status != 0 || !strings.Contains(out, want) {
			t.Errorf("status %d, %q, %s; want %q", status, out, stderr, want)
		}
	}
	if _, out, _ := program(t, "account", "erased", at); out != line {
		t.Errorf("the list is %q, want %q", out, line)
	}
	if _, out, _ := program(t, "fleet", "print", at); strings.Contains(out, `"ada"`) {
		t.Error("the fleet still has ada")
	}
	if status, _, stderr := program(t, "fleet", "load", at, fleetFile); status == 0 || !strings.Contains(stderr, "was erased on 25 Nov 2026") {
		t.Errorf("the file of before: status %d, %s", status, stderr)
	}
	write(line + "ned\n")
	if status, _, stderr := program(t, "account", "erased", at, "--file="+list); status == 0 || !strings.Contains(stderr, "line 2 of the list") {
		t.Errorf("a torn list: status %d, %s", status, stderr)
	}
}
