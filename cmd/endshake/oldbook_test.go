package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// An old book is shown, asked about by flags, and logged by --keep alone; a second
// time it adds nothing, and what is refused keeps all of it out.
func TestOldBookCommand(t *testing.T) {
	dir := t.TempDir()
	fleet, err := os.ReadFile("../../deploy/fleet.example.json")
	if err != nil {
		t.Fatal(err)
	}
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	database := "--database=" + filepath.Join(dir, "data")
	fleetFile := file("fleet.json", strings.ReplaceAll(string(fleet), `"inCare": "2026-11-01"`, `"inCare": "2015-01-01"`))
	do := func(want int, args ...string) (string, string) {
		t.Helper()
		var out, errs strings.Builder
		if got := run(t.Context(), append(args, database), &out, &errs); got != want {
			t.Fatalf("%q answers %d, want %d: %s%s", args, got, want, out.String(), errs.String())
		}
		return out.String(), errs.String()
	}
	do(0, "fleet", "load", fleetFile)
	book := file("book.csv", "Day,Tower,Work,Bearing,Found,Attended by\n03/04/2019,Moot hall,serviced,,,N.S.\n05/04/2019,Moot hall,measured,centre-front,0.12,Ada\n")
	answers := filepath.Join(dir, "answers.json")
	out, _ := do(0, "old-book", book)
	for _, want := range []string{"2 rows give 0 entries to log; 3 questions are open", "--dates ORDER", "--column ROLE=", "Nothing is logged."} {
		if !strings.Contains(out, want) {
			t.Errorf("there is no %q in %s", want, out)
		}
	}
	said := []string{"--dates", "day-first", "--column", "reading=Found", "--unit", "mm", "--answer", "what serviced=oiled", "--save-answers", answers}
	out, _ = do(0, append([]string{"old-book", book}, said...)...)
	if !strings.Contains(out, "Moot hall clock: 1 oiled, 1 measured, 3 Apr 2019 to 5 Apr 2019") || !strings.Contains(out, "give --keep to log it") {
		t.Errorf("answered: %s", out)
	}
	if _, errs := do(1, "old-book", book, "--keep"); !strings.Contains(errs, "nothing is kept: answer the") {
		t.Errorf("kept with questions open: %s", errs)
	}
	if out, _ = do(0, "old-book", book, "--answers", answers, "--keep"); !strings.Contains(out, "Logged 2 entries from the old book.") {
		t.Errorf("kept: %s", out)
	}
	if out, _ = do(0, "old-book", book, "--answers", answers, "--keep"); !strings.Contains(out, "2 that the log has already") || !strings.Contains(out, "Logged 0 entries") {
		t.Errorf("kept again: %s", out)
	}
	bad := file("bad.csv", "date,clock,what\n2019-05-01,moot-hall,wound\n2019-02-31,moot-hall,wound\n2001-01-01,moot-hall,wound\n")
	out, errs := do(1, "old-book", bad, "--keep")
	if !strings.Contains(out, "Row 3, column A: “2019-02-31”: there is no 31 Feb 2019: mend the date.") || !strings.Contains(out, "Row 4, column A: 1 Jan 2001 is before the log") || !strings.Contains(errs, "refused in 2 rows") {
		t.Errorf("refused: %s%s", out, errs)
	}
	if out, _ = do(0, "old-book", bad, "--keep", "--leave-out"); !strings.Contains(out, "Logged 1 entry") {
		t.Errorf("left out: %s", out)
	}
	for _, args := range [][]string{{"--column", "date"}, {"--column", "date=nowhere"}, {"--answer", "dates"}, {"--sheet", "x", "--answers", bad}} {
		if _, errs := do(1, append([]string{"old-book", book}, args...)...); !strings.Contains(errs, "endshake: ") {
			t.Errorf("%q: %s", args, errs)
		}
	}
}

// The example that is shipped is read with the fleet and the answers beside it.
func TestOldBookExample(t *testing.T) {
	database := "--database=" + filepath.Join(t.TempDir(), "data")
	var out, errs strings.Builder
	if run(t.Context(), []string{"fleet", "load", "../../deploy/fleet.example.json", database}, &out, &errs) != 0 {
		t.Fatal(errs.String())
	}
	if got := run(t.Context(), []string{"old-book", "../../deploy/oldbook.example.csv", "--answers", "../../deploy/oldbook.answers.json", "--keep", database}, &out, &errs); got != 0 {
		t.Fatalf("%d: %s%s", got, out.String(), errs.String())
	}
	if !strings.Contains(out.String(), "Logged 13 entries from the old book.") {
		t.Error(out.String())
	}
}
