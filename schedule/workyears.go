package schedule

// YearsAhead is the same work for some years from the day of the snapshot, year by
// year: each of Months is a year then, headed by its first day, and each is planned
// for itself, so that the first, with what stands over, is YearAhead. A bearing comes
// to its limit once; what wears after the work on it is not foretold.
func (s *Snapshot) YearsAhead(years int) YearAhead {
	from := s.Today()
	firsts := make([]Date, years)
	for i := range firsts {
		firsts[i] = Date{from.Year + i, from.Month, from.Day}.Add(0)
	}
	return s.workAhead(from, Date{from.Year + years, from.Month, from.Day}.Add(0), firsts, true)
}

// planned are the jobs of a site that are planned together: all of them, or those of
// each month; what stands over goes with the first.
func (y *YearAhead) planned(jobs []job, each bool) [][]job {
	if !each {
		return [][]job{jobs}
	}
	out := make([][]job, len(y.Months))
	for _, j := range jobs {
		i := 0
		if !j.over {
			i = y.month(j.last)
		}
		out[i] = append(out[i], j)
	}
	return out
}
