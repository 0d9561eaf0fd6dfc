package schedule

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// unlockers are who may clear a lock.
var unlockers = []Role{Conservator, Clockmaker}

// onlyThey closes every sentence on a lock.
const onlyThey = "Cleared only by the conservator or the clockmaker, by name."

// Words is the lock as two sentences: "Do not run: broken strand found on
// 3 Nov 2026 (going line). Cleared only by ..., by name."
func (l Lock) Words() string {
	return fmt.Sprintf("%s: %s. %s", Capital(string(l.Kind)), l.Why, onlyThey)
}

// locks puts on what an entry reports. Any damage found on a line stops the
// clock until a professional clears it ([adviceOnWires]).
func (c Clock) locks(e *Entry) (LockKind, bool) {
	switch {
	case e.Kind == Inspected && e.Check != nil && c.damage(e) != "":
		return DoNotRun, true
	case e.Kind == Noted && e.Lock != "":
		return e.Lock, true
	}
	return "", false
}

// damage is what a look at a line found that stops the clock; empty: nothing.
func (c Clock) damage(e *Entry) string {
	l, _ := c.line(e.Line)
	s := LineState{Line: l}
	past, broken := s.judge(*e.Check)
	k := e.Check
	switch {
	case !past && !broken:
		return ""
	case k.Strand:
		return "broken strand"
	case k.Wires6 > 0 || k.Wires30 > 0:
		return Count(max(k.Wires6, k.Wires30), "broken wire", "broken wires")
	}
	return fmt.Sprintf("diameter %.1f %% down", 100*s.thinned(*k))
}

// whyLocked says in words why an entry locks a clock.
func whyLocked(c Clock, e *Entry, on Date) string {
	if e.Kind == Inspected {
		return fmt.Sprintf("%s found on %s (%s)", c.damage(e), on.Words(), c.nameOfLine(e.Line))
	}
	// A note may go on for pages; the lock stands in front of every caution.
	const most = 200
	why := strings.Join(strings.Fields(e.Note), " ")
	if utf8.RuneCountInString(why) > most {
		why = string([]rune(why)[:most]) + " …"
	}
	if why = strings.TrimRight(why, ".!? "); why == "" {
		return "locked on " + on.Words()
	}
	return fmt.Sprintf("%s (%s)", why, on.Words())
}

// locked finds a lock in force.
func (a *Assessment) locked(kind LockKind) (Lock, bool) {
	i := slices.IndexFunc(a.Locks, func(l Lock) bool { return l.Kind == kind })
	if i < 0 {
		return Lock{}, false
	}
	return a.Locks[i], true
}

// held reports whether a task waits for the lock against running to be cleared.
func (a *Assessment) held(t Task) bool {
	_, stands := a.locked(DoNotRun)
	return stands && (t.Kind == Winding || t.Kind == TimeChange || t.startsAgain())
}

// warned leads a caution with the locks in force.
func (a *Assessment) warned(caution string) string {
	var parts []string
	for _, l := range a.Locks {
		parts = append(parts, l.Words())
	}
	return strings.Join(append(parts, caution), " ")
}

// lockWords leads the status of a locked clock; empty: it is not.
func (a *Assessment) lockWords() string {
	var parts []string
	runs := a.runs()
	for _, l := range a.Locks {
		parts = append(parts, l.Words())
		if l.Kind == DoNotRun && runs {
			parts = append(parts, "By its log it is going: stop it.")
			runs = false // said
		}
	}
	return strings.Join(parts, " ")
}

// runs reports whether any train goes by the log.
func (a *Assessment) runs() bool {
	return slices.ContainsFunc(a.Trains, func(st TrainState) bool { return st.Going })
}

// lockTasks ask for what would clear each lock.
func lockTasks(a *Assessment) []Task {
	var out []Task
	n := map[LockKind]int{}
	for _, l := range a.Locks {
		subject := strings.ReplaceAll(string(l.Kind), " ", "-")
		if n[l.Kind]++; n[l.Kind] > 1 {
			subject += fmt.Sprintf("-%d", n[l.Kind])
		}
		t := Task{
			Kind: Locked, Subject: subject, About: "lock against running",
			From: l.Since, Due: l.Since, Latest: l.Since, Source: "the log",
			Reason: l.Words(), Confidence: "firm: it is in force until it is cleared", Evidence: "the entry of " + l.Since.Words(),
		}
		switch {
		case l.Kind == DoNotEnter:
			t.About = "lock against going in"
		case a.runs():
			t.Reason += " By its log it is going: stop it."
			t.Next = "Stop it, and log the stop."
		}
		out = append(out, t)
	}
	return out
}

// validateLock refuses what a lock forbids, and a lock cleared by nobody. The
// log is the one that counts.
func validateLock(e Entry, c Clock, fleet Fleet, log []Entry, now time.Time) error {
	site, _ := fleet.Site(c.Site)
	day := func(e *Entry) Date { return DateOf(e.At, site.Location()) }
	then := upTo(log, e)
	on := map[LockKind]Lock{}
	for _, l := range locksOf(c, then, day) {
		on[l.Kind] = l
	}
	if err := oldOnly(e, log, site.Location()); err != nil {
		return err
	}
	if err := c.unlocking(e, log, site.Location()); err != nil {
		return err
	}
	stands := slices.ContainsFunc(c.inForce(then), func(was *Entry) bool { return c.forbids(&e, was) })
	switch {
	case e.Clears != "" && on[e.Clears].Kind == "":
		return conflict("clears", "no lock %q is in force then: check the day, or log a note without clearing", e.Clears)
	case stands && (e.Kind == Wound || e.Kind == Started):
		return conflict("kind", "it must not be %s while it is locked (%s): have the conservator or the clockmaker clear the lock first, by name", e.Kind, clause(on[DoNotRun]))
	}
	return c.keepsLocks(e, log, site.Location(), now)
}

// clause is a lock within a sentence.
func clause(l Lock) string { return fmt.Sprintf("%s: %s", l.Kind, l.Why) }

// unlocking refuses to have a lock taken off by anybody else than those who
// may: by clearing it, or by correcting the entry that put it on.
func (c Clock) unlocking(e Entry, log []Entry, zone *time.Location) error {
	what := ""
	if e.Clears != "" {
		what = fmt.Sprintf("clears the lock %q", e.Clears)
	}
	if old := newest(log, func(old *Entry) bool { return e.Replaces != "" && old.ID == e.Replaces }); old != nil {
		was, did := c.locks(old)
		if now, does := c.locks(&e); did && !(does && now == was) {
			what = fmt.Sprintf("takes back the entry of %s that locks the clock", DateOf(old.At, zone).Words())
		}
	}
	if what == "" {
		return nil
	}
	return c.mayUnlock(&e, what)
}
