package main

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"endshake/schedule"
)

// What is decided by command holds in the plan that is printed and in the next, and
// goes when it is taken back.
func TestRoundDecides(t *testing.T) {
	at := "--database=" + filepath.Join(t.TempDir(), "data")
	if status, _, stderr := program(t, "fleet", "load", at, fleetFile); status != 0 {
		t.Fatal(stderr)
	}
	first := rounds(t, at)
	day := first.Days[0]
	visit := func(on schedule.Date) string { return day.Person + "," + day.Stops[0].Site + "," + on.String() }
	stop := func(r schedule.Rounds, on schedule.Date) (is, set bool) {
		for _, d := range r.Days {
			for _, s := range d.Stops {
				if d.Day == on && d.Person == day.Person && s.Site == day.Stops[0].Site {
					return true, s.Set
				}
			}
		}
		return false, false
	}
	later := day.Day.Add(3)
	work := first.Refs(day.Person, day.Stops[0].Site, day.Day)
	for _, step := range []struct {
		args            []string
		set, moved, not bool // whether it is set on the first day, on the later, and ruled out on the first
	}{
		{[]string{"--set=" + visit(day.Day), "--why=they asked"}, true, false, false},
		{nil, true, false, false},
		{[]string{"--move=" + visit(day.Day) + "," + later.String()}, false, true, true},
		{[]string{"--not=" + day.Person + ",," + day.Day.String()}, false, true, true},
		{[]string{"--lift=" + visit(day.Day)}, false, true, true},
		{[]string{"--lift=" + day.Person + ",," + day.Day.String()}, false, true, false},
		{[]string{"--lift=" + visit(later)}, false, false, false},
	} {
		r := rounds(t, append([]string{at}, step.args...)...)
		is, set := stop(r, day.Day)
		if step.moved && len(work) > 0 && !slices.Equal(r.Refs(day.Person, day.Stops[0].Site, later), work) {
			t.Errorf("after %v the work that was moved is %v, want %v", step.args, r.Refs(day.Person, day.Stops[0].Site, later), work)
		}
		if _, moved := stop(r, later); set != step.set || moved != step.moved || is && step.not {
			t.Errorf("after %v: on the first day %v, set %v, on the later %v; want %+v", step.args, is, set, moved, step)
		}
	}
	for _, tt := range []struct {
		args []string
		want string
	}{
		{[]string{"--set=" + visit(day.Day) + ",x"}, "is not understood: write person,site,date"},
		{[]string{"--move=" + visit(day.Day)}, "person,site,date,date"},
		{[]string{"--set=,moot-hall," + later.String()}, "nobody is given"},
		{[]string{"--not=,," + later.String()}, "neither a site nor a person"},
		{[]string{"--set=ada,no-such," + later.String()}, `no site "no-such"`},
		{[]string{"--set=ada,moot-hall,1999-01-01"}, "is past"},
		{[]string{"--set=ada,moot-hall,soon"}, "--set"},
		{[]string{"--lift=" + visit(later)}, "nobody has decided on"},
		{[]string{"--why=because"}, "nothing is decided"},
		{[]string{"--set=" + visit(later), "--not=" + visit(later)}, "can't be used together"},
	} {
		if status, stdout, stderr := program(t, append([]string{"round", at}, tt.args...)...); status == 0 || stdout != "" || !strings.Contains(stderr, tt.want) {
			t.Errorf("%v: status %d, %.80q, %q", tt.args, status, stdout, stderr)
		}
	}
}
