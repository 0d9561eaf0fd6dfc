package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"

	"endshake/db"
	"endshake/db/dbtest"
)

// movePoints are the moments of a move at which the process is killed, and at
// which hit of them: of a table, or of ten rows of one.
var movePoints = []string{"M01 made:1", "M02 marked:1", "M03 emptied:1", "M04 before a table:1", "M04 before a table:12", "M05 amid a table:1", "M05 amid a table:5",
	"M06 a table is there:3", "M06 a table is there:29", "M07 numbers go on:1", "M08 all are there:1", "M09 compared one:9", "M10 compared:1"}

// TestMoveKilled kills a move at each of its points (P12): the source is as it was,
// the target is opened by nothing but another move, and that one is whole. Killed
// before it marks the target it has put nothing there; killed after it has taken
// the mark off, everything.
func TestMoveKilled(t *testing.T) {
	program := buildWithFailpoints(t)
	sqlite, postgres := filledForMove(t, dbtest.SQLite), filledForMove(t, dbtest.Postgres)
	for _, way := range []struct {
		name, from string
		fresh      func(testing.TB) string
	}{{"sqlite to postgres", sqlite, dbtest.Postgres}, {"postgres to sqlite", postgres, dbtest.SQLite}} {
		t.Run(way.name, func(t *testing.T) {
			before := auditHead(t, way.from)
			for _, point := range movePoints {
				to := way.fresh(t)
				killMove(t, program, way.from, to, point)
				s, err := db.Open(t.Context(), to)
				marked := err != nil && strings.Contains(err.Error(), "is not whole, for a move into it")
				if err == nil {
					s.Close()
				}
				if marked == strings.HasPrefix(point, "M01") {
					t.Errorf("%s: the target is marked: %v (%v)", point, marked, err)
				}
				if out, err := exec.Command(program, "move", "--from", way.from, "--to", to).CombinedOutput(); err != nil || strings.Contains(string(out), "NOT THE SAME") {
					t.Errorf("%s: the second move ends with %v: %s", point, err, out)
				}
				if after := auditHead(t, to); after != before {
					t.Errorf("%s: the audit ends with %s, want %s", point, after, before)
				}
			}
			to := way.fresh(t)
			killMove(t, program, way.from, to, "M11 done:1")
			if after := auditHead(t, to); after != before || auditHead(t, way.from) != before {
				t.Errorf("killed at the end: the audit ends with %s, that of the source with %s, want %s", after, auditHead(t, way.from), before)
			}
			t.Logf("%d kills", len(movePoints)+1)
		})
	}
}

// killMove runs a move until it is killed at a point.
func killMove(t *testing.T, program, from, to, point string) {
	t.Helper()
	killCommand(t, program, point, "move", "--from", from, "--to", to)
}

// killCommand runs a command until it is killed at a point.
func killCommand(t *testing.T, program, point string, args ...string) {
	t.Helper()
	cmd := exec.Command(program, args...)
	cmd.Env = append(os.Environ(), "ENDSHAKE_FAILPOINT="+point)
	out, err := cmd.CombinedOutput()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
		t.Fatalf("%s: %s was not killed: %v\n%s", point, args[0], err, out)
	}
}

// filledForMove is a database with something in every table.
func filledForMove(t *testing.T, fresh func(testing.TB) string) string {
	t.Helper()
	address := fresh(t)
	s, err := db.Open(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, _, err := s.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	dbtest.Fill(t, s)
	return address
}

// auditHead is the hash of the last row of a sound audit, and how many rows there
// are in the log.
func auditHead(t *testing.T, address string) string {
	t.Helper()
	s, err := db.OpenExisting(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	c, err := s.CheckAudit(t.Context(), dbtest.Day)
	if err != nil || !c.Sound() {
		t.Fatalf("the audit of %s: %+v, %v", address, c, err)
	}
	log, err := s.Log(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	sizes := map[string]int{}
	for clock := range log {
		sizes[clock] = len(log[clock])
	}
	return fmt.Sprint(c.Head, sizes)
}
