package schedule

import (
	"cmp"
	"fmt"
	"math"
	"strings"
	"time"
)

// Sentence is the one thing to know of the rounds.
func (r Rounds) Sentence() string {
	visits, tasks, people := 0, 0, map[string]bool{}
	for _, d := range r.Days {
		people[d.Person] = true
		visits += len(d.Stops)
		for _, s := range d.Stops {
			tasks += len(s.Tasks)
		}
	}
	if r.none != "" {
		return r.none
	}
	span := fmt.Sprintf("from %s to %s", r.From.Words(), r.Until.Words())
	out := "No day of visits is wanted " + span
	if len(r.Days) > 0 {
		out = fmt.Sprintf("%s of %s hold %s with %s, %s", Capital(Count(len(r.Days), "day", "days")), Count(len(people), "person", "people"),
			Count(visits, "visit", "visits"), Count(tasks, "task", "tasks"), span)
		if len(r.Days) == 1 {
			out = strings.Replace(out, " hold ", " holds ", 1)
		}
	}
	if n := len(r.Unmet); n > 0 {
		out += fmt.Sprintf("; %s no day in time", Count(n, "task finds", "tasks find"))
	}
	return out + "."
}

// Text prints the days for a terminal or a sheet of paper.
func (r Rounds) Text(s *Snapshot) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Rounds\n%s\n", r.Sentence())
	for _, n := range r.Notes {
		if n != r.none {
			fmt.Fprintf(&b, "  (%s)\n", n)
		}
	}
	for i := range r.Days {
		r.Days[i].print(&b, s)
	}
	if len(r.Unmet) > 0 {
		b.WriteString("\nNot in time\n")
	}
	for i := range r.Unmet {
		u := &r.Unmet[i]
		name := u.Clock
		if c, ok := s.Fleet.Clock(u.Clock); ok {
			name = c.Name
		}
		fmt.Fprintf(&b, "\n  %s: %s, from %s, latest %s\n    %s\n", name, u.What(), u.From.Words(), u.Latest.Words(), u.Why)
	}
	return b.String()
}

func (d *RoundDay) print(b *strings.Builder, s *Snapshot) {
	fmt.Fprintf(b, "\n%s %s: %s, out %s, back %s, %s\n  %s\n", d.Day.Start(time.UTC).Weekday(), d.Day.Words(), s.nameOf(d.Person), d.Leave, d.Back, d.Way(), d.Why)
	for i := range d.Stops {
		stop := &d.Stops[i]
		site, _ := s.Fleet.Site(stop.Site)
		fmt.Fprintf(b, "\n  %s to %s  %s%s\n", stop.Arrive, stop.Leave, cmp.Or(site.Name, stop.Site), map[bool]string{true: " (kept by hand)"}[stop.Set])
		if site.Access != "" {
			fmt.Fprintf(b, "    access: %s\n", site.Access)
		}
		if stop.Two {
			who := "ask somebody to come along"
			if stop.Second != "" {
				who = s.nameOf(stop.Second) + " is free that day"
			}
			fmt.Fprintf(b, "    takes two: %s\n", who)
		}
		for k := range stop.Tasks {
			t := &stop.Tasks[k]
			name := t.Clock
			if c, ok := s.Fleet.Clock(t.Clock); ok {
				name = c.Name
			}
			fmt.Fprintf(b, "    - %s: %s, %s; from %s, latest %s\n      ! %s\n", name, t.What(), wayWords(float64(t.Minutes)), t.From.Words(), t.Latest.Words(), t.Caution)
		}
		for _, a := range stop.Against {
			fmt.Fprintf(b, "    against: %s\n", a)
		}
		fmt.Fprintf(b, "    why: %s\n", stop.Why)
	}
}

// Way says how long the day's way is: "1 h 20 on the way, 62 km (39 miles)".
func (d *RoundDay) Way() string {
	out := "no way to go"
	if math.Round(d.Travel) > 0 {
		out = wayWords(d.Travel) + " on the way"
	}
	if d.Km > 0 {
		out += ", " + kmWords(d.Km)
	}
	return out
}

// Text prints the list for a terminal or a sheet of paper: a box to tick before each
// thing, then a sheet for each clock.
func (k Kit) Text() string {
	if k.Day.IsZero() {
		return "There is no such day.\n"
	}
	var b strings.Builder
	fmt.Fprintf(&b, "To take along on %s: %s\n", k.Day.Words(), k.Name)
	if len(k.Oils) > 0 {
		b.WriteString("\nOil\n")
	}
	for _, o := range k.Oils {
		fmt.Fprintf(&b, "  [ ] %s (%s)\n", o.Words(), And(o.For))
	}
	for _, x := range []struct {
		name   string
		things []KitThing
	}{{"Parts", k.Parts}, {"Gauges", k.Gauges}, {"Tools (common practice, no source)", k.Tools}, {"Keys", k.Keys}, {"Permits", k.Permits}, {"Hoist or lift", k.Lifts}, {"Second person", k.Second}} {
		if len(x.things) > 0 {
			fmt.Fprintf(&b, "\n%s\n", x.name)
		}
		for _, t := range x.things {
			fmt.Fprintf(&b, "  [ ] %s (%s)\n", t.What, And(t.For))
		}
	}
	if len(k.Cautions) > 0 {
		b.WriteString("\nWhat can hurt somebody\n")
	}
	for i, c := range k.Cautions {
		fmt.Fprintf(&b, "  %d. %s\n", i+1, c)
	}
	for i := range k.Sheets {
		k.Sheets[i].print(&b)
	}
	return b.String()
}

func (k *KitSheet) print(b *strings.Builder) {
	fmt.Fprintf(b, "\n%s\n%s, from %s\n", strings.Repeat("-", 72), k.Name, k.Arrive)
	for _, x := range [][2]string{{"where", k.Place}, {"access", k.Access}, {"dial", k.LastErrorFound}} {
		if x[1] != "" {
			fmt.Fprintf(b, "  %s: %s\n", x[0], x[1])
		}
	}
	for i := range k.Tasks {
		t := &k.Tasks[i]
		fmt.Fprintf(b, "  [ ] %s: %s\n", Capital(t.What()), t.Reason)
	}
	if len(k.Cautions) > 0 {
		numbers := make([]string, len(k.Cautions))
		for i, n := range k.Cautions {
			numbers[i] = fmt.Sprint(n)
		}
		fmt.Fprintf(b, "  mind what can hurt: %s\n", And(numbers))
	}
	for _, lines := range [][]string{k.Oiling, k.Lines} {
		for _, l := range lines {
			fmt.Fprintf(b, "  %s\n", l)
		}
	}
	for _, r := range k.Readings {
		r.print(b)
	}
	for _, f := range k.Fields {
		fmt.Fprintf(b, "  %s: ____________________\n", f)
	}
}

func (r KitReading) print(b *strings.Builder) {
	lead := "   "
	if r.Measure {
		lead = "[ ]"
	}
	fmt.Fprintf(b, "  %s %s of the %s: last %s", lead, Capital(r.Shake), r.About, cmp.Or(r.Last, "never read"))
	for _, x := range [][2]string{{"watch from", r.Watch}, {"act at", r.Act}, {"stop at", r.Stop}} {
		if x[1] != "" {
			fmt.Fprintf(b, "; %s %s", x[0], x[1])
		}
	}
	b.WriteString("\n")
}
