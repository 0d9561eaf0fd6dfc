package schedule

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"
)

func locking(k LockKind) change  { return func(e *Entry) { e.Lock = k } }
func clearing(k LockKind) change { return func(e *Entry) { e.Clears = k } }
func doneBy(person string) change {
	return func(e *Entry) { e.By = person }
}

// ofLine is what a look at a line found.
func ofLine(code string, k LineCheck) change {
	return func(e *Entry) { e.Line, e.Check = code, &k }
}

func newLine(code string) change {
	return func(e *Entry) { e.Line, e.Work = code, NewLine }
}

func old(e *Entry) { e.Old = true }

// roped is a clock with a line on each train.
func roped() Clock {
	c := pump()
	c.Care.Lines = []Line{
		{Code: "going-line", Name: "going line", Train: "going", Construction: "7x19", Diameter: mm(5), OuterWires: 114, FittedAt: d("2019-05-01")},
		{Code: "strike-line", Train: "strike"},
	}
	return c
}

var (
	strand = did(Inspected, "2026-11-03 10:00", ofLine("going-line", LineCheck{Strand: true}), called("strand"))
	loose  = did(Noted, "2026-11-04 10:00", note("loose stone over the stair.\nAsk the mason."), locking(DoNotEnter), called("stone"))
	// oldStrand is the same from an old book.
	oldStrand = did(Inspected, "2026-11-03 10:00", ofLine("going-line", LineCheck{Strand: true}), called("strand"), old)
	freed     = did(Noted, "2026-11-08 10:00", note("new line hung and tried"), clearing(DoNotRun), doneBy("cleo"), called("freed"))
)

func TestLocksOf(t *testing.T) {
	const run, enter = "broken strand found on 3 Nov 2026 (going line)", "loose stone over the stair. Ask the mason (4 Nov 2026)"
	const wire = "1 broken wire found on 2 Nov 2026 (going line)"
	dusty := did(Inspected, "2026-11-02", ofLine("going-line", LineCheck{Wires6: 1}), called("wire"))
	thin := did(Inspected, "2026-11-05", ofLine("going-line", LineCheck{Diameter: mm(4.4)}), called("thin"))
	gone := did(Inspected, "2026-11-03 10:00", ofLine("going-line", LineCheck{}), instead("strand", "the other clock"), doneBy("cleo"))
	for _, tt := range []struct {
		name string
		log  []Entry
		want []Lock
	}{
		{"nothing", nil, nil},
		{"a broken wire alone", []Entry{dusty}, []Lock{{DoNotRun, d("2026-11-02"), wire, "wire"}}},
		{"no broken wire", []Entry{did(Inspected, "2026-11-02", ofLine("going-line", LineCheck{Rust: "none"}))}, nil},
		{"a line worn thin", []Entry{thin}, []Lock{{DoNotRun, d("2026-11-05"), "diameter 12.0 % down found on 5 Nov 2026 (going line)", "thin"}}},
		{"of a line that is not described", []Entry{did(Inspected, "2026-11-02", ofLine("gone", LineCheck{Wires30: 7}), called("x"))},
			[]Lock{{DoNotRun, d("2026-11-02"), "7 broken wires found on 2 Nov 2026 (line gone)", "x"}}},
		{"then worn thin too", []Entry{dusty, thin}, []Lock{{DoNotRun, d("2026-11-02"), wire, "wire"}, {DoNotRun, d("2026-11-05"), "diameter 12.0 % down found on 5 Nov 2026 (going line)", "thin"}}},
		{"then a strand, and wires on the other line", []Entry{dusty, strand, did(Inspected, "2026-11-04", ofLine("strike-line", LineCheck{Wires6: 2}), called("two"))},
			[]Lock{{DoNotRun, d("2026-11-02"), wire, "wire"}, {DoNotRun, d("2026-11-03"), run, "strand"},
				{DoNotRun, d("2026-11-04"), "2 broken wires found on 4 Nov 2026 (line strike-line of the strike train)", "two"}}},
		{"a note first", []Entry{did(Noted, "2026-11-01", note("stand cracked"), locking(DoNotRun), called("n")), dusty}, []Lock{{DoNotRun, d("2026-11-01"), "stand cracked (1 Nov 2026)", "n"}, {DoNotRun, d("2026-11-02"), wire, "wire"}}},
		{"all cleared at once", []Entry{dusty, strand, freed}, nil},
		{"a strand", []Entry{strand}, []Lock{{DoNotRun, d("2026-11-03"), run, "strand"}}},
		{"both", []Entry{strand, loose}, []Lock{{DoNotRun, d("2026-11-03"), run, "strand"}, {DoNotEnter, d("2026-11-04"), enter, "stone"}}},
		{"in whatever order they were logged", []Entry{loose, strand}, []Lock{{DoNotRun, d("2026-11-03"), run, "strand"}, {DoNotEnter, d("2026-11-04"), enter, "stone"}}},
		{"one cleared", []Entry{strand, loose, freed}, []Lock{{DoNotEnter, d("2026-11-04"), enter, "stone"}}},
		{"a new line does not clear it", []Entry{strand, did(Repaired, "2026-11-07", newLine("going-line"))}, []Lock{{DoNotRun, d("2026-11-03"), run, "strand"}}},
		{"found again", []Entry{strand, did(Inspected, "2026-11-05", ofLine("going-line", LineCheck{Strand: true}))}, []Lock{{DoNotRun, d("2026-11-03"), run, "strand"}}},
		{"cleared and found again", []Entry{strand, freed, did(Inspected, "2026-11-09", ofLine("strike-line", LineCheck{Strand: true}), called("again"))},
			[]Lock{{DoNotRun, d("2026-11-09"), "broken strand found on 9 Nov 2026 (line strike-line of the strike train)", "again"}}},
		{"corrected away", []Entry{strand, gone}, nil},
		{"from an old book, and the line replaced since", []Entry{
			did(Inspected, "2021-11-03", ofLine("going-line", LineCheck{Strand: true}), old), did(Repaired, "2022-01-01", newLine("going-line"), old)}, nil},
		{"from an old book and replaced by those who may, but others broken since", []Entry{
			did(Inspected, "2021-11-03", ofLine("going-line", LineCheck{Strand: true}), old), dusty, did(Inspected, "2026-11-02 01:00", ofLine("strike-line", LineCheck{Wires6: 1}), called("s")),
			did(Repaired, "2026-11-04", newLine("going-line"), doneBy("cleo"))},
			[]Lock{{DoNotRun, d("2026-11-02"), wire, "wire"}, {DoNotRun, d("2026-11-02"), "1 broken wire found on 2 Nov 2026 (line strike-line of the strike train)", "s"}}},
		{"from an old book, another line replaced", []Entry{
			did(Inspected, "2021-11-03", ofLine("going-line", LineCheck{Strand: true}), old, called("o")), did(Repaired, "2022-01-01", newLine("strike-line"), old)},
			[]Lock{{DoNotRun, d("2021-11-03"), "broken strand found on 3 Nov 2021 (going line)", "o"}}},
	} {
		got := assess(roped(), book(slices.Clone(tt.log)...), "2026-11-20").Locks
		if fmt.Sprint(got) != fmt.Sprint(tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
	long := did(Noted, "2026-11-04", note(strings.Repeat("very ", 300)), locking(DoNotEnter))
	if got := assess(roped(), book(long), "2026-11-20").Locks[0].Why; len(got) > 250 || !strings.HasSuffix(got, " … (4 Nov 2026)") {
		t.Errorf("a note of pages: %q", got)
	}
	if got := (Lock{Kind: DoNotRun, Why: "x"}).Words(); got != "Do not run: x. Cleared only by the conservator or the clockmaker, by name." {
		t.Errorf("%q", got)
	}
}

// While it is locked the status leads with the lock, every caution does, the
// winds rest, and a clock that still goes is to be stopped.
func TestLockedClock(t *testing.T) {
	c := roped()
	c.Policies = []Policy{weeklyWind, {Task: Oiling, Days: 90, Source: "x"}, {Task: Inspection, Days: 365, Source: "x"}}
	c.Cautions = []Hazard{HeavyFall}
	log := append(weekly("2026-10-01", 5), did(Oiled, "2026-10-01"), strand)
	const lead = "Do not run: broken strand found on 3 Nov 2026 (going line). Cleared only by the conservator or the clockmaker, by name."
	a := assess(c, book(log...), "2026-11-10 12:00")
	if a.Status != lead+" By its log it is going: stop it." {
		t.Errorf("status %q", a.Status)
	}
	if first := taskOf(t, a, Locked, "do-not-run"); first.Kind != Locked || first.Rank != Danger || first.State == Resting || first.Next != "Stop it, and log the stop." ||
		first.Reason != lead+" By its log it is going: stop it." || windowOf(first) != "2026-11-03 2026-11-03 2026-11-03" ||
		!slices.Equal(first.People, []string{"cleo", "ann"}) || first.What() != "lock against running" {
		t.Errorf("%+v", first)
	}
	kinds := map[TaskKind]int{}
	for _, x := range a.Tasks {
		checkTask(t, "locked", x)
		kinds[x.Kind]++
		if !strings.HasPrefix(x.Caution, lead+" ") || !strings.Contains(x.Caution, hazardWords[HeavyFall]) || !strings.Contains(x.Caution, saidByHazard[HeavyFall].Replace(taskWords[x.Kind])) {
			t.Errorf("%s: caution %q", x.Kind, x.Caution)
		}
		if (x.State == Resting) != (x.Kind == Winding) {
			t.Errorf("%s %q is %s", x.Kind, x.Subject, x.State)
		}
	}
	if kinds[Winding] != 2 || kinds[Oiling] != 1 || kinds[Locked] != 1 {
		t.Errorf("tasks %v", kinds)
	}
	stopped := assess(c, book(append(log, did(Stopped, "2026-11-03 10:05", by(ByHand)))...), "2026-11-10 12:00")
	if x := taskOf(t, stopped, Locked, "do-not-run"); stopped.Status != lead || x.Next != nextSteps[Locked] || x.Reason != lead {
		t.Errorf("stopped: %q, %+v", stopped.Status, x)
	}
	if a.Tasks[0].Rank != Danger || a.Tasks[1].Rank != Danger || a.Tasks[2].Rank == Danger {
		t.Errorf("the lock and the line do not come first: %s", titles(a.Tasks))
	}
	free := assess(c, book(append(log, freed)...), "2026-11-10 12:00")
	for _, x := range free.Tasks {
		if x.Kind == Locked || x.State == Resting || strings.Contains(x.Caution, "broken strand") {
			t.Errorf("cleared, and %s is %s: %q", x.Kind, x.State, x.Caution)
		}
	}
	if !strings.HasPrefix(free.Status, "By its last logged wind it stopped about 6 Nov 2026, 09:00, unless") {
		t.Errorf("cleared: %q", free.Status)
	}
}

// A lock against going in stops nothing, and leads every caution.
func TestDoNotEnter(t *testing.T) {
	c := roped()
	c.Policies = []Policy{weeklyWind}
	a := assess(c, book(loose), "2026-11-10 12:00")
	const lead = "Do not enter: loose stone over the stair. Ask the mason (4 Nov 2026). " + onlyThey
	if a.Status != lead {
		t.Errorf("status %q", a.Status)
	}
	for _, x := range a.Tasks {
		if x.State == Resting || !strings.HasPrefix(x.Caution, lead) {
			t.Errorf("%s is %s: %q", x.Kind, x.State, x.Caution)
		}
	}
	if x := taskOf(t, a, Locked, "do-not-enter"); x.Rank != Danger || x.What() != "lock against going in" {
		t.Errorf("%+v", x)
	}
	both := assess(c, book(strand, loose), "2026-11-10 12:00")
	if len(both.Locks) != 2 || !strings.Contains(both.Status, "Do not enter: ") || !strings.HasPrefix(both.Status, "Do not run: ") {
		t.Errorf("both: %q", both.Status)
	}
	// A clock that rests is locked all the same.
	rests := assess(c, book(loose, did(Stopped, "2026-11-01", by(Rest), until("2027-04-01"))), "2026-11-10 12:00")
	if x := taskOf(t, rests, Locked, "do-not-enter"); x.State == Resting || x.Rank != Danger {
		t.Errorf("resting: %s, rank %d", x.State, x.Rank)
	}
}

// logs tries an entry on a clock with lines, on 20 November 2026.
func logs(e Entry, log ...Entry) error {
	return Validate(e, fleetOf("UTC", roped()), book(slices.Clone(log)...), Model{}, utc("2026-11-20 12:00"))
}

func TestWhatALockRefuses(t *testing.T) {
	stop := did(Stopped, "2026-11-03 10:05", by(ByHand), called("stop"))
	const when = "2026-11-10 10:00"
	clear := func(changes ...change) Entry {
		return did(Noted, when, append([]change{note("mended"), clearing(DoNotRun)}, changes...)...)
	}
	for _, tt := range []struct {
		name     string
		e        Entry
		log      []Entry
		code     Code
		field    string
		sentence string
	}{
		{"a wind", did(Wound, when), []Entry{strand}, Conflict, "kind", "must not be wound while it is locked (do not run: broken strand found on 3 Nov 2026 (going line))"},
		{"a wind of the other train", did(Wound, when, of("strike")), []Entry{strand}, Conflict, "kind", "must not be wound"},
		{"a wind in part", did(Wound, when, partly), []Entry{strand}, Conflict, "kind", "must not be wound"},
		{"a wind with a wire broken", did(Wound, when), []Entry{did(Inspected, "2026-11-03 10:00", ofLine("going-line", LineCheck{Wires6: 1}))}, Conflict, "kind",
			"must not be wound while it is locked (do not run: 1 broken wire found on 3 Nov 2026 (going line))"},
		{"the wire corrected away by the keeper", did(Inspected, when, ofLine("going-line", LineCheck{}), instead("wire", "a slip"), doneBy("ann")),
			[]Entry{did(Inspected, "2026-11-03 10:00", ofLine("going-line", LineCheck{Wires6: 1}), called("wire"))}, Conflict, "by", "nobody else takes back the entry"},
		{"a start", did(Started, when), []Entry{strand, stop}, Conflict, "kind", "must not be started"},
		{"a wind moved into the lock", did(Wound, when, instead("w", "the tenth")), []Entry{did(Wound, "2026-11-01", called("w")), strand}, Conflict, "kind", "must not be wound"},
		{"cleared by nobody", clear(), []Entry{strand}, Invalid, "by", "say by name who clears the lock"},
		{"cleared by the keeper", clear(doneBy("ann")), []Entry{strand}, Conflict, "by", `"ann" is neither conservator nor clockmaker of Pump Room`},
		{"cleared by the owner", clear(doneBy("dov")), []Entry{strand}, Conflict, "by", "neither conservator nor clockmaker"},
		{"cleared by somebody unknown", clear(doneBy("eve")), []Entry{strand}, NotFound, "by", "there is no person"},
		{"cleared without a word", clear(doneBy("cleo"), note(" ")), []Entry{strand}, Invalid, "note", "a note needs words"},
		{"cleared and not locked", clear(doneBy("cleo")), nil, Conflict, "clears", `no lock "do not run" is in force then`},
		{"the other lock cleared", clear(doneBy("cleo"), clearing(DoNotEnter)), []Entry{strand}, Conflict, "clears", `no lock "do not enter" is in force`},
		{"cleared twice", clear(doneBy("cleo")), []Entry{strand, freed}, Conflict, "clears", "is in force then"},
		{"cleared the day before it was locked", did(Noted, "2026-11-02", note("x"), clearing(DoNotRun), doneBy("cleo")), []Entry{strand}, Conflict, "clears", "is in force then"},
		{"unknown lock", did(Noted, when, note("x"), locking("shut")), nil, Invalid, "lock", `a lock "shut" is not known: use one of do not run, do not enter`},
		{"unknown lock cleared", did(Noted, when, note("x"), clearing("shut")), nil, Invalid, "clears", "is not known"},
		{"on and off in one", did(Noted, when, note("x"), locking(DoNotRun), clearing(DoNotEnter), doneBy("cleo")), []Entry{loose}, Invalid, "lock", "log the two apart"},
		{"lock on an inspection", did(Inspected, when, locking(DoNotRun)), nil, Invalid, "lock", "only for noted"},
		{"clearing by an inspection", did(Inspected, when, clearing(DoNotRun), doneBy("cleo")), []Entry{strand}, Invalid, "clears", "only for noted"},
		{"the strand corrected away by nobody", did(Inspected, when, instead("strand", "a slip")), []Entry{strand}, Invalid, "by", "takes back the entry of 3 Nov 2026 that locks the clock"},
		{"the strand corrected away by the keeper", did(Inspected, when, instead("strand", "a slip"), doneBy("ann")), []Entry{strand}, Conflict, "by", "nobody else takes back the entry"},
		{"the lock corrected to the other", did(Noted, when, note("x"), locking(DoNotRun), instead("stone", "a slip"), doneBy("ann")), []Entry{loose}, Conflict, "by", "nobody else"},
	} {
		t.Run(tt.name, func(t *testing.T) { refused(t, logs(tt.e, tt.log...), tt.code, tt.field, tt.sentence) })
	}
	maker := func(e Entry, log ...Entry) error {
		f := fleetOf("UTC", roped())
		f.Clocks[0].Duties = append(f.Clocks[0].Duties, Duty{"dov", Clockmaker})
		return Validate(e, f, book(slices.Clone(log)...), Model{}, utc("2026-11-20 12:00"))
	}
	for name, err := range map[string]error{
		"cleared by the conservator":           logs(clear(doneBy("cleo")), strand),
		"cleared by the clockmaker":            maker(clear(doneBy("dov")), strand),
		"a wind before the lock":               logs(did(Wound, "2026-11-02"), strand),
		"a wind after it is cleared":           logs(did(Wound, when), strand, freed),
		"a wind and its lock from an old book": logs(did(Wound, when, old), oldStrand),
		"locked for another reason":            logs(did(Noted, when, note("again"), locking(DoNotRun)), strand),
		"a wind with people kept out":          logs(did(Wound, when), loose),
		"a stop while locked":                  logs(did(Stopped, when, by(ByHand)), strand),
		"an oiling while locked":               logs(did(Oiled, when), strand),
		"a start after it is cleared":          logs(did(Started, when), strand, stop, freed),
		"the other lock":                       logs(did(Noted, when, note("x"), locking(DoNotEnter)), strand),
		"another strand":                       logs(did(Inspected, when, ofLine("strike-line", LineCheck{Strand: true})), strand),
		"locked anew":                          logs(did(Noted, when, note("x"), locking(DoNotRun)), strand, freed),
		"a lock whose day is mended":           logs(did(Noted, "2026-11-05", note(loose.Note), locking(DoNotEnter), instead("stone", "a day later"), doneBy("ann")), loose),
		"the strand taken back by name":        logs(did(Inspected, "2026-11-03 10:00", found(Sound), instead("strand", "the other clock"), doneBy("cleo")), strand),
		"a wind on a clock with nothing else":  logs(did(Wound, when)),
	} {
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Of any sequence of locks and clearings that is taken, what is in force is what
// a plain replay says, and no wind is ever taken within a lock.
func TestLocksHoldInAnyOrder(t *testing.T) {
	const seed = 20261125
	r := rand.New(rand.NewPCG(seed, 3))
	for round := range 60 {
		var log []Entry
		on := map[LockKind]bool{}
		for i := range 25 {
			at := utc("2026-01-01").Add(time.Duration(i) * 24 * time.Hour)
			k := LockKinds[r.IntN(2)]
			var e Entry
			var fine bool
			switch r.IntN(4) {
			case 0:
				e, fine = doneAt(Noted, at, note("x"), locking(k)), true
			case 1:
				e, fine = doneAt(Noted, at, note("x"), clearing(k), doneBy("cleo")), on[k]
			case 2:
				e, fine = doneAt(Wound, at), !on[DoNotRun]
			case 3:
				e, fine = doneAt(Inspected, at, ofLine("going-line", LineCheck{Strand: true})), true
			}
			err := logs(e, log...)
			if (err == nil) != fine {
				t.Fatalf("seed %d, round %d, step %d: %s %q %q with %v in force: %v", seed, round, i, e.Kind, e.Lock, e.Clears, on, err)
			}
			if err != nil {
				continue
			}
			log = append(log, e)
			switch {
			case e.Lock != "":
				on[e.Lock] = true
			case e.Clears != "":
				on[e.Clears] = false
			case e.Kind == Inspected:
				on[DoNotRun] = true
			}
		}
		a := assess(roped(), book(log...), "2026-11-20")
		for _, k := range LockKinds {
			if _, got := a.locked(k); got != on[k] {
				t.Fatalf("seed %d, round %d: %s in force %v, want %v", seed, round, k, got, on[k])
			}
		}
	}
}
