package mail

import (
	"fmt"
	"slices"
	"strings"

	"endshake/schedule"
)

// ownerView is the monthly letter to who owns clocks.
type ownerView struct {
	frame
	Opening string
	Clocks  []ownedClock
}

// ownedClock is one clock of theirs.
type ownedClock struct {
	Name, Where string
	Status      string // the one thing to know of it
	Month       []pair // what became of it
	Watch       []eye
	Sound       string   // how the other bearings stand
	Soon, Later []ownDue // in the next 30 days, and in the 60 after
	Access      string
	Safety      string
	Unchecked   []string
}

// ownDue is one task that falls due, who does it and when.
type ownDue struct{ What, When, Who string }

// ownersMonth puts the month before today into words, for each clock of an
// owner: what became of it, what is to be expected, and what nobody looked at.
func (w writing) ownersMonth() (content, error) {
	l := w.l
	from, to := monthBefore(l.Today)
	v := ownerView{frame: w.frame}
	v.Locks = locks(l)
	v.Title = fmt.Sprintf("%s in %s", clocksWords(l), from.MonthWords())
	w.n.Title = v.Title
	eyes, pictures := w.watched()
	var pasts []schedule.Past
	for _, a := range l.Clocks {
		p := schedule.PastOf(a, from, to)
		pasts = append(pasts, p)
		v.Clocks = append(v.Clocks, w.owned(a, p, eyes))
	}
	v.Opening = ownerOpening(l, from, pasts)
	return w.render("owner", v, pictures)
}

// clockName is what a clock of a letter is called: with its site where another of
// them has the same name.
func clockName(l schedule.Letter, a schedule.Assessment) string {
	for _, other := range l.Clocks {
		if other.Clock.Slug != a.Clock.Slug && strings.EqualFold(other.Clock.Name, a.Clock.Name) {
			return name(a.Clock.Name) + " (" + name(a.Site.Name) + ")"
		}
	}
	return name(a.Clock.Name)
}

// monthBefore is the calendar month before the one of a day.
func monthBefore(today schedule.Date) (from, to schedule.Date) {
	to = schedule.Date{Year: today.Year, Month: today.Month, Day: 1}.Add(-1)
	return schedule.Date{Year: to.Year, Month: to.Month, Day: 1}, to
}

// clocksWords is the one clock of a letter, or how many.
func clocksWords(l schedule.Letter) string {
	if len(l.Clocks) == 1 {
		return name(l.Clocks[0].Clock.Name)
	}
	return fmt.Sprintf("Your %d clocks", len(l.Clocks))
}

// ownerOpening is the one thing to know: what presses now, then which clocks
// stood, and of which that is not known.
func ownerOpening(l schedule.Letter, month schedule.Date, pasts []schedule.Past) string {
	var stood, unknown []string
	for i, p := range pasts {
		clock := clockName(l, l.Clocks[i])
		switch {
		case !p.Known:
			unknown = append(unknown, clock)
		case p.Days > p.Going:
			stood = append(stood, fmt.Sprintf("%s on %s", clock, schedule.Count(p.Days-p.Going, "day", "days")))
		}
	}
	out := ""
	if n := pressingTasks(l.Clocks); n > 0 {
		out = schedule.Capital(schedule.Count(n, "thing presses", "things press")) + " now: see below. "
	}
	in := "In " + month.MonthWords()
	switch {
	case len(stood) == 1 && len(pasts) == 1:
		out += fmt.Sprintf("%s, by its log, it stood%s, if only for a part of each.", in, strings.TrimPrefix(stood[0], clockName(l, l.Clocks[0])))
	case len(stood) > 0:
		out += fmt.Sprintf("%s, by their logs, these stood, if only for a part of a day: %s.", in, fewOf(stood))
	case len(unknown) == len(pasts):
		return out + fmt.Sprintf("How long %s went in %s is not known.", fewOf(unknown), month.MonthWords())
	case len(pasts) == 1:
		out += in + ", by the log, it went all through the month."
	default:
		out += in + ", by their logs, none of them stood."
	}
	if len(unknown) > 0 {
		out += fmt.Sprintf(" How long %s went is not known.", fewOf(unknown))
	}
	return out
}

// pressingTasks counts what is dangerous, may have stopped or is at its limit.
func pressingTasks(clocks []schedule.Assessment) int {
	n := 0
	for _, a := range clocks {
		for _, t := range a.Tasks {
			if t.Rank == schedule.Danger || t.Rank == schedule.ToAct || t.Rank == schedule.AtLimit || t.Rank == schedule.MayHaveStopped {
				n++
			}
		}
	}
	return n
}

// owned puts one clock into words.
func (w writing) owned(a schedule.Assessment, p schedule.Past, eyes []eye) ownedClock {
	o := ownedClock{Name: clockName(w.l, a), Status: clean(a.Status), Access: clean(a.Site.Access), Month: pastRows(a, p),
		Safety: clean(schedule.Caution("", a.Site, a.Clock.Cautions)), Unchecked: unchecked(a, p)}
	if site := name(a.Site.Name); site != o.Name {
		o.Where = site
	}
	o.Where = strings.Join(nonEmpty(o.Where, clean(a.Site.Place)), ", ")
	for _, e := range eyes {
		if strings.HasPrefix(e.Where, o.Name+", ") {
			e.Where = schedule.Capital(strings.TrimPrefix(e.Where, o.Name+", "))
			o.Watch = append(o.Watch, e)
		}
	}
	o.Sound = soundWords(a)
	for _, t := range byPressing([]schedule.Assessment{a}) {
		late := t.Due.Sub(w.l.Today)
		if t.State == schedule.Resting || late > aheadDays {
			continue
		}
		line := ownDue{What: name(schedule.Capital(t.What())), When: dueWords(t), Who: w.who(t)}
		if late <= soonDays {
			o.Soon = append(o.Soon, line)
		} else {
			o.Later = append(o.Later, line)
		}
	}
	return o
}

func dueWords(t schedule.Task) string {
	if t.Past != "" {
		return t.Past
	}
	if t.State == schedule.Late {
		return "due " + t.Due.Words() + " and late"
	}
	return "due " + t.Due.Words()
}

// who are those who should do a task, as far as the letter knows their names.
func (w writing) who(t schedule.Task) string {
	var names []string
	for _, slug := range t.People {
		names = append(names, readerName(w.l, slug))
	}
	if len(names) == 0 {
		return "nobody is named for it"
	}
	return schedule.And(names)
}

// soundWords counts the bearings that nothing is said of.
func soundWords(a schedule.Assessment) string {
	sound := 0
	for _, o := range a.Outlooks {
		if !wantsEye(o) && o.Known {
			sound++
		}
	}
	if sound == 0 {
		return ""
	}
	return schedule.Count(sound, "bearing was read and wants nothing now", "bearings were read and want nothing now") + "."
}

// pastRows say what became of a clock.
func pastRows(a schedule.Assessment, p schedule.Past) []pair {
	if p.Days == 0 {
		return []pair{{"Not in care", "it came into care after this month"}}
	}
	rows := []pair{{"Going", p.GoingWords(a.Zone)}, {"Error", p.ErrorWords(a.Time.Tolerance)}}
	switch {
	case p.Hand:
		rows = append(rows, pair{"Winding", p.WindingWords()})
	case len(a.Trains) > 0:
		rows = append(rows, pair{"Winding", "nobody winds it by hand"})
	}
	done := doneBetween(a, p.From, p.To, workKinds)
	if done == "" {
		done = "nothing is logged"
	}
	return append(rows, pair{"Work done", done})
}

// workKinds are the entries that an owner would call work.
var workKinds = []schedule.EntryKind{schedule.Oiled, schedule.Cleaned, schedule.Repaired, schedule.Measured, schedule.Inspected, schedule.Set, schedule.Regulated}

// unchecked says what nobody looked at, so that silence is not taken for a
// clean bill.
func unchecked(a schedule.Assessment, p schedule.Past) []string {
	var out, unread, lines []string
	for _, o := range a.Outlooks {
		if n := len(o.Parts); n == 0 || len(o.Parts[n-1].Readings) == 0 {
			unread = append(unread, bearingName(o))
		}
	}
	for _, s := range a.Lines {
		if s.Checked.IsZero() {
			lines = append(lines, name(s.Line.Name))
		}
	}
	if p.Looks == 0 {
		out = append(out, "No inspection is logged in the month.")
	}
	if p.Read == 0 {
		out = append(out, "No bearing was measured in the month.")
	}
	if len(unread) > 0 {
		out = append(out, "Without a reading since they were fitted: "+fewOf(unread)+".")
	}
	if lines = nonEmpty(lines...); len(lines) > 0 {
		out = append(out, "Never looked at, by the log: "+fewOf(lines)+".")
	}
	return append(out, "Teeth, pallets, dials, hands and the building are not part of these figures.")
}

// fewOf names the first few.
func fewOf(names []string) string {
	const most = 8
	if len(names) <= most {
		return strings.Join(names, "; ")
	}
	return fmt.Sprintf("%s; and %d more", strings.Join(slices.Clone(names[:most]), "; "), len(names)-most)
}
