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
		if status, stdout, stderr := program(t, "report", at, "--out", file, "--unit", "thou"); status != 0 || stdout != "" {
			t.Fatalf("status %d, %q, %q", status, stdout, stderr)
		}
		data, err := os.ReadFile(file)
		if err != nil || len(data) == 0 || strings.HasSuffix(name, "pdf") != bytes.HasPrefix(data, []byte("%PDF-")) {
			t.Errorf("%s: %v, %.20q", name, err, data)
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
