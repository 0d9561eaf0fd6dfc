package main

import (
	"context"
	"io"
	"slices"
	"strings"
	"testing"

	"endshake/schedule"
)

// A figure below nothing is taken with a space as well as with =.
func TestLogTakesFiguresBelowNothing(t *testing.T) {
	for args, want := range map[string]schedule.Detail{
		"set x --error -75 --left -0.5":         {ErrorFound: ptr(-75.0), ErrorLeft: ptr(-0.5)},
		"set x --error=-75 --left 3":            {ErrorFound: ptr(-75.0), ErrorLeft: ptr(3.0)},
		"set x --error -1:15 --left +3s":        {ErrorFound: ptr(-75.0), ErrorLeft: ptr(3.0)},
		"regulated x --nut -.25 --grams -1.5":   {NutTurns: -0.25, Grams: -1.5},
		"wound x --celsius -3 --corrector -0.5": {Celsius: ptr(-3.0), Corrector: ptr(-0.5)},
	} {
		e, err := logged(t, nil, joinSigned(strings.Fields(args))...)
		same := func(a, b *float64) bool { return (a == nil) == (b == nil) && (a == nil || *a == *b) }
		if err != nil || !same(e.ErrorFound, want.ErrorFound) || !same(e.ErrorLeft, want.ErrorLeft) || e.NutTurns != want.NutTurns ||
			e.Grams != want.Grams || !same(e.Celsius, want.Celsius) || !same(e.Corrector, want.Corrector) {
			t.Errorf("%s: %+v, %v", args, e.Detail, err)
		}
	}
	for _, args := range [][]string{
		{"set", "x", "--error", "--left", "3"}, {"set", "x", "--note", "-75"}, {"set", "x", "--error"}, {"set", "--", "--error", "-75"}, {"set", "x", "--error", "-h"},
	} {
		if got := joinSigned(args); !slices.Equal(got, args) {
			t.Errorf("%q became %q", args, got)
		}
	}
}

// The whole program takes it too: it is the database that is not there, and not
// the flag that is wrong.
func TestProgramTakesFiguresBelowNothing(t *testing.T) {
	var said strings.Builder
	status := run(context.Background(), []string{"log", "set", "nowhere", "--error", "-75", "--database", t.TempDir()}, io.Discard, &said)
	if status != 1 || !strings.Contains(said.String(), "there is no database") {
		t.Errorf("status %d: %s", status, said.String())
	}
}
