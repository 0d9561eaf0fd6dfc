package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A report is printed, or written as a PDF or as text, of a clock, an owner or all;
// what cannot be is refused with a sentence.
func TestReportCommand(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	at := "--database=" + dir
	if status, _, stderr := program(t, "fleet", "load", at, fleetFile); status != 0 {
		t.Fatal(stderr)
	}
	status, stdout, stderr := program(t, "report", at, "--clock", "moot-hall")
	if status != 0 || !strings.HasPrefix(stdout, "Condition report of ") || !strings.Contains(stdout, "WHAT WAS NOT CHECKED") ||
		!strings.Contains(stdout, "No rates are given, so no sums of money are reckoned") || !strings.Contains(stdout, "does not say that it is safe to run") {
		t.Fatalf("status %d, %q, %q", status, stdout, stderr)
	}
	rates := []string{"--sum-hour=40", "--sum-bearing=500", "--sum-currency=EUR", "--sum-source=an offer of 3 March 2026"}
	status, stdout, stderr = program(t, append([]string{"report", at}, rates...)...)
	stdout = strings.Join(strings.Fields(stdout), " ") // lines are broken where they are full
	if status != 0 || !strings.Contains(stdout, "40 EUR an hour of work on the clock and 500 EUR for the work on one bearing (source: an offer") || !strings.Contains(stdout, "THE NEXT FIVE YEARS") {
		t.Fatalf("status %d, %q, %q", status, stdout, stderr)
	}
	for _, name := range []string{"r.pdf", "r.txt"} {
		file := filepath.Join(t.TempDir(), name)
		if status, stdout, stderr := program(t, "report", at, "--out", file, "--unit", "thou"); status != 0 || stdout != "Written to "+file+"\n" {
			t.Fatalf("status %d, %q, %q", status, stdout, stderr)
		}
		data, err := os.ReadFile(file)
		if err != nil || len(data) == 0 || strings.HasSuffix(name, "pdf") != bytes.HasPrefix(data, []byte("%PDF-")) {
			t.Errorf("%s: %v, %.20q", name, err, data)
		}
		if err := os.WriteFile(file, []byte("mine"), 0o600); err != nil {
			t.Fatal(err)
		}
		status, _, stderr := program(t, "report", at, "--out", file)
		if kept, _ := os.ReadFile(file); status == 0 || !strings.Contains(stderr, "is there already") || string(kept) != "mine" {
			t.Errorf("status %d, %q: a file is written over: %.20q", status, stderr, kept)
		}
		if status, _, stderr := program(t, "report", at, "--out", file, "--over"); status != 0 {
			t.Errorf("status %d, %q", status, stderr)
		} else if data, _ := os.ReadFile(file); len(data) < 1000 {
			t.Errorf("it is not put in its place: %.20q", data)
		}
	}
	for _, tt := range []struct {
		args []string
		want string
	}{
		{[]string{"--clock", "nowhere"}, `no clock "nowhere"`},
		{[]string{"--owner", "nobody"}, `nobody "nobody" who owns a clock`},
		{[]string{"--owner", "ada", "--clock", "moot-hall"}, "give one of them"},
		{[]string{"--from", "3 March"}, "--from"},
		{[]string{"--until", "2999-01-01"}, "ahead of the data"},
		{[]string{"--from", "2020-02-02", "--until", "2020-02-01"}, "turn them round"},
		{[]string{"--from", "2999-01-01"}, "after today"},
		{[]string{"--out", filepath.Join(dir, "nowhere", "r.pdf")}, "--out: "},
		{[]string{"--out", filepath.Join(dir, "nowhere", "r.pdf")}, "there is no such folder"},
		{[]string{"--over"}, "add --out"},
		{[]string{"--sum-hour", "much"}, `"much" must be a number like 45`},
		{[]string{"--out", "r.docx"}, "must end in .pdf or .txt"},
		{[]string{"--sum-hour=-1"}, "--sum-hour"},
		{[]string{"--sum-hour=NaN", "--sum-currency=EUR", "--sum-source=x"}, "--sum-hour"},
		{[]string{"--sum-bearing=9"}, "--sum-currency"},
		{[]string{"--sum-bearing=9", "--sum-currency=EUR"}, "--sum-source"},
	} {
		if status, stdout, stderr := program(t, append([]string{"report", at}, tt.args...)...); status == 0 || stdout != "" || !strings.Contains(stderr, tt.want) {
			t.Errorf("%v: status %d, %q, %q", tt.args, status, stdout, stderr)
		}
	}
}
