package main

import (
	"context"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"endshake/db"
	"endshake/schedule"
)

// A calendar is given by an address that is printed once, and all of a person's
// are taken back together.
func TestCalendarCommand(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	at, base := "--database="+dir, "--base-url=https://clocks.example.org/"
	if status, _, stderr := program(t, "fleet", "load", at, fleetFile); status != 0 {
		t.Fatal(stderr)
	}
	address := regexp.MustCompile(`(?m)^https://clocks\.example\.org/calendar/([a-z2-7]{32})\.ics$`)
	var tokens []string
	for range 2 {
		status, stdout, stderr := program(t, "calendar", at, base, "ned")
		found := address.FindStringSubmatch(stdout)
		if status != 0 || found == nil {
			t.Fatalf("status %d, %q, %q", status, stdout, stderr)
		}
		tokens = append(tokens, found[1])
	}
	if tokens[0] == tokens[1] {
		t.Error("two calendars have one token")
	}
	for _, tt := range []struct {
		args []string
		want string
	}{
		{[]string{"calendar", at, base, "nobody"}, `no person "nobody"`},
		{[]string{"calendar", at, "ned"}, "--base-url"},
		{[]string{"calendar", at, "--base-url=clocks", "ned"}, "--base-url"},
		{[]string{"calendar", at, base}, "<person>"},
	} {
		if status, stdout, stderr := program(t, tt.args...); status == 0 || !strings.Contains(stderr, tt.want) || strings.Contains(stdout, "calendar/") {
			t.Errorf("%v: status %d, %q, %q", tt.args, status, stdout, stderr)
		}
	}
	for _, want := range []string{"2 calendars of ned taken back.", "0 calendars of ned taken back."} {
		if status, stdout, stderr := program(t, "calendar", at, "ned", "--end"); status != 0 || strings.TrimSpace(stdout) != want {
			t.Errorf("status %d, %q, %q; want %q", status, stdout, stderr, want)
		}
	}
	store, err := db.OpenExisting(context.Background(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	for _, token := range tokens {
		p, err := store.Pass(t.Context(), token)
		if err != nil || p.Person != "ned" || p.Deed != schedule.Following || p.Ended.IsZero() {
			t.Errorf("%+v, %v", p, err)
		}
	}
}
