package schedule

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

func writtenOn(when string) change { return func(e *Entry) { e.RecordedAt = utc(when) } }

// A correction takes a lock off as much as a clearing does, whatever it leaves
// as it was: its line, its reason, or the day that decides what clears it.
func TestCorrectingALock(t *testing.T) {
	cleo, ann := doneBy("cleo"), doneBy("ann")
	again := did(Inspected, "2026-11-09 10:00", ofLine("going-line", LineCheck{Strand: true}), called("again"))
	torn := LineCheck{Strand: true}
	for _, tt := range []struct {
		name string
		e    Entry
		log  []Entry
		free bool // to anybody
	}{
		{"another line", did(Inspected, "2026-11-03 10:00", ofLine("strike-line", torn), instead("strand", "slip")), []Entry{strand}, false},
		{"another reason", did(Noted, "2026-11-04 10:00", note("dust"), locking(DoNotEnter), instead("stone", "slip")), []Entry{loose}, false},
		{"another lock", did(Noted, "2026-11-04 10:00", note(loose.Note), locking(DoNotRun), instead("stone", "slip")), []Entry{loose}, false},
		{"no lock", did(Noted, "2026-11-04 10:00", note(loose.Note), instead("stone", "slip")), []Entry{loose}, false},
		{"the second of two alike", did(Inspected, "2026-11-09 10:00", found(Sound), instead("again", "slip")), []Entry{strand, again}, false},
		{"a clearing moved behind a lock", did(Noted, "2026-11-10 10:00", note("x"), clearing(DoNotRun), instead("freed", "slip")), []Entry{strand, freed, again}, false},
		{"another hour", did(Inspected, "2026-11-03 11:00", ofLine("going-line", torn), instead("strand", "slip")), []Entry{strand}, true},
		{"more seen, and locked as before", did(Inspected, "2026-11-03 10:00", ofLine("going-line", LineCheck{Strand: true, Rust: "a bloom"}), instead("strand", "slip")), []Entry{strand}, true},
		// Whoever cleared it knew nothing of what is written down now.
		{"moved before a clearing", did(Inspected, "2026-11-05 10:00", ofLine("going-line", torn), instead("again", "slip")), []Entry{strand, freed, again}, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			named, other, none := tt.e, tt.e, tt.e
			cleo(&named)
			ann(&other)
			if err := logs(named, tt.log...); err != nil {
				t.Errorf("by the conservator: %v", err)
			}
			if tt.free {
				if err := logs(none, tt.log...); err != nil {
					t.Errorf("by nobody: %v", err)
				}
				return
			}
			refused(t, logs(other, tt.log...), Conflict, "by", `"ann" is neither conservator nor clockmaker of Pump Room`)
			refused(t, logs(none, tt.log...), Invalid, "by", "say by name who")
		})
	}
}

// What is copied from an old book is taken with its lock, and flagged; it is no
// way round a lock that was logged.
func TestOldBooksAndLocks(t *testing.T) {
	stop := did(Stopped, "2026-11-03 10:05", by(ByHand), called("stop"))
	before := did(Wound, "2026-11-01", called("w"))
	for _, kind := range []EntryKind{Wound, Started} {
		refused(t, logs(did(kind, "2026-11-10", old), strand, stop), Conflict, "kind", "it must not be "+string(kind)+" while it is locked")
		if err := logs(did(kind, "2026-11-10", old), oldStrand, stop); err != nil {
			t.Errorf("%s within a lock of the old book: %v", kind, err)
		}
		refused(t, logs(did(kind, "2026-11-10"), oldStrand, stop), Conflict, "kind", "it must not be "+string(kind))
		refused(t, logs(did(kind, "2026-11-10", old), oldStrand, stop, did(Noted, "2026-11-05", note("a crack"), locking(DoNotRun))), Conflict, "kind", "it must not be")
		a := assess(roped(), book(oldStrand, stop, did(kind, "2026-11-10", old)), "2026-11-20")
		want := Capital(string(kind)) + " while locked on 10 Nov 2026 (do not run: broken strand found on 3 Nov 2026 (going line)). From the old book, it is taken as it stands."
		if len(a.Flags) != 1 || a.Flags[0] != want {
			t.Errorf("%s: %q", kind, a.Flags)
		}
		for _, log := range [][]Entry{{oldStrand, stop}, {did(kind, "2026-11-01", old), oldStrand}, {oldStrand, freed, did(kind, "2026-11-10", old)}, {loose, did(kind, "2026-11-10", old)}} {
			if a := assess(roped(), book(log...), "2026-11-20"); strings.Contains(strings.Join(a.Flags, " "), "while locked") {
				t.Errorf("%s: flagged with no lock: %q", kind, a.Flags)
			}
		}
	}
	refused(t, logs(did(Wound, "2026-11-10", old, instead("w", "slip")), before, strand), Invalid, "old", "was not copied from an old book, so its correction cannot be")
	refused(t, logs(did(Wound, "2026-10-30", old, instead("w", "slip"), doneBy("cleo")), before), Invalid, "old", "1 Nov 2026")
	if err := logs(did(Wound, "2026-10-30", old, instead("w", "slip")), did(Wound, "2026-11-01", called("w"), old)); err != nil {
		t.Errorf("an old entry corrected: %v", err)
	}
	for name, tt := range map[string]struct {
		e     Entry
		lifts bool
	}{
		"a line hung in the old book":     {did(Repaired, "2026-11-06", newLine("going-line"), old), true},
		"by the conservator":              {did(Repaired, "2026-11-06", newLine("going-line"), doneBy("cleo")), true},
		"by the keeper":                   {did(Repaired, "2026-11-06", newLine("going-line"), doneBy("ann")), false},
		"by nobody":                       {did(Repaired, "2026-11-06", newLine("going-line")), false},
		"another line, in the old book":   {did(Repaired, "2026-11-06", newLine("strike-line"), old), false},
		"another line by the conservator": {did(Repaired, "2026-11-06", newLine("strike-line"), doneBy("cleo")), false},
	} {
		if err := logs(tt.e, oldStrand); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if got := len(assess(roped(), book(oldStrand, tt.e), "2026-11-20").Locks) == 0; got != tt.lifts {
			t.Errorf("%s: lifts it %v, want %v", name, got, tt.lifts)
		}
		if len(assess(roped(), book(strand, tt.e), "2026-11-20").Locks) != 1 {
			t.Errorf("%s: it lifts one that was logged", name)
		}
	}
}

// Each reason for a lock stands until it is cleared by somebody who could know
// of it.
func TestEachReasonForALock(t *testing.T) {
	crack := did(Noted, "2026-11-05 10:00", note("a crack in the frame"), locking(DoNotRun), called("crack"))
	late := crack
	late.RecordedAt = utc("2026-11-12")
	for _, tt := range []struct {
		name string
		log  []Entry
		want string
	}{
		{"two reasons", []Entry{strand, crack}, "strand crack"},
		{"two reasons and one of the other kind", []Entry{strand, loose, crack}, "strand stone crack"},
		{"all of a kind cleared", []Entry{strand, loose, crack, freed}, "stone"},
		{"written down after it was cleared", []Entry{strand, late, freed}, "crack"},
		{"and cleared anew", []Entry{strand, late, freed, did(Noted, "2026-11-14", note("x"), clearing(DoNotRun), doneBy("cleo"))}, ""},
		{"the same damage once more", []Entry{strand, did(Inspected, "2026-11-06", ofLine("going-line", LineCheck{Strand: true}), called("again"))}, "strand"},
		{"the same damage, written down after it was cleared", []Entry{strand, did(Inspected, "2026-11-06", ofLine("going-line", LineCheck{Strand: true}), called("again"), writtenOn("2026-11-12")), freed}, "again"},
		{"an old book written down from its end", []Entry{
			did(Inspected, "2021-11-03", ofLine("going-line", LineCheck{Strand: true}), old, writtenOn("2026-11-12")),
			did(Noted, "2021-11-08", note("x"), clearing(DoNotRun), doneBy("cleo"), old, writtenOn("2026-11-10"))}, ""},
	} {
		var got []string
		for _, l := range assess(roped(), book(tt.log...), "2026-11-20").Locks {
			got = append(got, l.Entry)
		}
		if strings.Join(got, " ") != tt.want {
			t.Errorf("%s: %v, want %s", tt.name, got, tt.want)
		}
	}
	// Of a log that does not say when it was written down all counts as before.
	if got := locksOf(roped(), []Entry{strand, freed}, func(e *Entry) Date { return DateOf(e.At, time.UTC) }); len(got) != 0 {
		t.Errorf("not known when written down: %v", got)
	}
	a := assess(roped(), book(strand, loose, crack), "2026-11-20")
	subjects := map[string]string{}
	for _, x := range a.Tasks {
		if x.Kind == Locked {
			subjects[x.Subject] = x.Reason
		}
	}
	for subject, reason := range map[string]string{"do-not-run": "broken strand", "do-not-run-2": "a crack in the frame", "do-not-enter": "loose stone"} {
		if !strings.Contains(subjects[subject], reason) || !strings.Contains(a.Status, reason) || !strings.Contains(a.Tasks[0].Caution, reason) {
			t.Errorf("%s: task %q, status %q", subject, subjects[subject], a.Status)
		}
	}
	if len(subjects) != 3 || strings.Count(a.Status, "By its log it is going") != 1 {
		t.Errorf("%v, %q", subjects, a.Status)
	}
}

// No entry has a locked clock go by the log, whatever its kind and day, unless
// it is by those who may clear the lock.
func TestNothingSetsALockedClockGoing(t *testing.T) {
	stop := did(Stopped, "2026-11-01 10:05", by(ByHand), called("stop"))
	const says = "by this entry the going train would be going while the clock is locked (do not run: broken strand found on 3 Nov 2026 (going line))"
	for name, e := range map[string]Entry{
		"a start just before the lock":        did(Started, "2026-11-03 09:59"),
		"the same as from an old book":        did(Started, "2026-11-03 09:59", old),
		"a stop corrected into a note":        did(Noted, "2026-11-01 10:05", note("x"), instead("stop", "slip")),
		"a stop corrected to the other train": did(Stopped, "2026-11-01 10:05", by(ByHand), of("strike"), instead("stop", "slip")),
	} {
		refused(t, logs(e, stop, strand), Conflict, "kind", says)
		e.By = "ann"
		refused(t, logs(e, stop, strand), Conflict, "kind", says)
		e.By = "cleo"
		if err := logs(e, stop, strand); err != nil {
			t.Errorf("%s, by the conservator: %v", name, err)
		}
		e.By = ""
		for kind, log := range map[string][]Entry{"not locked": {stop}, "cleared": {stop, strand, freed}, "locked against going in": {stop, loose}} {
			if err := logs(e, log...); err != nil {
				t.Errorf("%s, %s: %v", name, kind, err)
			}
		}
	}
	for name, err := range map[string]error{
		"a lock on a clock that goes":       logs(strand),
		"a stop of it":                      logs(did(Stopped, "2026-11-04", by(ByHand)), strand),
		"a wind before it, going all along": logs(did(Wound, "2026-11-02"), strand),
		"a start that a later stop ended":   logs(did(Started, "2026-11-02"), stop, did(Stopped, "2026-11-03 09:00", by(ByHand)), strand),
		"a stop moved":                      logs(did(Stopped, "2026-11-01 10:10", by(ByHand), instead("stop", "slip")), stop, strand),
	} {
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Somebody who says to act on a line is heard, though nothing was counted.
func TestActOnALine(t *testing.T) {
	c := roped()
	c.Policies = []Policy{{Task: LineLook, Days: 365, Source: "x"}}
	act := did(Inspected, "2026-11-05", ofLine("going-line", LineCheck{}), found(Act))
	bare := act
	bare.Check = nil
	look := func(changes ...change) Entry {
		return did(Inspected, "2026-11-08", append([]change{ofLine("going-line", LineCheck{})}, changes...)...)
	}
	for name, log := range map[string][]Entry{
		"nothing counted":         {act},
		"nothing filled in":       {bare},
		"the keeper looks again":  {act, look(doneBy("ann"), found(Sound))},
		"nobody looks again":      {act, look(found(Sound))},
		"another line is hung":    {act, did(Repaired, "2026-11-08", newLine("strike-line"))},
		"the trade says the same": {act, look(doneBy("cleo"), found(Act))},
	} {
		x := taskOf(t, assess(c, book(log...), "2026-11-20"), LineLook, "going-line")
		if x.Rank != AtLimit || x.State != Late || windowOf(x) != "2026-11-05 2026-11-05 2026-11-05" || !strings.Contains(x.Next, "looked at by the clockmaker") ||
			!strings.Contains(x.Reason, "Found on 5 Nov 2026 to need action: a look by the clockmaker is due.") {
			t.Errorf("%s: %+v", name, x)
		}
		checkTask(t, name, x)
	}
	for name, log := range map[string][]Entry{
		"none":                    {look()},
		"only to be watched":      {look(found(Watch))},
		"the conservator looks":   {act, look(doneBy("cleo"), found(Sound))},
		"the clockmaker's visit":  {act, look(func(e *Entry) { e.Visit = true })},
		"a new line":              {act, did(Repaired, "2026-11-08", newLine("going-line"))},
		"said of the line before": {did(Inspected, "2019-04-01", ofLine("going-line", LineCheck{}), found(Act))},
	} {
		if x := taskOf(t, assess(c, book(log...), "2026-11-20"), LineLook, "going-line"); x.Rank == AtLimit || strings.Contains(x.Reason, "to need action") {
			t.Errorf("%s: %+v", name, x)
		}
	}
}

// Where nobody may go in, no task sends anybody there.
func TestNobodyIsSentIn(t *testing.T) {
	c := roped()
	c.Policies = []Policy{weeklyWind, {Task: Oiling, Days: 90, Source: "x"}, {Task: Inspection, Days: 365, Source: "x"}, {Task: LineLook, Days: 365, Source: "x"}}
	states := func(a Assessment) map[string]TaskState {
		out := map[string]TaskState{}
		for _, x := range a.Tasks {
			if x.Kind != Locked {
				out[fmt.Sprint(x.Kind, x.Subject)] = x.State
			}
		}
		return out
	}
	shut, free := assess(c, book(loose), "2026-11-10 12:00"), assess(c, nil, "2026-11-10 12:00")
	if fmt.Sprint(states(shut)) != fmt.Sprint(states(free)) || len(free.Tasks) < 5 {
		t.Errorf("%v, want %v", states(shut), states(free))
	}
	for _, x := range shut.Tasks {
		if (x.Next == "Ask whoever put the lock on first.") != (x.Kind != Locked) {
			t.Errorf("%s: %q", x.Kind, x.Next)
		}
	}
	for _, a := range []Assessment{free, assess(c, book(strand), "2026-11-10 12:00")} {
		for _, x := range a.Tasks {
			if x.Next == "Ask whoever put the lock on first." {
				t.Errorf("nobody is kept out, and %s: %q", x.Kind, x.Next)
			}
		}
	}
}

func TestACutWhereNothingNeedsTheMains(t *testing.T) {
	c := roped()
	mixed := roped()
	mixed.Trains[1].Drive = wear.AutoWound
	try := func(c Clock, changes ...change) error {
		e := did(Noted, "2026-11-03", append([]change{cut("2026-11-01", "2026-11-01 05:00")}, changes...)...)
		return Validate(e, fleetOf("UTC", c), nil, Model{}, utc("2026-11-20"))
	}
	refused(t, try(c), Conflict, "cutFrom", "no train of Pump Room there needs the mains")
	refused(t, try(mixed, of("going")), Conflict, "cutFrom", "needs the mains")
	for _, changes := range [][]change{nil, {of("strike")}} {
		if err := try(mixed, changes...); err != nil {
			t.Error(err)
		}
	}
}
