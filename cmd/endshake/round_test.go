package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// Rounds by command, on both engines: what is late is planned, a visit that was ruled
// out by hand is not, and the day's kit names its clock.
func TestRoundCommand(t *testing.T) {
	for name, fresh := range map[string]func(testing.TB) string{"sqlite": dbtest.SQLite, "postgres": dbtest.Postgres} {
		t.Run(name, func(t *testing.T) {
			at := "--database=" + fresh(t)
			if status, _, stderr := program(t, "fleet", "load", at, fleetFile); status != 0 {
				t.Fatal(stderr)
			}
			first := rounds(t, at)
			if len(first.Days) == 0 || len(first.Notes) == 0 || !strings.Contains(first.Notes[0], "weekdays from 9 to 17") {
				t.Fatalf("%+v", first)
			}
			day := first.Days[0]
			for _, s := range day.Stops {
				if s.Why == "" || len(s.Tasks) == 0 {
					t.Errorf("%s has no reason, or nothing to do", s.Site)
				}
			}
			status, stdout, stderr := program(t, "round", at)
			if status != 0 || !strings.Contains(stdout, day.Day.Words()) || !strings.Contains(stdout, "why: ") {
				t.Errorf("status %d, %q, %q", status, stdout, stderr)
			}
			status, stdout, stderr = program(t, "round", at, "--kit="+day.Day.String())
			if status != 0 || !strings.Contains(stdout, "To take along on "+day.Day.Words()) || !strings.Contains(stdout, "Moot hall clock, from ") {
				t.Errorf("status %d, %q, %q", status, stdout, stderr)
			}
			for _, d := range first.Days { // in whatever month it is
				if status, stdout, stderr := program(t, "round", at, "--months=1", "--kit="+d.Day.String()); status != 0 || !strings.Contains(stdout, "To take along on "+d.Day.Words()) {
					t.Errorf("%s: status %d, %q, %q", d.Day, status, stdout, stderr)
				}
			}
			bar(t, at, schedule.RoundMark{Kind: schedule.BarVisit, Day: day.Day, By: "ada", At: time.Now()})
			if slices.ContainsFunc(rounds(t, at).Days, func(d schedule.RoundDay) bool { return d.Day == day.Day }) {
				t.Error("a day that was ruled out is planned")
			}
			if r := rounds(t, at, "--person=ned"); len(r.Days) != 0 || len(r.Unmet) != 0 || !slices.ContainsFunc(r.Notes, func(n string) bool { return strings.Contains(n, "goes on no rounds") }) {
				t.Errorf("somebody who goes on no rounds has %+v", r)
			}
			if _, stdout, _ := program(t, "round", at, "--person=ned"); !strings.Contains(stdout, "goes on no rounds") || strings.Contains(stdout, "is wanted") {
				t.Errorf("somebody who goes on no rounds is told %q", stdout)
			}
		})
	}
}

func rounds(t *testing.T, args ...string) (r schedule.Rounds) {
	t.Helper()
	status, stdout, stderr := program(t, append([]string{"round", "--json", "--months=12"}, args...)...)
	if err := json.Unmarshal([]byte(stdout), &r); status != 0 || err != nil {
		t.Fatalf("status %d, %v, %.300s, %s", status, err, stdout, stderr)
	}
	return r
}

// bar keeps a mark as a page does.
func bar(t *testing.T, at string, m schedule.RoundMark) {
	t.Helper()
	store, err := db.OpenExisting(t.Context(), strings.TrimPrefix(at, "--database="))
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	if err := store.MarkRound(t.Context(), m); err != nil {
		t.Fatal(err)
	}
}

// A file of ways is gone by, from a flag or from the environment.
func TestRoundWays(t *testing.T) {
	at := "--database=" + filepath.Join(t.TempDir(), "data")
	if status, _, stderr := program(t, "fleet", "load", at, fleetFile); status != 0 {
		t.Fatal(stderr)
	}
	file := filepath.Join(t.TempDir(), "ways.csv")
	if err := os.WriteFile(file, []byte("from,to,minutes,km\nmoot-hall,ferry-stairs,11,4.5\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, env := range []bool{false, true} {
		args := []string{at}
		if env {
			t.Setenv("ENDSHAKE_TRAVEL", file)
		} else {
			args = append(args, "--travel="+file)
		}
		r := rounds(t, args...)
		if d := r.Days[0]; len(d.Stops) != 2 || d.Travel != 11 || d.Km != 4.5 {
			t.Errorf("%v: %+v", env, d)
		}
	}
}

// What is mistaken is refused with what would mend it, and nothing is planned.
func TestRoundRefuses(t *testing.T) {
	at := "--database=" + filepath.Join(t.TempDir(), "data")
	if status, _, stderr := program(t, "fleet", "load", at, fleetFile); status != 0 {
		t.Fatal(stderr)
	}
	bad := filepath.Join(t.TempDir(), "bad.csv")
	if err := os.WriteFile(bad, []byte("from,to,minutes\nmoot-hall,ferry-stairs,soon\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		args []string
		want string
	}{
		{[]string{"round", at, "--months=13"}, "from 1 to 12"},
		{[]string{"round", at, "--months=0"}, "from 1 to 12"},
		{[]string{"round", at, "--person=nobody"}, `no person "nobody"`},
		{[]string{"round", at, "--kit=03/04/2027"}, "year-month-day"},
		{[]string{"round", at, "--kit=1999-01-01"}, "the first planned days are "},
		{[]string{"round", at, "--travel=/none/ways.csv"}, "--travel"},
		{[]string{"round", at, "--travel=" + bad}, "line 2: minutes"},
		{[]string{"round", at, "--speed=1000"}, "from 1 to 300"},
		{[]string{"round", at, "--speed=-1"}, "from 1 to 300"},
		{[]string{"round", at, "--speed=0"}, "0 is no speed on the way in km/h: give a number from 1 to 300"},
		{[]string{"serve", at, "--speed=0"}, "from 1 to 300"},
		{[]string{"round", at, "--person=ned", "--kit=2027-03-09"}, "goes on no rounds, so no day is planned for them: say on the page of "},
		{[]string{"serve", at, "--speed=1000"}, "from 1 to 300"},
		{[]string{"serve", at, "--travel=" + bad}, "line 2: minutes"},
	} {
		if status, stdout, stderr := program(t, tt.args...); status == 0 || stdout != "" || !strings.Contains(stderr, tt.want) {
			t.Errorf("%v: status %d, %q, %q", tt.args, status, stdout, stderr)
		}
	}
}
