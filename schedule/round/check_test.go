package round

import (
	"fmt"
	"math"
	"slices"
)

// check says what is wrong with a plan, knowing nothing of how it was made.
func check(p Problem, r Result) (wrong []string) {
	say := func(f string, a ...any) { wrong = append(wrong, fmt.Sprintf(f, a...)) }
	if !slices.IsSortedFunc(r.Days, byDay) {
		say("days are not sorted")
	}
	out, along := map[[2]int]bool{}, map[[2]int]map[int]bool{} // whose rounds a second is on
	for _, d := range r.Days {
		if out[[2]int{d.Person, d.Day}] {
			say("person %d has two rounds on day %d", d.Person, d.Day)
		}
		out[[2]int{d.Person, d.Day}] = true
		for _, s := range d.Stops {
			if s.Second >= 0 {
				k := [2]int{s.Second, d.Day}
				if along[k] == nil {
					along[k] = map[int]bool{}
				}
				along[k][d.Person] = true
			}
		}
		wrong = append(wrong, checkDay(p, d)...)
	}
	for k, rounds := range along {
		if len(rounds) > 1 || out[k] {
			say("person %d is second on day %d on %d rounds, own round %v", k[0], k[1], len(rounds), out[k])
		}
	}
	wrong = append(wrong, checkFixed(p, r)...)
	return append(wrong, checkJobs(p, r)...)
}

func hasFixed(d Day) bool { return slices.ContainsFunc(d.Stops, func(s Stop) bool { return s.Fixed }) }

// given are the minutes of a way as the problem has them.
func given(p Problem, a, b int) float64 {
	if a == b {
		return 0
	}
	if a >= len(p.Travel) || b >= len(p.Travel[a]) {
		return math.Inf(1)
	}
	return max(0, p.Travel[a][b])
}

func checkDay(p Problem, d Day) (wrong []string) {
	say := func(f string, a ...any) {
		wrong = append(wrong, fmt.Sprintf("person %d day %d: ", d.Person, d.Day)+fmt.Sprintf(f, a...))
	}
	i := d.Day - p.From
	if len(d.Stops) == 0 || d.Day < p.From || d.Day >= p.Until {
		say("%d stops", len(d.Stops))
		return wrong
	}
	var goes Hours
	if q := p.People[d.Person]; i < len(q.Goes) {
		goes = q.Goes[i]
	}
	hand := hasFixed(d)
	if !hand && (goes.To <= goes.From || d.Leave < goes.From || d.Back > goes.To) {
		say("out from %d to %d, hours %v", d.Leave, d.Back, goes)
	}
	wrong = append(wrong, checkBack(p, d, hand)...)
	at, now := p.People[d.Person].Home, d.Leave
	seen := map[int]bool{}
	for _, s := range d.Stops {
		way := given(p, at, s.Site)
		if math.IsInf(way, 1) && !hand {
			say("no way to site %d", s.Site)
		}
		if !math.IsInf(way, 1) && float64(s.Arrive) < float64(now)+way-1e-9 {
			say("at site %d too soon: %d, after %d and %v", s.Site, s.Arrive, now, way)
		}
		if seen[s.Site] {
			say("site %d twice", s.Site)
		}
		seen[s.Site] = true
		wrong = append(wrong, checkStop(p, d, s, hand)...)
		at, now = s.Site, s.Leave
	}
	return wrong
}

// checkBack holds the way home, and the sum of all ways.
func checkBack(p Problem, d Day, hand bool) (wrong []string) {
	say := func(f string, a ...any) {
		wrong = append(wrong, fmt.Sprintf("person %d day %d: ", d.Person, d.Day)+fmt.Sprintf(f, a...))
	}
	at, home, travel := p.People[d.Person].Home, p.People[d.Person].Home, 0.0
	for _, s := range d.Stops {
		if way := given(p, at, s.Site); !math.IsInf(way, 1) {
			travel += way
		}
		at = s.Site
	}
	if way := given(p, at, home); !math.IsInf(way, 1) {
		travel += way
		if now := d.Stops[len(d.Stops)-1].Leave; float64(d.Back) < float64(now)+way-1e-9 {
			say("back at %d, after %d and %v", d.Back, now, way)
		}
	} else if !hand {
		say("no way home")
	}
	if math.Abs(travel-d.Travel) > 1e-6 {
		say("travel %v, want %v", d.Travel, travel)
	}
	return wrong
}

func checkStop(p Problem, d Day, s Stop, hand bool) (wrong []string) {
	say := func(f string, a ...any) {
		wrong = append(wrong, fmt.Sprintf("person %d day %d site %d: ", d.Person, d.Day, s.Site)+fmt.Sprintf(f, a...))
	}
	fixed := slices.Contains(p.Fixed, Fixed{s.Site, d.Person, d.Day})
	if fixed != s.Fixed {
		say("fixed %v, want %v", s.Fixed, fixed)
	}
	stay := p.Sites[s.Site].Climb
	var two, named bool
	first, last := math.MinInt, math.MaxInt
	for k, w := range s.Work {
		j := p.Jobs[w.Job]
		stay += j.Minutes
		two = two || j.Two
		first, last = max(first, w.First), min(last, w.Last)
		if j.Site != s.Site || !slices.Contains(j.By, d.Person) {
			say("job %d of site %d by %v", w.Job, j.Site, j.By)
		}
		if j.Two && len(j.With) > 0 {
			named = true
			if s.Second >= 0 && !slices.Contains(j.With, s.Second) || s.Second < 0 && !fixed {
				say("second %d of %v", s.Second, j.With)
			}
		}
		if k == s.Binding && w.Last > s.Work[0].Last {
			say("binding %d", k)
		}
	}
	if s.Leave-s.Arrive != stay {
		say("stays %d, want %d", s.Leave-s.Arrive, stay)
	}
	if two != s.Two || !named && s.Second >= 0 {
		say("two %v second %d", s.Two, s.Second)
	}
	if s.First > d.Day || s.Last < d.Day || len(s.Work) > 0 && (s.First != min(first, d.Day) || s.Last != max(last, d.Day)) {
		say("may be from %d to %d", s.First, s.Last)
	}
	return append(wrong, checkPlace(p, d, s, hand)...)
}

// checkPlace holds a stop to where and when somebody may be.
func checkPlace(p Problem, d Day, s Stop, hand bool) (wrong []string) {
	say := func(f string, a ...any) {
		wrong = append(wrong, fmt.Sprintf("person %d day %d site %d: ", d.Person, d.Day, s.Site)+fmt.Sprintf(f, a...))
	}
	i, site := d.Day-p.From, p.Sites[s.Site]
	if s.Second >= 0 {
		q := p.People[s.Second]
		if s.Second == d.Person || i >= len(q.Goes) || q.Goes[i].To <= q.Goes[i].From {
			say("second %d does not go", s.Second)
		}
	}
	if s.Fixed {
		return wrong
	}
	if len(s.Work) == 0 {
		say("nothing to do")
	}
	if site.Open != nil && (i >= len(site.Open) || site.Open[i].To <= site.Open[i].From || !hand && (s.Arrive < site.Open[i].From || s.Leave > site.Open[i].To)) {
		say("not open")
	}
	if i < site.Notice {
		say("notice is %d days", site.Notice)
	}
	for _, b := range p.Barred {
		if (b.Site == -1 || b.Site == s.Site) && (b.Person == -1 || b.Person == d.Person) && b.Day == d.Day {
			say("barred")
		}
	}
	return wrong
}

// checkFixed holds that visits kept by hand are there, and that nothing is left
// that may be done at one.
func checkFixed(p Problem, r Result) (wrong []string) {
	windows := map[int][][3]int{} // of each job: from, to, day on which it was done
	stops := map[Fixed]bool{}
	for _, d := range r.Days {
		for _, s := range d.Stops {
			stops[Fixed{s.Site, d.Person, d.Day}] = true
			for _, w := range s.Work {
				windows[w.Job] = append(windows[w.Job], [3]int{w.First, w.Last, d.Day})
			}
		}
	}
	for _, u := range r.Unmet {
		if u.Day < 0 {
			windows[u.Job] = append(windows[u.Job], [3]int{u.First, max(u.Last, p.Until), p.Until})
		}
	}
	for _, f := range p.Fixed {
		if f.Day < p.From || f.Day >= p.Until {
			continue
		}
		if !stops[f] {
			wrong = append(wrong, fmt.Sprintf("%v is not there", f))
		}
		for j, ws := range windows {
			for _, w := range ws {
				if p.Jobs[j].Site == f.Site && slices.Contains(p.Jobs[j].By, f.Person) && w[0] <= f.Day && f.Day < w[2] {
					wrong = append(wrong, fmt.Sprintf("job %d %v could have been done at %v", j, w, f))
				}
			}
		}
	}
	return wrong
}

// done is work on the day on which it was done.
type done struct {
	Work
	day int
}

func doneBy(p Problem, r Result) [][]done {
	by := make([][]done, len(p.Jobs))
	for _, d := range r.Days {
		for _, s := range d.Stops {
			for _, w := range s.Work {
				by[w.Job] = append(by[w.Job], done{w, d.Day})
			}
		}
	}
	return by
}

// checkJobs holds that every occurrence is done in its window, or said to be
// unmet.
func checkJobs(p Problem, r Result) (wrong []string) {
	say := func(f string, a ...any) { wrong = append(wrong, fmt.Sprintf(f, a...)) }
	by := doneBy(p, r)
	unmet := map[Work]Unmet{}
	for _, u := range r.Unmet {
		if unmet[u.Work].Why != 0 || u.Why < NobodyMay || u.Why > Full {
			say("unmet %+v", u)
		}
		unmet[u.Work] = u
	}
	for j, job := range p.Jobs {
		slices.SortFunc(by[j], func(a, b done) int { return a.Again - b.Again })
		first, last := job.First, max(job.First, job.Last)
		comes := true
		for k, d := range by[j] {
			if !comes || d.Again != k || d.First != first || d.Last != last || d.day < first {
				say("job %d: %+v on day %d, want %d, %d to %d", j, d.Work, d.day, k, first, last)
			}
			u, is := unmet[d.Work]
			if late := d.day > last && last >= p.From; late != is || is && u.Day != d.day {
				say("job %d: %+v on day %d, unmet %+v", j, d.Work, d.day, u)
			}
			delete(unmet, d.Work)
			comes = job.Every > 0
			first = max(d.day+1, d.day+job.Every-job.Lead)
			last = max(first, d.day+job.Every+job.Grace)
		}
		w := Work{j, first, last, len(by[j])}
		if comes && first < p.Until && last < p.Until {
			if u, is := unmet[w]; !is || u.Day != -1 {
				say("job %d: %+v is neither done nor unmet: %+v", j, w, u)
			}
			delete(unmet, w)
		}
	}
	for _, u := range unmet {
		say("unmet for nothing: %+v", u)
	}
	return wrong
}
