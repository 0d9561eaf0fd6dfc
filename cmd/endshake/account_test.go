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
