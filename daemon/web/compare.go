package web

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"endshake/daemon/chart"
	"endshake/schedule"
	"endshake/wear"
)

// pageOfCharts is how many small charts stand on a page.
const pageOfCharts = 24

// groupsOf gives the groups of a clock's bearings, beside its outlooks.
func (l *clockLine) groupsOf(a *schedule.Assessment) []string {
	l.sorted.Do(func() {
		for i := range a.Outlooks {
			o := &a.Outlooks[i]
			l.groups = append(l.groups, schedule.Group(o.Bearing, o.Arbor, o.Train))
		}
	})
	return l.groups
}

// comparePage shows bearings that are taken to wear alike, beside one another.
type comparePage struct {
	Lede   string
	Faults []string
	Kind   string // in words; empty: all kinds are listed
	Group  string // the kind, for an address
	Q      string // words that the names must hold
	Taught string // what the fleet has taught of it
	Found  string
	Charts []compareLine
	Pager  pager
	Kinds  []kindLine
}

// compareLine is one bearing among those of its kind.
type compareLine struct {
	bearingLine
	Path  string
	Chart template.HTML
	Own   string // its own rate of wear, with its range
	Group string // what is expected of its kind before its own readings
	Than  string // how the two stand to one another; empty: not known
}

// kindLine is one kind of bearings.
type kindLine struct {
	Words, Link     string
	Bearings, Worst string
}

// comparePath is the address of the bearings of a kind.
func comparePath(group string) string {
	return "/compare?" + url.Values{"kind": {group}}.Encode()
}

// groupWords says a group of bearings: "steel on brass, indoors, worn by
// run-hours".
func groupWords(group string) string {
	return strings.NewReplacer(" | by ", ", worn by ", " | rate from physics", "", " | rate from a ", ", rate from a ", " | ", ", ").Replace(group)
}

// kinds are the bearings that a reader sees, by their group, worst first; those
// that were never measured, or have no limit, come last.
func (rd *onlooker) kinds() map[string][]bearingAt {
	rd.kindsOnce.Do(func() {
		rd.byKind = map[string][]bearingAt{}
		for i, l := range rd.lines {
			if !rd.sees(i) {
				continue
			}
			a := &rd.snap.Clocks[i]
			for k, group := range l.groupsOf(a) {
				at := bearingAt{i, k, -1}
				if o := &a.Outlooks[k]; o.Known && o.Limit != nil && finite(o.Used) {
					at.used = o.Used
				}
				rd.byKind[group] = append(rd.byKind[group], at)
			}
		}
		for _, all := range rd.byKind {
			slices.SortStableFunc(all, func(x, y bearingAt) int { return cmp.Compare(y.used, x.used) })
		}
	})
	return rd.byKind
}

func (s *server) compare(w http.ResponseWriter, r *http.Request) {
	rd, ok := s.reader(w, r)
	if !ok {
		return
	}
	q := r.URL.Query()
	f := rd.readSieve("/compare", url.Values{"page": q["page"], "q": q["q"]}, nil, nil)
	group := tame(q.Get("kind"))
	s.showKept(w, r, rd, "compare\n"+group+"\n"+f.key(), "compare", func() view {
		var page comparePage
		if all := rd.kinds()[group]; len(all) > 0 {
			page.Group, page.Q = group, f.Q
			if found := rd.called(all, f.words); len(found) > 0 {
				all = found
			} else {
				page.Faults = append(page.Faults, fmt.Sprintf("No bearing of this kind has “%s” in its name or that of its clock; all are shown.", f.Q))
			}
			page.fill(rd, group, all, f)
		} else {
			if group != "" {
				page.Faults = append(page.Faults, fmt.Sprintf("No bearing here is of the kind “%s”.", group))
			}
			page.Faults = append(page.Faults, f.Faults...)
			page.list(rd)
		}
		return view{Title: "Bearings of one kind", Here: "/", Body: page}
	})
}

// called are the bearings whose own names, or whose clocks', hold some words.
func (rd *onlooker) called(all []bearingAt, words []string) []bearingAt {
	if len(words) == 0 {
		return all
	}
	var out []bearingAt
	for _, at := range all {
		a := &rd.snap.Clocks[at.clock]
		o := &a.Outlooks[at.outlook]
		name := strings.ToLower(schedule.NameOf(o.Bearing.Name, o.Arbor.Name) + "\n" + a.Clock.Name)
		if !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(name, w) }) {
			out = append(out, at)
		}
	}
	return out
}

// list fills in all kinds there are.
func (p *comparePage) list(rd *onlooker) {
	all := rd.kinds()
	for group, bearings := range all {
		l := kindLine{Words: groupWords(group), Link: comparePath(group), Bearings: thousands(len(bearings)), Worst: "none has a limit to compare with"}
		if worst := bearings[0]; worst.used >= 0 {
			a := &rd.snap.Clocks[worst.clock]
			o := &a.Outlooks[worst.outlook]
			l.Worst = fmt.Sprintf("%s %s, %s at %s", percent(worst.used), usedOf(*o), schedule.NameOf(o.Bearing.Name, o.Arbor.Name), a.Clock.Name)
		}
		p.Kinds = append(p.Kinds, l)
	}
	slices.SortFunc(p.Kinds, func(a, b kindLine) int { return strings.Compare(a.Words, b.Words) })
	p.Lede = "Bearings of the same materials, in the same surroundings and worn by the same counter are taken to wear alike. Choose a kind to see all of them on one scale."
	if len(all) == 0 {
		p.Lede = "No bearing is described yet. Bearings stand with the arbors of each clock in the fleet file, and are compared here as soon as some are."
	}
}

// fill shows the bearings of one kind.
func (p *comparePage) fill(rd *onlooker, group string, all []bearingAt, f sieve) {
	p.Kind = groupWords(group)
	clocks, measured := map[int]bool{}, 0
	scale := make([]schedule.Outlook, len(all))
	for i, at := range all {
		clocks[at.clock] = true
		scale[i] = rd.snap.Clocks[at.clock].Outlooks[at.outlook]
		if scale[i].Known {
			measured++
		}
	}
	p.Lede = fmt.Sprintf("%s of %s: %s.", schedule.Count(len(all), "bearing", "bearings"), schedule.Count(len(clocks), "clock", "clocks"), p.Kind)
	p.Found = fmt.Sprintf("%s of %s measured", thousands(measured), thousands(len(all)))
	common := chart.CommonOf(scale, rd.asOf)
	from, until := f.pageOf(len(all), pageOfCharts)
	p.Faults, p.Pager = append(p.Faults, f.Faults...), f.pager(len(all), pageOfCharts)
	for _, link := range []*string{&p.Pager.First, &p.Pager.Before, &p.Pager.Next, &p.Pager.At} {
		if at, query, _ := strings.Cut(*link, "?"); at != "" {
			*link = strings.TrimSuffix(comparePath(group)+"&"+query, "&")
		}
	}
	for _, at := range all[from:until] {
		a := rd.snap.Clocks[at.clock]
		p.Charts = append(p.Charts, newCompareLine(a, a.Outlooks[at.outlook], common))
	}
	p.Taught = taughtWords(scale[0])
}

// taughtWords says where the rate of a kind comes from.
func taughtWords(o schedule.Outlook) string {
	if o.Prior.From == "" {
		return ""
	}
	if strings.HasPrefix(o.Prior.From, "learned") {
		return "The rate of the kind is " + o.Prior.From
	}
	return "The fleet has not taught the rate of this kind yet; what is said of it is taken from " + o.Prior.From
}

func newCompareLine(a schedule.Assessment, o schedule.Outlook, c chart.Common) compareLine {
	l := compareLine{bearingLine: newBearingLine(a, o), Path: bearingPath(a.Clock.Slug, o.Bearing.Code),
		Chart: template.HTML(chart.Multiple(o, a.Now, c).SVG()), Own: "not known yet", Group: "not known"}
	if finite(o.PerYear[1]) && o.PerYear[2] > 0 && o.Taught {
		l.Own = ratesWords(o.PerYear)
	}
	units := o.PerDay * 365.25 / o.Counter.PerUnit()
	if o.Prior.From == "" || !(units > 0) || !finite(units) {
		return l
	}
	var kind [3]float64
	for i, z := range []float64{-z90, 0, z90} {
		kind[i] = units * math.Exp(o.Prior.Mu+z*o.Prior.Om)
	}
	l.Group = ratesWords(kind)
	if o.Taught && kind[1] > 0 && finite(o.PerYear[1]) {
		l.Than = thanWords(o.PerYear[1] / kind[1])
	}
	return l
}

// z90 is how many deviations from the middle of a normal distribution its 10 and
// 90 % points lie.
const z90 = 1.2816

// ratesWords says a rate a year with its range of 8 chances in 10.
func ratesWords(r [3]float64) string {
	return fmt.Sprintf("%s a year, 8 in 10: %s", wear.Fine(r[1]), wear.FineSpan(r[0], "to", r[2]))
}

func thanWords(times float64) string {
	switch {
	case times >= 1.25:
		return fmt.Sprintf("%.1f times as fast as its kind", times)
	case times <= 0.8 && times > 0.01:
		return fmt.Sprintf("%.1f times as slow as its kind", 1/times)
	case times <= 0.01:
		return "hardly wears, beside its kind"
	}
	return "about as fast as its kind"
}
