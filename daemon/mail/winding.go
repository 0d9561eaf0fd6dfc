package mail

import (
	"fmt"
	"math"
	"strings"
	"time"

	"endshake/schedule"
)

// winding puts the letter about a train that wants winding into words.
func (w writing) winding() (content, error) {
	v, l := w.card(), w.l
	a, t := l.Clocks[0], *l.Task
	st, known := a.Train(t.Subject)
	wind := st.Wind
	about := clean(t.About)
	if about == "" {
		about = "clock"
	}
	stops := known && !wind.Stops.IsZero() && wind.Lost == ""
	ahead := stops && wind.Stops.After(a.Now)
	v.Act, v.Figures, v.Head = true, "What it rests on", v.Clock+", "+about
	switch {
	case wind.Past:
		v.Title = fmt.Sprintf("%s may have stopped: the %s wants winding", v.Clock, about)
		v.Sentence = fmt.Sprintf("By its log the %s of %s stopped about %s, unless somebody wound it and did not write it down. Please look, and wind it.", about, v.Clock, instantWords(a, wind.Stops))
	case ahead && st.Going && schedule.DateOf(wind.Stops, zoneOfClock(a)) == t.Due:
		v.Title = fmt.Sprintf("%s: wind the %s; it stops about %s on %s", v.Clock, about, wind.Stops.In(zoneOfClock(a)).Format("15:04"), shortDay(t.Due))
		v.Sentence = fmt.Sprintf("Please wind the %s of %s: it stops about %s.", about, v.Clock, instantWords(a, wind.Stops))
	case ahead && st.Going:
		v.Title = fmt.Sprintf("%s: wind the %s by %s; it stops about %s", v.Clock, about, shortDay(t.Due), shortDay(schedule.DateOf(wind.Stops, zoneOfClock(a))))
		v.Sentence = fmt.Sprintf("Please wind the %s of %s by %s. It stops about %s.", about, v.Clock, dayWords(t.Due), instantWords(a, wind.Stops))
	default:
		v.Title = fmt.Sprintf("%s: wind the %s by %s", v.Clock, about, shortDay(t.Due))
		v.Sentence = fmt.Sprintf("Please wind the %s of %s by %s.", about, v.Clock, dayWords(t.Due))
	}
	if l.Turn > 0 {
		v.More = "Nobody has said yet that it is wound, so now it is your turn."
		v.Title = "Your turn: " + v.Title
	}
	w.n.Title, w.n.Subject = v.Title, t.Subject
	do := action{What: schedule.Capital("wind the " + about), How: firstStep(t), Caution: clean(t.Caution), Ask: w.ask(a, t)}
	if rest, ok := strings.CutPrefix(do.How, "Wind it, "); ok { // which What says
		do.How = schedule.Capital(strings.TrimPrefix(rest, "and "))
	}
	if wind.Past {
		do.What = "Look first, and then wind the " + about
	}
	v.Actions = []action{do}
	v.Rows = append(v.Rows, pair{"Due", dueIn(t)})
	if ahead && st.Going {
		v.Rows = append(v.Rows, pair{"It stops", stopWords(a, wind)})
	}
	if left := leftWords(wind); known && left != "" {
		v.Rows = append(v.Rows, pair{"Run left", left})
	}
	v.Rows = rowsOf(v.Rows, pair{"Not known", clean(wind.Lost)}, pair{"Why", clean(t.Reason)}, pair{"How sure", sureWords(t, ahead)})
	v.Others = asked(l, wind.Past)
	return render("card", v, nil)
}

// dueIn is when a task is due, with its good days.
func dueIn(t schedule.Task) string {
	if t.From.IsZero() || t.Latest.IsZero() || t.From == t.Latest {
		return t.Due.Words()
	}
	return fmt.Sprintf("%s; good days are %s to %s", t.Due.Words(), t.From.Words(), t.Latest.Words())
}

// sureWords say how sure the day is, without the band where another row has it.
func sureWords(t schedule.Task, banded bool) string {
	out := clean(t.Confidence)
	if short, _, ok := strings.Cut(out, "; nine times in ten"); ok && banded {
		return short
	}
	return out
}

// rowsOf adds the rows that say something.
func rowsOf(rows []pair, more ...pair) []pair {
	for _, p := range more {
		if p.Words != "" {
			rows = append(rows, p)
		}
	}
	return rows
}

// shortDay is a date for a subject: "Sat 28 Nov".
func shortDay(d schedule.Date) string {
	if d.IsZero() {
		return "a day not set"
	}
	return d.Start(time.UTC).Format("Mon 2 Jan")
}

// stopWords say when a train stops: about, and between.
func stopWords(a schedule.Assessment, w schedule.WindState) string {
	out := "about " + instantWords(a, w.Stops)
	if w.Early.IsZero() || w.Late.IsZero() || !w.Early.Before(w.Late) {
		return out
	}
	zone := zoneOfClock(a)
	if day := schedule.DateOf(w.Stops, zone); day == schedule.DateOf(w.Early, zone) && day == schedule.DateOf(w.Late, zone) {
		return fmt.Sprintf("%s; nine times in ten between %s and %s", out, w.Early.In(zone).Format("15:04"), w.Late.In(zone).Format("15:04"))
	}
	return fmt.Sprintf("%s; nine times in ten between %s and %s", out, instantWords(a, w.Early), instantWords(a, w.Late))
}

// leftWords say how much of the wind is left.
func leftWords(w schedule.WindState) string {
	if !w.Known || w.Lost != "" || w.Left <= 0 || math.IsNaN(w.Share) {
		return ""
	}
	out := fmt.Sprintf("%s, %.0f %% of a full wind", spell(w.Left), 100*min(max(w.Share, 0), 1))
	if w.Turns >= 1 && !math.IsInf(w.Turns, 0) {
		out += fmt.Sprintf(", about %.0f turns", w.Turns)
	}
	return out
}

// asked says who else has this letter, and who is asked next if nobody answers:
// where it has run down by the log, all are asked now.
func asked(l schedule.Letter, past bool) pair {
	p := next(l)
	if names := namesOf(l.Next); past && len(names) > 0 {
		p = pair{"Who else is asked", "Also asked, for it may stand already: " + schedule.And(names) + "."}
	}
	if names := namesOf(l.Others); len(names) > 0 {
		p.Words = "Asked with you: " + schedule.And(names) + ". " + p.Words
	}
	return p
}

func next(l schedule.Letter) pair {
	const head = "If nobody answers"
	names := namesOf(l.Next)
	switch {
	case len(names) == 0 && (l.Turn > 0 || len(l.Others) > 0):
		return pair{head, "Nobody is asked after this."}
	case len(names) == 0:
		return pair{head, "Nobody else is asked: please answer, also where you cannot go."}
	case len(names) == 1:
		return pair{head, names[0] + " is asked next."}
	}
	return pair{head, names[0] + " is asked next, and then " + schedule.And(names[1:]) + "."}
}
