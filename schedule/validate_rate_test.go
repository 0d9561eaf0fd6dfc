package schedule

import (
	"math"
	"slices"
	"testing"
)

func TestRateFigures(t *testing.T) {
	const when = "2026-05-20 10:00"
	nan, inf := math.NaN(), math.Inf(1)
	set := map[string]func(*Entry, float64){
		"grams":     func(e *Entry, v float64) { e.Grams = v },
		"celsius":   func(e *Entry, v float64) { e.Celsius = &v },
		"pressure":  func(e *Entry, v float64) { e.Pressure = &v },
		"arc":       func(e *Entry, v float64) { e.Arc = &v },
		"weight":    func(e *Entry, v float64) { e.Weight = &v },
		"corrector": func(e *Entry, v float64) { e.Corrector = &v },
	}
	for field, figures := range map[string]struct{ fit, unfit []float64 }{
		"grams":     {[]float64{0, .4, -2, 500}, []float64{nan, inf, -inf, 1e6}},
		"celsius":   {[]float64{0, -30, 45}, []float64{nan, inf, -inf, 212, -274}},
		"pressure":  {[]float64{1013.25, 950, 640}, []float64{nan, inf, 0, -1, 29.92, 760e2}},
		"arc":       {[]float64{2, .75, 20}, []float64{nan, inf, 0, -2, 180}},
		"weight":    {[]float64{8, 60, 1016}, []float64{nan, inf, 0, -60, 1e6}},
		"corrector": {[]float64{0, -3, .5}, []float64{nan, inf, -inf, 3600}},
	} {
		for _, v := range figures.fit {
			if err := try(did(Regulated, when, func(e *Entry) { set[field](e, v) }), "UTC", kept()); err != nil {
				t.Errorf("%s of %v: %v", field, v, err)
			}
		}
		for _, v := range figures.unfit {
			refused(t, try(did(Regulated, when, func(e *Entry) { set[field](e, v) }), "UTC", kept()), Invalid, field, "cannot be right")
		}
	}
}

func TestUndoing(t *testing.T) {
	log := append(kept(), book(
		did(Regulated, "2026-05-02 10:00", nut(.25, 0), called("first")),
		did(Regulated, "2026-05-03 10:00", nut(.5, 0), called("second")),
		did(Regulated, "2026-05-04 10:00", undoing("second"), called("undo")),
		did(Regulated, "2026-05-05 10:00", nut(.5, 0), called("wrong")),
		did(Regulated, "2026-05-05 10:00", nut(.05, 0), called("mended"), instead("wrong", "a digit")),
	)...)
	const when = "2026-05-20 10:00"
	if err := try(did(Regulated, when, undoing("first")), "UTC", log); err != nil {
		t.Errorf("taking back the first: %v", err)
	}
	if err := try(did(Regulated, when, undoing("undo")), "UTC", log); err != nil {
		t.Errorf("doing again what was undone: %v", err)
	}
	if err := try(did(Regulated, "2026-05-04 10:00", nut(-.5, 0), undoing("second"), instead("undo", "counted")), "UTC", log); err != nil {
		t.Errorf("correcting an undoing: %v", err)
	}
	refused(t, try(did(Regulated, when, undoing("second")), "UTC", log), Conflict, "undoes", "taken back already")
	refused(t, try(did(Regulated, when, undoing("nowhere")), "UTC", log), NotFound, "undoes", "not in this clock's log")
	refused(t, try(did(Regulated, when, undoing("wrong")), "UTC", log), NotFound, "undoes", "corrected since")
	refused(t, try(did(Regulated, when, undoing("oil")), "UTC", log), Invalid, "undoes", "not a regulation")
	refused(t, try(did(Regulated, "2026-05-01 12:00", undoing("first")), "UTC", log), Invalid, "undoes", "before it was made")
	refused(t, try(did(Set, when, undoing("first")), "UTC", log), Invalid, "undoes", "only a regulation")

	// What was taken back may be corrected, as long as that is still taken back.
	if err := try(did(Regulated, "2026-05-03 09:00", nut(.05, 0), instead("second", "a digit")), "UTC", log); err != nil {
		t.Errorf("correcting what was taken back: %v", err)
	}
	refused(t, try(did(Noted, "2026-05-03 10:00", note("nothing"), instead("second", "x")), "UTC", log), Conflict, "kind", "correct the later one first")
	refused(t, try(did(Regulated, "2026-05-04 11:00", nut(.5, 0), instead("second", "x")), "UTC", log), Invalid, "at", "before it was made")
}

// Taking back holds for what was corrected since, be it twice, and the entries
// given stay as they were.
func TestUndoingFollowsCorrections(t *testing.T) {
	log := book(
		did(Regulated, "2026-05-03 10:00", nut(.5, 0), called("was")),
		did(Regulated, "2026-05-04 10:00", undoing("was"), called("undo")),
		did(Regulated, "2026-05-03 10:00", nut(.05, 0), called("is"), instead("was", "a digit")),
	)
	twice := append(slices.Clone(log), book(did(Regulated, "2026-05-03 10:00", nut(.25, 0), called("at last"), instead("is", "another")))...)
	for _, tt := range []struct {
		log   []Entry
		turns float64
		of    string
	}{{log[:2], .5, "was"}, {log, .05, "is"}, {twice, .25, "at last"}} {
		f := Facts{Clock: alone(), Site: fleetOf("UTC").Sites[0], Entries: tt.log}
		a := Assess(f, utc("2026-06-01"))
		f.Before = &a
		for _, a := range []Assessment{a, Assess(f, utc("2026-06-02"))} {
			r := a.Time.Regulations
			if len(r) != 2 || !r[0].Undone || r[0].Entry != tt.of || r[1].Undoes != tt.of || r[1].Turns != -tt.turns || r[1].Total != 0 {
				t.Errorf("%s: %+v", tt.of, r)
			}
			if _, ok := a.Time.Standing(); ok {
				t.Errorf("%s: a regulation is in force", tt.of)
			}
		}
		if got := Effective(tt.log); got[len(got)-1].Undoes != tt.of || tt.log[1].Undoes != "was" {
			t.Errorf("%s: the log that counts takes back %q; the one given %q", tt.of, got[len(got)-1].Undoes, tt.log[1].Undoes)
		}
	}
	circle := book(did(Regulated, "2026-05-01", called("a"), instead("b", "x")), did(Regulated, "2026-05-02", called("b"), instead("a", "x")), did(Regulated, "2026-05-03", undoing("a")))
	if got := Effective(circle); len(got) != 1 {
		t.Errorf("corrections in a circle: %+v", got)
	}
}
