package mail

import (
	"cmp"
	"fmt"
	"math"
	"strings"
	"time"

	"endshake/schedule"
)

// winding puts the letter about a train that wants winding into words, or about
// several that are best wound together.
func (w writing) winding() (content, error) {
	v, l := w.card(), w.l
	a, t := l.Clocks[0], *l.Task
	about := aboutAll(l)
	st, known := firstToStop(a, l)
	wind, pron := st.Wind, "it stops"
	if len(l.With) > 0 {
		pron = "the first stops"
	}
	stops := known && !wind.Stops.IsZero() && wind.Lost == ""
	ahead := stops && wind.Stops.After(a.Now)
	v.Act, v.Figures, v.Head = true, "What it rests on", v.Clock+", "+about
	switch {
	case wind.Past:
		v.Title = fmt.Sprintf("%s may have stopped: the %s %s winding", v.Clock, about, map[bool]string{true: "want", false: "wants"}[len(l.With) > 0])
		v.Sentence = fmt.Sprintf("By its log the %s of %s stopped about %s, unless somebody wound it and did not write it down. Please look, and wind %s.",
			name(schedule.NameOfTrain(st.Train)), v.Clock, instantWords(a, wind.Stops), itOrAll(l))
	case ahead && st.Going && schedule.DateOf(wind.Stops, zoneOfClock(a)) == t.Due:
		v.Title = fmt.Sprintf("%s: wind the %s; %s about %s on %s", v.Clock, about, pron, wind.Stops.In(zoneOfClock(a)).Format("15:04"), shortDay(t.Due))
		v.Sentence = fmt.Sprintf("Please wind the %s of %s: %s about %s.", about, v.Clock, pron, instantWords(a, wind.Stops))
	case ahead && st.Going:
		v.Title = fmt.Sprintf("%s: wind the %s by %s; %s about %s", v.Clock, about, shortDay(t.Due), pron, shortDay(schedule.DateOf(wind.Stops, zoneOfClock(a))))
		v.Sentence = fmt.Sprintf("Please wind the %s of %s by %s. %s about %s.", about, v.Clock, dayWords(t.Due), schedule.Capital(pron), instantWords(a, wind.Stops))
	default:
		v.Title = fmt.Sprintf("%s: wind the %s by %s", v.Clock, about, shortDay(t.Due))
		v.Sentence = fmt.Sprintf("Please wind the %s of %s by %s.", about, v.Clock, dayWords(t.Due))
	}
	if l.Turn > 0 {
		v.More = fmt.Sprintf("Nobody has said yet that %s wound, so now it is your turn.", map[bool]string{true: "they are", false: "it is"}[len(l.With) > 0])
		v.Title = "Your turn: " + v.Title
	}
	w.n.Title, w.n.Subject = v.Title, t.Subject
	v.Actions = w.windActions(a, about, wind.Past)
	for _, t := range l.Tasks() {
		v.Rows = append(v.Rows, w.windRows(a, t)...)
	}
	v.Others = asked(l, wind.Past)
	return w.render("card", v, nil)
}

// aboutAll names the trains of a letter: "going train and strike train".
func aboutAll(l schedule.Letter) string {
	var names []string
	for _, t := range l.Tasks() {
		if about := clean(t.About); about != "" {
			names = append(names, about)
		}
	}
	return cmp.Or(schedule.And(names), "clock")
}

func itOrAll(l schedule.Letter) string {
	switch len(l.With) {
	case 0:
		return "it"
	case 1:
		return "both"
	}
	return "all"
}

// firstToStop is the train of a letter that stops first, as far as that is known.
func firstToStop(a schedule.Assessment, l schedule.Letter) (first schedule.TrainState, known bool) {
	for _, t := range l.Tasks() {
		st, ok := a.Train(t.Subject)
		sooner := first.Wind.Stops.IsZero() || first.Wind.Lost != "" || !st.Wind.Stops.IsZero() && st.Wind.Lost == "" && st.Wind.Stops.Before(first.Wind.Stops)
		if ok && (!known || sooner) {
			first, known = st, true
		}
	}
	return first, known
}

// windActions say what to do: the trains of the letter together, and then, where
// there are several, how to say it of each alone.
func (w writing) windActions(a schedule.Assessment, about string, past bool) []action {
	l, t := w.l, *w.l.Task
	do := action{What: schedule.Capital("wind the " + about), How: firstStep(t), Caution: clean(t.Caution), Ask: w.ask(a, t)}
	if rest, ok := strings.CutPrefix(do.How, "Wind it, "); ok { // which What says
		do.How = schedule.Capital(strings.TrimPrefix(rest, "and "))
	}
	if past {
		do.What = "Look first, and then wind the " + about
	}
	if len(l.With) == 0 {
		return []action{do}
	}
	whole, each := t, []action{}
	whole.Subject, whole.About, whole.Minutes = "", "", 0
	for _, t := range l.Tasks() {
		whole.Minutes += t.Minutes
		each = append(each, action{What: schedule.Capital(clean(t.About)) + " alone", Ask: w.ask(a, t)})
	}
	do.How = firstStep(whole)
	if rest, ok := strings.CutPrefix(do.How, "Wind it, "); ok {
		do.How = schedule.Capital(strings.TrimPrefix(rest, "and "))
	}
	if do.Ask = w.ask(a, whole); do.Ask != nil {
		do.Ask.Words = fmt.Sprintf("Say that %s are wound, or why not", itOrAll(l))
	}
	for i := range each { // their links say the same of less
		if each[i].Ask != nil {
			each[i].Ask.Small = true
		}
	}
	return append([]action{do}, each...)
}

// windRows are what a winding rests on; of several trains each is named.
func (w writing) windRows(a schedule.Assessment, t schedule.Task) []pair {
	st, known := a.Train(t.Subject)
	ahead := known && st.Going && st.Wind.Lost == "" && st.Wind.Stops.After(a.Now)
	rows := []pair{{"Due", dueIn(t)}}
	if ahead {
		rows = append(rows, pair{"It stops", stopWords(a, st.Wind)})
	}
	if left := leftWords(st.Wind); known && left != "" {
		rows = append(rows, pair{"Run left", left})
	}
	rows = rowsOf(rows, pair{"Not known", clean(st.Wind.Lost)}, pair{"Why", clean(t.Reason)}, pair{"How sure", sureWords(t, ahead)})
	if len(w.l.With) == 0 {
		return rows
	}
	var words []string
	for _, r := range rows {
		if r.Name != "How sure" && r.Name != "Why" { // which the page has
			words = append(words, strings.TrimSuffix(lower(r.Name)+" "+r.Words, "."))
		}
	}
	return []pair{{schedule.Capital(clean(t.About)), strings.Join(words, "; ") + "."}}
}

func lower(s string) string { return strings.ToLower(s[:1]) + s[1:] }

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
