package round

import "slices"

// far is the largest day or minute that is taken as it is given; what lies beyond
// is taken as this.
const far = 1 << 30

func within(v int) int { return min(max(v, -far), far) }

// clean is the problem with its days counted from its first, and with nothing in
// it that does not fit together: people, sites and marks that are not there are
// left out, a window that ends before it begins ends where it begins, and no time
// is below nothing.
func clean(p Problem) Problem {
	c := Problem{From: 0, Travel: p.Travel}
	c.Until = min(max(0, within(p.Until)-within(p.From)), far)
	for _, s := range p.Sites {
		c.Sites = append(c.Sites, Site{Open: cleanHours(s.Open), Climb: max(0, within(s.Climb)), Notice: within(s.Notice)})
	}
	for _, q := range p.People {
		if q.Home < 0 || q.Home >= len(p.Travel) {
			q = Person{Home: -1}
		}
		c.People = append(c.People, Person{Home: q.Home, Goes: cleanHours(q.Goes)})
	}
	for _, j := range p.Jobs {
		c.Jobs = append(c.Jobs, cleanJob(p, j))
	}
	for _, f := range p.Fixed {
		f.Day -= p.From
		if f.Site >= 0 && f.Site < len(p.Sites) && c.person(f.Person) && f.Day >= 0 && f.Day < c.Until && !slices.Contains(c.Fixed, f) {
			c.Fixed = append(c.Fixed, f)
		}
	}
	for _, b := range p.Barred {
		c.Barred = append(c.Barred, Barred{b.Site, b.Person, b.Day - p.From})
	}
	return c
}

// person reports whether there is such a person, and whether they live anywhere.
func (p *Problem) person(q int) bool { return q >= 0 && q < len(p.People) && p.People[q].Home >= 0 }

func cleanHours(of []Hours) []Hours {
	if of == nil {
		return nil
	}
	hours := make([]Hours, len(of))
	for i, h := range of {
		hours[i] = Hours{within(h.From), within(h.To)}
	}
	return hours
}

func cleanJob(p Problem, j Job) Job {
	from := within(p.From)
	j.First, j.Last = within(j.First)-from, within(j.Last)-from
	j.Last = max(j.First, j.Last)
	j.Minutes = max(0, within(j.Minutes))
	j.Every, j.Lead, j.Grace = max(0, within(j.Every)), within(j.Lead), within(j.Grace)
	j.By, j.With = cleanPeople(p, j.By), cleanPeople(p, j.With)
	if j.Site < 0 || j.Site >= len(p.Sites) {
		j.Site, j.By = -1, nil
	}
	return j
}

// cleanPeople are those of a list who are there, each once.
func cleanPeople(p Problem, of []int) []int {
	var people []int
	for _, q := range of {
		if q >= 0 && q < len(p.People) && !slices.Contains(people, q) {
			people = append(people, q)
		}
	}
	return people
}

// open reports whether there is any time in the hours.
func (h Hours) open() bool { return h.To > h.From }

// goes are the hours of a person on a day.
func (p *Problem) goes(person, day int) Hours {
	if q := &p.People[person]; q.Home >= 0 && day >= 0 && day < len(q.Goes) {
		return q.Goes[day]
	}
	return Hours{}
}

// opens are the hours of a site on a day.
func (p *Problem) opens(site, day int) Hours {
	s := &p.Sites[site]
	switch {
	case s.Open == nil:
		return Hours{-2 * far, 2 * far}
	case day >= 0 && day < len(s.Open):
		return s.Open[day]
	}
	return Hours{}
}

// next is the window of a job that was done on a day; none: it does not come
// again.
func (j *Job) next(done int) (first, last int, comes bool) {
	first = max(done+1, done+j.Every-j.Lead)
	return first, max(first, done+j.Every+j.Grace), j.Every > 0
}
